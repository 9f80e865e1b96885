"""Who may do what: acts that need a role, held against the committed list.

Without a list nothing here is asked. What was done before the list's first month stands as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.review import Event, Outcome
from edgehold.records.model.roles import Duty, Role, Roles
from edgehold.records.problem import Problem, pointer
from edgehold.words import Reason

OF_EVENT: Mapping[str, Duty] = {"adopted": "adopt", "retired": "retire"}
_DOES = {"released": "identity.releases", "adopted": "identity.adopts", "retired": "identity.retires"}


@dataclass(frozen=True)
class Needed:
    """An act that needs a role: the file and place of its handle, the handle, its month, the duty, and the act in words."""

    path: str
    pointer: str
    by: str
    month: str
    duty: Duty
    act: str


def held(roles: Roles, handle: str, duty: Duty, month: str) -> Role | None:
    """The entry by which a handle may do something in a month, one of a real person first; None where it may not."""
    fitting = [role for role in roles.roles if role.handle == handle and duty in role.may and in_months(role, month)]
    return min(fitting, key=lambda role: role.simulated, default=None)


def has_role(roles: Roles, handle: str, month: str) -> bool:
    """Whether a handle has any role in a month."""
    return any(role.handle == handle and in_months(role, month) for role in roles.roles)


def in_months(role: Role, month: str) -> bool:
    """Whether an entry counts in a month."""
    return role.since <= month and (role.until is None or month <= role.until)


def act_of_outcome(outcome: str, number: int | str, protocol: str) -> tuple[Duty | None, Reason]:
    """What an outcome needs, and the act in words; a withdrawal needs the objector and no role."""
    duty: Duty | None = None if outcome == "withdrawn" else "strike" if outcome == "struck" else "decide"
    does = {None: "identity.withdraws", "strike": "identity.strikes"}.get(duty, "identity.decides")
    return duty, Reason(does, number=number, protocol=protocol)


def acts_of_events(events: Iterable[tuple[str, Event]]) -> Iterator[Needed]:
    """Events of one protocol that need a role; releasing a version needs none, for so a method is sent in, and nobody has adopted it."""
    for path, event in events:
        if event.kind in OF_EVENT:
            does = does_event(event.kind, event.version)
            yield Needed(path, "/by", event.by, event.month, OF_EVENT[event.kind], does)


def does_event(kind: str, version: str) -> Reason:
    """An event as an act, in words."""
    return Reason(_DOES.get(kind, "identity.opens"), version=version)


def acts_of_thread(thread: ObjectionThread, paths: Iterable[str]) -> Iterator[Needed]:
    """Outcomes of a thread that need a role; ``paths`` are its entries' files, the objection left out."""
    for path, (entry, _) in zip(paths, thread.entries, strict=True):
        duty, act = act_of_outcome(entry.outcome, thread.number, thread.protocol) if isinstance(entry, Outcome) else (None, "")
        if duty is not None:
            yield Needed(path, "/by", entry.by, entry.month, duty, act)


def role_problems(roles: Roles, needed: Iterable[Needed]) -> Iterator[tuple[str, Problem]]:
    """Acts since the list began by handles that had no role for them in their month."""
    for act in needed:
        if act.month >= roles.since and held(roles, act.by, act.duty, act.month) is None:
            yield act.path, no_role(act)


def no_role(act: Needed) -> Problem:
    """The finding that a handle may not do something in its month."""
    return Problem(act.pointer, "no-role", Reason("identity.no_role", by=act.by, act=act.act, duty=act.duty, month=act.month))


def list_problems(roles: Roles, bound: Mapping[str, str]) -> Iterator[Problem]:
    """What is wrong with the list itself: months that run backwards, and roles of handles that are nobody's.

    Parameters
    ----------
    roles : the list.
    bound : the account of every handle that has one.
    """
    for number, role in enumerate(roles.roles):
        if role.until is not None and role.until < role.since:
            message = Reason("identity.role_ends_early", handle=role.handle, since=role.since, until=role.until)
            yield Problem(pointer("roles", number, "until"), "role-form", message)
        if not role.simulated and role.handle not in bound:
            yield Problem(pointer("roles", number, "handle"), "role-unbound", Reason("identity.role_unbound", handle=role.handle))
