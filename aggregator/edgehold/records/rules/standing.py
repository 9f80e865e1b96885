"""Whose objection closes a form by itself.

A blocking objection about safety closes the form of a version. From a handle that nobody knows yet it does not: it is shown, and asks a
maintainer to look. Known is a handle with a role, one that was part of a measured submission of an earlier month, or whose earlier
objection was found to hold. Anybody's objection closes the form once a decision leaves it open or upholds it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.review import Outcome
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.threads import UNSETTLED, about_danger, state_of
from edgehold.words import Reason

from .roles import has_role

Measured = Callable[[str, str], bool]
"""Whether a handle was part of a measured submission of a month before the given one."""


def taken_up(thread: ObjectionThread) -> bool:
    """Whether a decision has left it open or upheld it."""
    return any(isinstance(entry, Outcome) and entry.outcome in UNSETTLED for entry, _ in thread.entries)


def found_right(handle: str, month: str, threads: Iterable[ObjectionThread]) -> bool:
    """Whether an objection of this handle, raised in an earlier month, was cured or upheld."""
    said = [thread for thread in threads if thread.objection.by == handle and not thread.objection.simulated]
    own = [thread for thread in said if thread.objection.month < month]
    return any(isinstance(e, Outcome) and e.outcome in ("revised", "upheld and unresolved") for thread in own for e, _ in thread.entries)


def weighed(threads: tuple[ObjectionThread, ...], roles: Roles | None, measured: Measured) -> tuple[ObjectionThread, ...]:
    """The threads, those marked that close no form by themselves; without a list of roles, and before it began, none is."""
    if roles is None:
        return threads
    return tuple(replace(t, by_itself=False) if about_danger(t) and not _by_itself(t, threads, roles, measured) else t for t in threads)


def _by_itself(thread: ObjectionThread, threads: Iterable[ObjectionThread], roles: Roles, measured: Measured) -> bool:
    by, month = thread.objection.by, thread.objection.month
    known = month < roles.since or has_role(roles, by, month) or found_right(by, month, threads) or measured(by, month)
    return known or taken_up(thread)


def waiting(threads: Iterable[ObjectionThread]) -> Iterator[tuple[str, Problem]]:
    """Objections that call a method dangerous, close nothing yet, and wait for a maintainer."""
    for thread in threads:
        if not thread.by_itself and state_of(thread).unsettled:
            message = Reason("identity.asks_maintainers", by=thread.objection.by, number=thread.number)
            yield thread.path, Problem("/by", "asks-maintainers", message)
