"""Names inside one submission: each stands for one thing that exists in the file."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator

from edgehold.records.model.plan import Plan
from edgehold.records.model.submission import Run, Submission
from edgehold.records.problem import Problem, pointer

Place = tuple[str | int, ...]


def reference_problems(record: Submission) -> list[Problem]:
    """Ids given twice, people not in ``people``, and references that lead nowhere."""
    return [
        *_repeated(record),
        *_people(record),
        *_missing("blade", _blades_named(record), {b.key for b in record.blades}),
        *_missing("preparation", _preparations_named(record), {p.id for p in record.preparations}),
        *_missing("lot", _lots_named(record), {lot.key for lot in record.lots or ()}),
        *_missing("instrument", _instruments_named(record), {i.key for i in record.instruments or ()}),
        *_preparations_served(record),
        *_orders(record),
    ]


def _repeated(record: Submission) -> Iterator[Problem]:
    lists = {
        ("people", "handle"): [p.handle for p in record.people],
        ("blades", "key"): [b.key for b in record.blades],
        ("lots", "key"): [lot.key for lot in record.lots or ()],
        ("instruments", "key"): [i.key for i in record.instruments or ()],
        ("preparations", "id"): [p.id for p in record.preparations],
        ("runs", "id"): [r.id for r in record.runs],
    }
    for (name, key), values in lists.items():
        seen: set[str] = set()
        for number, value in enumerate(values):
            if value in seen:
                cure = "give each person a handle of their own" if name == "people" else ""
                yield Problem(pointer(name, number, key), "duplicate-id", f"{value!r} stands twice in {name}", cure)
            seen.add(value)


def _people(record: Submission) -> Iterator[Problem]:
    known = {p.handle for p in record.people}
    for place, handle in _people_named(record):
        if handle not in known:
            message = f"{handle!r} is not in people"
            yield Problem(pointer(*place), "unknown-person", message, _closest(handle, known))


def _people_named(record: Submission) -> Iterator[tuple[Place, str]]:
    yield ("submitted_by",), record.submitted_by
    for i, blade in enumerate(record.blades):
        for j, stake in enumerate(blade.interest or ()):
            yield ("blades", i, "interest", j, "person"), stake.person
    for i, preparation in enumerate(record.preparations):
        yield ("preparations", i, "sharpener"), preparation.sharpener
    for i, run in enumerate(record.runs):
        yield ("runs", i, "tester"), run.tester
        if run.tester_guess and run.tester_guess.sharpener:
            yield ("runs", i, "tester_guess", "sharpener"), run.tester_guess.sharpener
    if record.plan and record.plan.opened:
        yield from _people_planned(record.plan.opened)


def _people_planned(opened: Plan) -> Iterator[tuple[Place, str]]:
    """Each person of an opened plan once."""
    named: dict[str, Place] = {}
    if opened.coder:
        named[opened.coder] = ("plan", "opened", "coder")
    for i, run in enumerate(opened.runs):
        named.setdefault(run.sharpener, ("plan", "opened", "runs", i, "sharpener"))
        named.setdefault(run.tester, ("plan", "opened", "runs", i, "tester"))
    yield from ((place, handle) for handle, place in named.items())


def _missing(what: str, named: Iterable[tuple[Place, str]], known: set[str]) -> Iterator[Problem]:
    for place, name in named:
        if name not in known:
            cure = _closest(name, known) or f"add the {what} to {what}s"
            yield Problem(pointer(*place), "unknown-reference", f"there is no {what} {name!r} in this file", cure)


def _closest(name: str, known: set[str]) -> str:
    close = difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.7)
    return f"did you mean {close[0]!r}?" if close else ""


def _blades_named(record: Submission) -> Iterator[tuple[Place, str]]:
    for i, preparation in enumerate(record.preparations):
        yield ("preparations", i, "blade"), preparation.blade
    for i, run in enumerate(record.runs):
        if run.tester_guess and run.tester_guess.blade:
            yield ("runs", i, "tester_guess", "blade"), run.tester_guess.blade


def _preparations_named(record: Submission) -> Iterator[tuple[Place, str]]:
    for i, preparation in enumerate(record.preparations):
        if preparation.previous_preparation:
            yield ("preparations", i, "previous_preparation"), preparation.previous_preparation
    for i, run in enumerate(record.runs):
        yield ("runs", i, "preparation"), run.preparation


def _lots_named(record: Submission) -> Iterator[tuple[Place, str]]:
    for i, run in enumerate(record.runs):
        if run.lot:
            yield ("runs", i, "lot"), run.lot
        for j, change in enumerate(run.lot_changes or ()):
            yield ("runs", i, "lot_changes", j, "lot"), change.lot


def _instruments_named(record: Submission) -> Iterator[tuple[Place, str]]:
    for i, run in enumerate(record.runs):
        if run.instrument:
            yield ("runs", i, "instrument"), run.instrument


def _preparations_served(record: Submission) -> Iterator[Problem]:
    """One preparation, one run: an edge touched up and gone on with is a new preparation and a new run."""
    first: dict[str, Run] = {}
    for i, run in enumerate(record.runs):
        earlier = first.setdefault(run.preparation, run)
        if earlier is run:
            continue
        touched = "edge touched up" in (earlier.ended, run.ended)
        message = f"preparation {run.preparation!r} already serves run {earlier.id!r}"
        cure = "a touched-up edge is a new preparation: add one, with previous_preparation" if touched else ""
        yield Problem(pointer("runs", i, "preparation"), "preparation-used-twice", message, cure)


def _orders(record: Submission) -> Iterator[Problem]:
    first: dict[int, Run] = {}
    for i, run in enumerate(record.runs):
        earlier = first.setdefault(run.order, run)
        if earlier is not run:
            message = f"runs {earlier.id!r} and {run.id!r} are both number {run.order}"
            yield Problem(pointer("runs", i, "order"), "order-repeated", message)
