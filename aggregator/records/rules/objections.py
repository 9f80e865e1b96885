"""Objections: what they name exists, entries run on, and outcomes are decided by somebody impartial."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

from ..canonical import LoadedProtocol, ObjectionThread
from ..layout import ANALYSIS
from ..model.review import Event, Evidence, Objection, Outcome, Response
from ..names import Names
from ..problem import Problem, pointer
from .protocol_form import steps_of
from .submissions import month_problem


@dataclass(frozen=True)
class Surroundings:
    """What a thread may refer to: versions of its protocol, its events, numbers of its threads, submissions' ids.

    ``gone`` says of ids whose submission no longer counts how it went; ``names`` whose handles are one person's.
    """

    versions: dict[str, LoadedProtocol]
    events: tuple[Event, ...]
    numbers: frozenset[int]
    submissions: frozenset[str]
    gone: dict[str, str]
    names: Names


def thread_problems(thread: ObjectionThread, paths: list[str], around: Surroundings, today: datetime.date) -> list[tuple[str, Problem]]:
    """Problems of one thread as (path, problem); ``paths`` are its files in order, the objection first."""
    problems = [(paths[0], p) for p in _objection(thread, around)]
    problems += [(paths[0], p) for p in month_problem(thread.objection.month, today)]
    for path, (entry, _) in zip(paths[1:], thread.entries, strict=True):
        found = [*_entry(entry, thread, around), *month_problem(entry.month, today)]
        problems += [(path, problem) for problem in found]
    return problems


def _objection(thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    against, other = thread.objection.against, thread.objection.duplicate_of
    if (against.protocol or ANALYSIS) != thread.protocol or against.protocol == ANALYSIS:
        message = f"against {against.protocol or 'the analysis'!r}, but it lies under {thread.protocol!r}"
        cure = f"objections to the analysis name no protocol and lie under protocols/{ANALYSIS}/, all others under their protocol"
        yield Problem("/against/protocol", "path-disagrees", message, cure)
    else:
        yield from _target(thread.objection, around)
    if other is not None and (other == thread.number or other not in around.numbers):
        yield Problem("/duplicate_of", "unknown-reference", f"there is no other objection number {other}")
    yield from _evidence(thread.objection.evidence, around)


def _target(objection: Objection, around: Surroundings) -> Iterator[Problem]:
    against = objection.against
    if against.version is None:
        for name in ("step", "endpoint"):
            if getattr(against, name) is not None:
                message = f"a {name} is named, and no version that has it"
                yield Problem(pointer("against", name), "unknown-version", message, "name the version that was read as well")
        return
    protocol = around.versions.get(against.version)
    if protocol is None:
        yield Problem("/against/version", "unknown-version", f"there is no version {against.version}")
        return
    if against.step is not None and against.step not in steps_of(protocol.body):
        yield Problem("/against/step", "unknown-step", f"version {against.version} has no step {against.step!r}")
    if against.endpoint is not None and against.endpoint not in {rule.id for rule in protocol.record.endpoints}:
        message = f"version {against.version} has no endpoint {against.endpoint!r}"
        yield Problem("/against/endpoint", "unknown-reference", message)


def _entry(entry: Response | Outcome, thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    if isinstance(entry, Response):
        yield from _response(entry, around)
    elif entry.outcome != "withdrawn" and around.names.person(entry.by) in _partial(thread, around):
        yield Problem("/by", "not-impartial", f"{entry.by!r} objected, or released the protocol")


def _partial(thread: ObjectionThread, around: Surroundings) -> set[str]:
    released = {event.by for event in around.events if event.kind == "released"}
    return {around.names.person(handle) for handle in released | {thread.objection.by}}


def _response(entry: Response, around: Surroundings) -> Iterator[Problem]:
    if entry.response == "revision" and entry.revised_in not in around.versions:
        message = f"there is no version {entry.revised_in}" if entry.revised_in else "no version is named"
        yield Problem("/revised_in", "unknown-version", message)
    yield from _evidence(entry.evidence, around)


def _evidence(given: tuple[Evidence, ...], around: Surroundings) -> Iterator[Problem]:
    for i, evidence in enumerate(given):
        if sum(part is not None for part in (evidence.probe, evidence.submission, evidence.citation)) != 1:
            yield Problem(pointer("evidence", i), "evidence-form", "not exactly one kind of evidence is given")
        if evidence.submission is not None and evidence.submission not in around.submissions:
            message = f"there is no submission {evidence.submission!r}"
            yield Problem(pointer("evidence", i, "submission"), "unknown-reference", message)
        elif evidence.submission in around.gone:
            message = f"the submission {evidence.submission!r} was {around.gone[evidence.submission]}"
            yield Problem(pointer("evidence", i, "submission"), "cites-gone", message)
