"""Names inside one submission: each stands for one thing that exists in the file."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.records.model.plan import Plan
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem, pointer
from edgehold.words import filled_in

from .interpret import closest, interpret
from .sight import Around
from .table import NAMES

Place = tuple[str | int, ...]


def reference_problems(record: Submission) -> list[Problem]:
    """Ids given twice, people not in ``people``, and references that lead nowhere."""
    return [*interpret(NAMES, Around(record)), *_people_planned(record)]


def _people_planned(record: Submission) -> Iterator[Problem]:
    """People of an opened plan who are not in ``people``."""
    known = {person.handle for person in record.people}
    named = _named(record.plan.opened) if record.plan and record.plan.opened else {}
    for handle, place in named.items():
        if handle not in known:
            close = closest(handle, known)
            cure = filled_in("findings.did_you_mean", {"close": close}) if close else ""
            yield Problem(pointer(*place), "unknown-person", filled_in("findings.not_in_people", {"value": handle}), cure)


def _named(opened: Plan) -> dict[str, Place]:
    """Each person of an opened plan once, with the first place."""
    named: dict[str, Place] = {}
    if opened.coder:
        named[opened.coder] = ("plan", "opened", "coder")
    for i, run in enumerate(opened.runs):
        named.setdefault(run.sharpener, ("plan", "opened", "runs", i, "sharpener"))
        named.setdefault(run.tester, ("plan", "opened", "runs", i, "tester"))
    return named
