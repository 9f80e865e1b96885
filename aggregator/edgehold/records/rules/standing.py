"""Whose objection closes a form by itself.

A blocking objection about safety closes the form of a version. From a handle that nobody knows yet it does not: it is shown, and asks a
maintainer to look. Known is a handle that is bound to an account and has a role, was part of a measured submission of an earlier month,
or raised an earlier objection that was found to hold. Anybody's objection closes the form once a maintainer takes it up: asks for
evidence, or upholds it.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator
from dataclasses import replace

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.review import Outcome, Response
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.threads import UNSETTLED, about_danger, state_of
from edgehold.words import Reason

from .roles import has_role, held

Measured = Callable[[str, str], bool]
"""Whether a handle was part of a measured submission of a month before the given one."""


def taken_up(thread: ObjectionThread, roles: Roles) -> bool:
    """Whether a decision upheld it or opened it again, or somebody who may decide has asked for evidence."""
    return any(_takes_up(entry, roles) for entry, _ in thread.entries)


def _takes_up(entry: Response | Outcome, roles: Roles) -> bool:
    if isinstance(entry, Outcome):
        return entry.outcome in UNSETTLED
    return entry.response == "more evidence wanted" and held(roles, entry.by, "decide", entry.month) is not None


def found_right(handle: str, month: str, threads: Iterable[ObjectionThread]) -> bool:
    """Whether an objection of this handle, raised in an earlier month, was cured or upheld."""
    said = [thread for thread in threads if thread.objection.by == handle and not thread.objection.simulated]
    own = [thread for thread in said if thread.objection.month < month]
    return any(isinstance(e, Outcome) and e.outcome in ("revised", "upheld and unresolved") for thread in own for e, _ in thread.entries)


def weighed(
    threads: tuple[ObjectionThread, ...], roles: Roles | None, bound: Container[str], measured: Measured
) -> tuple[ObjectionThread, ...]:
    """The threads, those marked that close no form by themselves; without a list of roles, and before it began, none is.

    Parameters
    ----------
    threads : with handles as they stand in files.
    roles : the list.
    bound : the handles that are bound to an account.
    measured : who measured before.
    """
    if roles is None:
        return threads
    heard = [not about_danger(t) or known(t, t.objection.month, threads, roles, bound, measured) or taken_up(t, roles) for t in threads]
    return tuple(thread if by_itself else replace(thread, by_itself=False) for thread, by_itself in zip(threads, heard, strict=True))


def known(
    thread: ObjectionThread, month: str, threads: Iterable[ObjectionThread], roles: Roles, bound: Container[str], measured: Measured
) -> bool:
    """Whether the objector was known when the objection was raised, in ``month``; before the list began, everybody was."""
    by = thread.objection.by
    if month < roles.since or has_role(roles, by, month):  # only a bound handle has a role, or an invented one
        return True
    return by in bound and (found_right(by, month, threads) or measured(by, month))


def waiting(threads: Iterable[ObjectionThread]) -> Iterator[tuple[str, Problem]]:
    """Objections that call a method dangerous, close nothing yet, and wait for a maintainer."""
    for thread in threads:
        if not thread.by_itself and state_of(thread).unsettled:
            message = Reason("identity.asks_maintainers", by=thread.objection.by, number=thread.number)
            yield thread.path, Problem("/by", "asks-maintainers", message)
