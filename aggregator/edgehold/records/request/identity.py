"""Whose request it is, held against the handles in whose names it acts.

The host knows who sends a request by the id of an account, which is stable; a file ``submissions/people/<handle>.json`` says whose a
handle is. The base decides: a request can bind a handle that is free to its own author, and change nothing about one that is bound.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from edgehold.records.canonical import Repository
from edgehold.records.layout import file_id, readable
from edgehold.records.model.changes import PERSON_FORMAT
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.rules.roles import Needed, held, in_months, no_role
from edgehold.words import Reason

from .acts import Act, Tree, acts_of_request, added, base_tree, corrections, handles, in_files, kind_of, texts, tree_at
from .proposal import Change, Proposal

PEOPLE = "submissions/people/"
_DOERS = (("runs", "tester"), ("preparations", "sharpener"))
_SPEAKERS = ("/submitted_by", "/by")

Found = Iterator[tuple[str, Problem]]


@dataclass(frozen=True)
class Sender:
    """Who sends a request, and what is known of handles before it.

    Attributes
    ----------
    account : the host's id of the author's account; None: nobody said, and nothing is held against it.
    before : the account of every handle that the base has bound.
    own : handles that are the author's: bound to the account by the base, or by this request where they were free.
    roles : the base's list of roles; None where it has none.
    month : the month of the check, such as 2026-05.
    """

    account: str | None
    before: Mapping[str, str]
    own: frozenset[str]
    roles: Roles | None
    month: str

    def may(self, duty: str | None = None) -> bool:
        """Whether a handle of the author's has a role that is no invented one; ``duty`` None: any role."""
        found = [role for role in self.roles.roles if role.handle in self.own and duty in (None, *role.may)] if self.roles else []
        return any(not role.simulated and in_months(role, self.month) for role in found)


def sender(proposal: Proposal, repository: Repository, roles: Roles | None, account: str | None, month: str) -> Sender:
    """What the base knows of whoever sends a request; ``repository`` is base and request together."""
    before = dict(repository.accounts)
    free: set[str] = set()
    for change in _of_people(proposal):
        for handle in {file_id(path) for path in (change.path, change.before) if path}:
            was = _account(base_tree(proposal, f"{PEOPLE}{handle}.json"))
            before.pop(handle, None)
            if was is not None:
                before[handle] = was
            elif repository.accounts.get(handle) == account:
                free.add(handle)
    own = {handle for handle, bound in before.items() if bound == account} | free if account is not None else set()
    return Sender(account, before, frozenset(own), roles, month)


def identity_problems(proposal: Proposal, repository: Repository, who: Sender) -> Found:
    """Everything that a request does in somebody's name, held against its author and the roles of the base."""
    acts = acts_of_request(proposal)
    carried = {act.about for act in acts if act.kind == "carried" and file_id(act.path) == "carried"}
    for act in acts:
        yield from _without_role(act, who)
        if who.account is not None:
            yield from _in_anothers_name(act, carried, who)
        if who.account is not None and act.kind in ("submission", "change") and act.pointer in _SPEAKERS:
            yield from _named_others(act, tree_at(proposal.root, act.path, act.kind), who)
        if act.kind == "carried":
            yield from _carried_late(proposal, act)
        if act.authors and who.account is not None:
            message = Reason("identity.anothers_method", does=act.does, by=act.by, author=who.account, authors=", ".join(act.authors[:3]))
            yield act.path, Problem(act.pointer, "anothers-method", message, line=1)
    yield from _taken_out(proposal, who)
    yield from _people(proposal, repository, who)


def _without_role(act: Act, who: Sender) -> Found:
    """A role is asked for in the month of the check, whatever month the file bears: anybody may write one."""
    if act.duty is not None and who.roles is not None and held(who.roles, act.by, act.duty, who.month) is None:
        needed = Needed(act.path, act.pointer, act.by, who.month, act.duty, act.does)
        yield act.path, replace(no_role(needed), line=1)


def _in_anothers_name(act: Act, carried: Collection[str], who: Sender) -> Found:
    if act.by in who.own or who.account is None:
        return
    if _invented(act.by, who):
        code = "invented-acts" if who.may(act.duty) else "invented-handle"
        yield act.path, Problem(act.pointer, code, Reason("identity.invented_acts", does=act.does, by=act.by, author=who.account), line=1)
        return
    bound = who.before.get(act.by)
    if act.kind == "submission" and act.about in carried:  # the mark itself is a finding of every check until the owner confirms
        return
    if bound is not None:
        message = Reason("identity.not_yours", does=act.does, by=act.by, bound=bound, author=who.account)
        cure = Reason("identity.carry_it", submission=act.about) if act.kind == "submission" else ""
        yield act.path, Problem(act.pointer, "not-your-handle", message, cure, line=1)
    else:
        message = Reason("identity.unbound", does=act.does, by=act.by, author=who.account)
        cure = Reason("identity.bring_binding", path=f"{PEOPLE}{act.by}.json", text=binding(act.by, who.account))
        code = "not-your-handle" if act.kind == "carried" and file_id(act.path) == "confirmed" else "acts-unbound"
        yield act.path, Problem(act.pointer, code, message, cure, line=1)


def binding(handle: str, account: str) -> str:
    """The file that binds a handle, as text."""
    return json.dumps({"format": PERSON_FORMAT, "handle": handle, "account": account})


def _invented(handle: str, who: Sender) -> bool:
    return who.roles is not None and any(role.handle == handle and role.simulated for role in who.roles.roles)


def _named_others(act: Act, tree: Tree, who: Sender) -> Found:
    """Other people's handles on the runs and edges of a result: theirs to know of."""
    done: dict[str, str] = {}
    corrected = [
        ("named", text) for entry in corrections(tree) for text in texts(entry.get("after")) if entry.get("pointer") != "/submitted_by"
    ]
    for what, handle in [*handles(tree, _DOERS), *corrected]:
        if who.before.get(handle) not in (None, who.account) and handle != act.by:
            done.setdefault(handle, what)
    if done:
        named = ", ".join(f"{handle} ({what}, account {who.before[handle]})" for handle, what in sorted(done.items())[:5])
        yield act.path, Problem("/people", "names-others", Reason("identity.names_others", named=named), line=1)


def _carried_late(proposal: Proposal, act: Act) -> Found:
    """A result is marked as carried by the request that brings it, and confirmed by another."""
    new = {file_id(change.path) for change in added(proposal) if kind_of(change.path) == "submission"}
    if (file_id(act.path) == "carried") != (act.about in new):
        of = "identity.carried_late" if act.about not in new else "identity.confirmed_at_once"
        yield act.path, Problem("/submission", "carried-form", Reason(of, submission=act.about), line=1)


def _taken_out(proposal: Proposal, who: Sender) -> Found:
    """A tombstone has no handle in it: whoever takes a result out needs the role."""
    if who.account is None or who.roles is None or who.may("take down"):
        return
    for change in added(proposal):
        if kind_of(change.path) == "tombstone":
            act = Reason("identity.takes_out", submission=file_id(change.path), author=who.account)
            yield change.path, Problem("", "no-role", Reason("identity.account_without_role", act=act, duty="take down"), line=1)


def _of_people(proposal: Proposal) -> list[Change]:
    return [change for change in proposal.changes if change.path.startswith(PEOPLE) or change.before.startswith(PEOPLE)]


def _people(proposal: Proposal, repository: Repository, who: Sender) -> Found:
    """What is said of handles: bound once, by the account itself, and by nobody else afterwards."""
    touched = {path for change in proposal.changes for path in (change.path, change.before)}
    for change in _of_people(proposal):
        before = base_tree(proposal, change.before) if change.before else {}
        now = {} if change.kind == "deleted" else tree_at(proposal.root, change.path, "person")
        handle, was, is_now = file_id(change.path), _account(before), _account(now)
        if was is not None and (was != is_now or change.kind == "renamed"):
            yield change.path, Problem("/account", "rebound", Reason("identity.rebound", handle=file_id(change.before), bound=was), line=1)
        elif was is not None:
            yield from _described(change, handle, was, who)
        elif is_now is not None and who.account is not None:
            yield from _bound(proposal, change, is_now, touched, who)
        else:
            yield change.path, _person_file(change)
            if who.account is not None:
                message = Reason("identity.unbound", does=Reason("identity.describes", handle=handle), by=handle, author=who.account)
                cure = Reason("identity.bring_binding", path=change.path, text=binding(handle, who.account))
                yield change.path, Problem("/handle", "acts-unbound", message, cure, line=1)


def _described(change: Change, handle: str, bound: str, who: Sender) -> Found:
    if who.account is None:
        yield change.path, _person_file(change)
    elif bound != who.account:
        does = Reason("identity.describes", handle=handle)
        message = Reason("identity.not_yours", does=does, by=handle, bound=bound, author=who.account)
        yield change.path, Problem("/handle", "not-your-handle", message, line=1)


def _bound(proposal: Proposal, change: Change, account: str, touched: Iterable[str], who: Sender) -> Found:
    handle = file_id(change.path)
    if account != who.account:
        message = Reason("identity.binds_another", handle=handle, account=account, author=who.account or "")
        yield change.path, Problem("/account", "binding-other", message, line=1)
        return
    used = in_files(proposal, handle, frozenset(touched))
    if _invented(handle, who) or any(path.startswith("submissions/simulated/") for path in used):
        yield change.path, Problem("/handle", "invented-handle", Reason("identity.is_invented", handle=handle), line=1)
    elif used:
        message = Reason("identity.binds_used", handle=handle, account=account, count=len(used), first=used[0])
        yield change.path, Problem("/account", "binds-handle", message, line=1)


def _person_file(change: Change) -> Problem:
    handle = readable(change.path.rpartition("/")[2]).removesuffix(".json")
    return Problem("", "person-file", Reason("requests.handle_changed", path=handle, kind=change.kind), line=1)


def _account(tree: Tree) -> str | None:
    account = tree.get("account")
    return account if isinstance(account, str) else None
