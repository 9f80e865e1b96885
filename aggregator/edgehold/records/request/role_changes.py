"""A request that changes the list of roles: entries are added and ended, never rewritten, by somebody who has a role."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.records.layout import ROLES_FILE
from edgehold.records.model.roles import Role, Roles
from edgehold.records.problem import Problem
from edgehold.records.read.form import read_record
from edgehold.records.rules.roles import in_months
from edgehold.words import Reason

from .acts import base_tree, tree_at
from .identity import Sender
from .proposal import Proposal


def roles_of_base(proposal: Proposal, merged: Roles | None) -> Roles | None:
    """The list as the base has it; ``merged`` is that of base and request together, which is the same where the request leaves it."""
    if not any(ROLES_FILE in (change.path, change.before) for change in proposal.changes):
        return merged
    return read_record(Roles, base_tree(proposal, ROLES_FILE))[0]


def role_changes(proposal: Proposal, who: Sender) -> Iterator[tuple[str, Problem]]:
    """What a request does to the list."""
    if not any(ROLES_FILE in (change.path, change.before) for change in proposal.changes):
        return
    before, now = who.roles, read_record(Roles, tree_at(proposal.root, ROLES_FILE, "roles"))[0]
    if before is not None:
        yield from ((ROLES_FILE, problem) for problem in _rewritten(before, now))
        real = [role for role in before.roles if not role.simulated and in_months(role, who.month)]
        if who.account is not None and real and not who.may():
            yield ROLES_FILE, Problem("", "no-role", Reason("identity.appoints", author=who.account), line=1)
    if now is not None:
        new = [role for role in now.roles if before is None or role not in before.roles]
        told = "; ".join(_told(role) for role in new[:10]) or Reason("identity.none_new")
        yield ROLES_FILE, Problem("/roles", "roles-changed", Reason("identity.roles_changed", told=told), line=1)


def _rewritten(before: Roles, now: Roles | None) -> Iterator[Problem]:
    """What was so stays so: a month of the list's beginning, and entries, to which a last month alone may be given."""
    if now is None:
        yield Problem("", "role-rewritten", Reason("identity.list_gone"), line=1)
        return
    if now.since != before.since:
        yield Problem("/since", "role-rewritten", Reason("identity.list_since", before=before.since, now=now.since), line=1)
    kept = {role.model_copy(update={"until": None}) for role in now.roles if role.until is not None} | set(now.roles)
    for role in before.roles:
        if role not in kept:
            yield Problem("/roles", "role-rewritten", Reason("identity.entry_gone", told=_told(role)), line=1)


def _told(role: Role) -> str:
    until = f" to {role.until}" if role.until else ""
    return f"{role.handle}: {', '.join(role.may)}, from {role.since}{until}"
