"""Versions of one protocol against each other, and against the events of its life."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from ..model.protocol import EndpointRule, Protocol, major
from ..model.review import Event
from ..model.submission import Submission
from ..problem import Problem, pointer
from .submissions import month_problem, months_since_year_0

_FOLLOWS = {
    "released": (None,),
    "opened for review": ("released",),
    "adopted": ("opened for review",),
    "retired": ("released", "opened for review", "adopted"),
}


def chain_problems(older: Protocol, newer: Protocol) -> Iterator[Problem]:
    """What keeps two versions of the same MAJOR from being pooled together; places are in the newer."""
    if major(older.version) != major(newer.version):
        return
    cure = f"put it back as in {older.version}, or make it a new MAJOR"
    for path in ("medium.name", "work.kind", "work.unit", "reading.kind", "reading.canonical_unit", "reading.keener"):
        before, now = _at(older, path), _at(newer, path)
        if before != now:
            message = f"{path} is {now!r}, in {older.version} it is {before!r}"
            yield Problem(pointer(*path.split(".")), "version-incompatible", message, cure)
    rules = {rule.id: i for i, rule in enumerate(newer.endpoints)}
    for rule in older.endpoints:
        if rule.id not in rules:
            message = f"the endpoint {rule.id!r} of {older.version} is gone"
            yield Problem("/endpoints", "version-incompatible", message, cure)
        elif _definition(rule) != _definition(newer.endpoints[rules[rule.id]]):
            message = f"the endpoint {rule.id!r} is defined otherwise in {older.version}"
            yield Problem(pointer("endpoints", rules[rule.id]), "version-incompatible", message, cure)


def _at(record: Protocol, path: str) -> object:
    part, name = path.split(".")
    return getattr(getattr(record, part), name)


def _definition(rule: EndpointRule) -> tuple:
    return rule.kind, rule.at, rule.start, rule.end, rule.threshold, rule.fit_from


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
    for number, (path, event) in enumerate(events, 1):
        found = [*_number(path, number), *month_problem(event.month, today)]
        if event.version not in versions:
            found.append(Problem("/version", "unknown-version", f"there is no file of version {event.version}"))
        else:
            found += [*_order(event, state.get(event.version)), *_hash(event, versions[event.version])]
        found += _pilot(event, submissions, gone)
        state[event.version] = event.kind
        problems += [(path, problem) for problem in found]
    return problems


def _pilot(event: Event, submissions: frozenset[str], gone: dict[str, str]) -> Iterator[Problem]:
    if event.pilot is not None and event.pilot not in submissions:
        yield Problem("/pilot", "unknown-reference", f"there is no submission {event.pilot!r}")
    elif event.pilot in gone:
        yield Problem("/pilot", "cites-gone", f"the submission {event.pilot!r} was {gone[event.pilot]}")


def _number(path: str, number: int) -> Iterator[Problem]:
    name = path.rpartition("/")[2]
    if name[:3] != f"{number:03d}":
        yield Problem("", "wrong-number", f"this is event {number}, its number is {name[:3]}", f"call it {number:03d}-…")


def _order(event: Event, before: str | None) -> Iterator[Problem]:
    if before not in _FOLLOWS[event.kind]:
        message = f"{event.kind!r} comes after {before!r}" if before else f"{event.kind!r} comes first"
        yield Problem("/kind", "event-order", f"version {event.version}: {message}")


def _hash(event: Event, actual: str) -> Iterator[Problem]:
    if event.kind == "released" and event.sha256 != actual:
        message = f"version {event.version} was released as {event.sha256}, the file is {actual}"
        yield Problem("/sha256", "released-changed", message)


def life_problems(record: Submission, events: tuple[Event, ...]) -> Iterator[Problem]:
    """Whether a protocol version takes this submission: draft none, in review pilots, retired only earlier runs."""
    own = [event for event in events if event.version == record.protocol.version]
    last = own[-1].kind if own else None
    named = f"{record.protocol.id} {record.protocol.version}"
    if last in (None, "released"):
        yield Problem("/protocol/version", "protocol-draft", f"{named} is a draft")
    elif last == "opened for review":
        yield Problem("/protocol/version", "pilot", f"{named} is in review")
    elif last == "retired" and months_since_year_0(record.month) >= months_since_year_0(own[-1].month):
        yield Problem("/month", "protocol-retired", f"{named} was retired in {own[-1].month}; the run is of {record.month}")
