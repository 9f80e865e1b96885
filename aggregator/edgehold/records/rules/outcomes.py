"""Outcomes: decided by a third person, on something said in the thread, in the order of their months."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.layout import ANALYSIS
from edgehold.records.model.review import Outcome, Response
from edgehold.records.problem import Problem
from edgehold.records.threads import DROPPED, OPEN
from edgehold.words import Reason

from .months import month_problem
from .objections import Surroundings, objection_problems, response_problems

_RESTS_ON = {"rebutted": "rebuttal", "revised": "revision"}
Entry = Response | Outcome


def thread_problems(thread: ObjectionThread, paths: list[str], around: Surroundings, today: datetime.date) -> list[tuple[str, Problem]]:
    """Problems of one thread as (path, problem); ``paths`` are its files in order, the objection first."""
    own = [*objection_problems(thread, around), *month_problem(thread.objection.month, today)]
    problems = [(paths[0], problem) for problem in own]
    entries = [entry for entry, _ in thread.entries]
    for number, (path, (entry, text)) in enumerate(zip(paths[1:], thread.entries, strict=True)):
        earlier = entries[:number]
        found = [*month_problem(entry.month, today), *_order(entry, earlier, thread)]
        if isinstance(entry, Response):
            found += response_problems(entry, text, thread, around)
        else:
            found += _outcome(entry, earlier, thread, around)
        problems += [(path, problem) for problem in found]
    return problems


def _order(entry: Entry, earlier: list[Entry], thread: ObjectionThread) -> Iterator[Problem]:
    """Months do not run backwards, and nothing follows once a thread is struck."""
    last = earlier[-1].month if earlier else thread.objection.month
    if entry.month < last:
        yield Problem("/month", "month-backwards", Reason("threads.comes_before", month=entry.month, last=last))
    if any(isinstance(other, Outcome) and other.outcome == "struck" for other in earlier):
        yield Problem("", "after-struck", Reason("threads.was_struck", number=thread.number), line=1)


def _outcome(entry: Outcome, earlier: list[Entry], thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    if thread.objection.duplicate_of is not None and entry.outcome not in DROPPED:
        message = Reason("threads.repeats_number", duplicate_of=thread.objection.duplicate_of)
        yield Problem("/outcome", "decided-elsewhere", message, Reason("threads.decide_that_one"))
        return
    rests_on = _rests_on(entry, earlier)
    version = None if rests_on is None else rests_on.revised_in
    yield from _decider(entry, rests_on, thread, around)
    yield from _something_new(entry, earlier)
    if entry.outcome in _RESTS_ON and rests_on is None:
        yield Problem(
            "/outcome", "outcome-unfounded", Reason("threads.nothing_before", outcome=entry.outcome, response=_RESTS_ON[entry.outcome])
        )
    elif entry.outcome == "revised" and thread.protocol != ANALYSIS and version is not None and version in around.versions:
        release = around.released(version)
        if release is None or release.month > entry.month:
            message = Reason("threads.not_yet_released", month=entry.month, version=version)
            yield Problem("/outcome", "outcome-unfounded", message, Reason("threads.once_released"))


def _rests_on(entry: Outcome, earlier: list[Entry]) -> Response | None:
    """The last response of the kind that an outcome needs."""
    wanted = _RESTS_ON.get(entry.outcome)
    said = [other for other in earlier if isinstance(other, Response) and other.response == wanted]
    return said[-1] if said else None


def _decider(entry: Outcome, rests_on: Response | None, thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    """Who objected may withdraw; everything else is decided by somebody who had no part in it."""
    person = around.names.person
    by, objector = person(entry.by), person(thread.objection.by)
    if entry.outcome == "withdrawn":
        if by != objector:
            yield Problem("/by", "not-the-objector", Reason("threads.not_the_objector", by=entry.by, thread_by=thread.objection.by))
        return
    parts: dict[str, str] = {person(event.by): Reason("threads.released_protocol") for event in around.events if event.kind == "released"}
    parts |= {person(rests_on.by): f"wrote the {rests_on.response}"} if rests_on else {}
    parts |= {objector: "objected"}
    if by in parts:
        yield Problem("/by", "not-impartial", f"{entry.by!r} {parts[by]}")


def _something_new(entry: Outcome, earlier: list[Entry]) -> Iterator[Problem]:
    """After an outcome, another one needs something said since; nothing has to be said to withdraw or strike."""
    decided = [(i, other) for i, other in enumerate(earlier) if isinstance(other, Outcome)]
    state = decided[-1][1].outcome if decided else OPEN
    if entry.outcome == state:
        yield Problem("/outcome", "nothing-new", Reason("threads.already", state=state))
    elif decided and entry.outcome not in DROPPED and decided[-1][0] == len(earlier) - 1:
        message = Reason("threads.nothing_said_since", state=state)
        yield Problem("/outcome", "nothing-new", message)
