"""Versions of one protocol against each other, and against the events of its life."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from edgehold.records.canonical import LoadedProtocol
from edgehold.records.model.protocol import version_order
from edgehold.records.model.review import Event
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.words import Reason

from .bumps import LEVELS, all_bumps, bump_given, may_go_further
from .months import month_problem, months_since_year_0

_FOLLOWS = {
    "released": (None,),
    "opened for review": ("released",),
    "adopted": ("opened for review",),
    "retired": ("released", "opened for review", "adopted"),
}


def chain_problems(older: LoadedProtocol, newer: LoadedProtocol) -> Iterator[Problem]:
    """Whether a version's number fits what differs from the version before it; places are in the newer.

    Too small a step is an error that names what forces the larger one: pooled together, the two would mean different things. Too large
    a step, where nothing differs that may mean more than the fields say, and a number left out are warnings.
    """
    before, now = older.record.version, newer.record.version
    given = bump_given(before, now)
    asking = all_bumps(older, newer)
    for bump in asking:
        if LEVELS.index(bump.level) > LEVELS.index(given):
            code = "version-incompatible" if bump.level == "major" else "bump-too-small"
            message = Reason("protocols.bump_too_small", why=bump.why, before=before, now=now, upper=given.upper())
            cure = Reason("protocols.put_back_or_call", before=before, next=_next(before, bump.level))
            yield Problem(bump.pointer, code, message, cure)
    needed = max((bump.level for bump in asking), key=LEVELS.index, default="patch")
    if LEVELS.index(needed) < LEVELS.index(given) and not may_go_further(older, newer):
        message = Reason("protocols.asks_for_less", before=before, upper=needed.upper())
        yield Problem("/version", "bump-too-large", message, f"call it {_next(before, needed)}")
    if now != _next(before, given):
        yield Problem(
            "/version", "version-skipped", Reason("protocols.followed", before=before, now=now), f"call it {_next(before, given)}"
        )


def _next(version: str, level: str) -> str:
    first, second, third = version_order(version)
    return {"major": f"{first + 1}.0.0", "minor": f"{first}.{second + 1}.0", "patch": f"{first}.{second}.{third + 1}"}[level]


def event_problems(
    events: list[tuple[str, Event]],
    versions: dict[str, str],
    submissions: frozenset[str],
    gone: dict[str, str],
    today: datetime.date,
) -> list[tuple[str, Problem]]:
    """Events of one protocol in the order of their numbers.

    Parameters
    ----------
    events : (path, event).
    versions : hash of each version's file, by version.
    submissions : ids of all submissions, those that were taken out included.
    gone : how submissions went that no longer count, by id.
    today : events are not in the future.
    """
    problems: list[tuple[str, Problem]] = []
    state: dict[str, str] = {}
    last = ""
    for path, event in events:
        found = list(month_problem(event.month, today))
        if event.month < last:
            found.append(Problem("/month", "month-backwards", Reason("protocols.month_backwards", month=event.month, last=last)))
        if event.version not in versions:
            found.append(Problem("/version", "unknown-version", Reason("protocols.no_file_of_version", version=event.version)))
        else:
            found += [*_order(event, state.get(event.version)), *_hash(event, versions[event.version])]
        found += _pilot(event, submissions, gone)
        state[event.version], last = event.kind, max(last, event.month)
        problems += [(path, problem) for problem in found]
    return problems


def _pilot(event: Event, submissions: frozenset[str], gone: dict[str, str]) -> Iterator[Problem]:
    if event.pilot is not None and event.pilot not in submissions:
        yield Problem("/pilot", "unknown-reference", Reason("protocols.no_such_submission", pilot=event.pilot))
    elif event.pilot in gone:
        yield Problem("/pilot", "cites-gone", Reason("protocols.submission_gone", pilot=event.pilot, gone=gone[event.pilot]))


def _order(event: Event, before: str | None) -> Iterator[Problem]:
    if before not in _FOLLOWS[event.kind]:
        message = f"{event.kind!r} comes after {before!r}" if before else f"{event.kind!r} comes first"
        yield Problem("/kind", "event-order", f"version {event.version}: {message}")


def _hash(event: Event, actual: str) -> Iterator[Problem]:
    if event.kind == "released" and event.sha256 != actual:
        message = Reason("protocols.released_changed", version=event.version, sha256=str(event.sha256), actual=actual)
        yield Problem("/sha256", "released-changed", message)


def life_problems(record: Submission, events: tuple[Event, ...]) -> Iterator[Problem]:
    """Whether a protocol version takes this submission: draft none, in review pilots, retired only earlier runs."""
    own = [event for event in events if event.version == record.protocol.version]
    last = own[-1].kind if own else None
    named = f"{record.protocol.id} {record.protocol.version}"
    if last in (None, "released"):
        yield Problem("/protocol/version", "protocol-draft", Reason("protocols.is_draft", named=named))
    elif last == "opened for review":
        yield Problem("/protocol/version", "pilot", Reason("protocols.in_review", named=named))
    elif last == "retired" and months_since_year_0(record.month) >= months_since_year_0(own[-1].month):
        yield Problem(
            "/month", "protocol-retired", Reason("protocols.retired", named=named, month=own[-1].month, record_month=record.month)
        )
