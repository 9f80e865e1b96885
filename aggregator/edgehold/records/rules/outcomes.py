"""Outcomes: decided by a third person, on something said in the thread, in the order of their months."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.layout import ANALYSIS
from edgehold.records.model.review import Outcome, Response
from edgehold.records.problem import Problem
from edgehold.records.threads import DROPPED, OPEN

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
        yield Problem("/month", "month-backwards", f"{entry.month} comes before {last}, the month of what it follows")
    if any(isinstance(other, Outcome) and other.outcome == "struck" for other in earlier):
        yield Problem("", "after-struck", f"objection {thread.number} was struck", line=1)


def _outcome(entry: Outcome, earlier: list[Entry], thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    if thread.objection.duplicate_of is not None and entry.outcome not in DROPPED:
        message = f"the objection repeats number {thread.objection.duplicate_of}, and has its state"
        yield Problem("/outcome", "decided-elsewhere", message, "decide that one; of this one say only that it is withdrawn or struck")
        return
    rests_on = _rests_on(entry, earlier)
    version = None if rests_on is None else rests_on.revised_in
    yield from _decider(entry, rests_on, thread, around)
    yield from _something_new(entry, earlier)
    if entry.outcome in _RESTS_ON and rests_on is None:
        yield Problem("/outcome", "outcome-unfounded", f"{entry.outcome!r}, and there is no {_RESTS_ON[entry.outcome]} before it")
    elif entry.outcome == "revised" and thread.protocol != ANALYSIS and version is not None and version in around.versions:
        release = around.released(version)
        if release is None or release.month > entry.month:
            message = f"'revised' in {entry.month}, and {version} was not released by then"
            yield Problem("/outcome", "outcome-unfounded", message, "decide so once the version is released")


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
            yield Problem("/by", "not-the-objector", f"{entry.by!r} withdraws what {thread.objection.by!r} objected")
        return
    parts = {person(event.by): "released the protocol" for event in around.events if event.kind == "released"}
    parts |= {person(rests_on.by): f"wrote the {rests_on.response}"} if rests_on else {}
    parts |= {objector: "objected"}
    if by in parts:
        yield Problem("/by", "not-impartial", f"{entry.by!r} {parts[by]}")


def _something_new(entry: Outcome, earlier: list[Entry]) -> Iterator[Problem]:
    """After an outcome, another one needs something said since; nothing has to be said to withdraw or strike."""
    decided = [(i, other) for i, other in enumerate(earlier) if isinstance(other, Outcome)]
    state = decided[-1][1].outcome if decided else OPEN
    if entry.outcome == state:
        yield Problem("/outcome", "nothing-new", f"it is {state} already")
    elif decided and entry.outcome not in DROPPED and decided[-1][0] == len(earlier) - 1:
        message = f"it was decided to be {state}, and nothing was said since"
        yield Problem("/outcome", "nothing-new", message)
