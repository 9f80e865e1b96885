"""Kinds of rules about readings: order of work, repeats, limits, and what looks odd.

They look at canonical numbers (``canonical_runs``), and at nothing of a run that could not be converted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from edgehold.records.canonical import CanonicalReading
from edgehold.records.units import plural

from .sight import Around, Kind, Named, Sight, Stars, found_if, places, where
from .table import Entry

Readings = tuple[CanonicalReading, ...]


def _in_runs(test: Callable[[Readings, Entry], Iterator[tuple[str, Named]]]) -> Kind:
    """A kind that looks at the readings of a run together; the test gives places below them."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        for number, (run, read) in enumerate(zip(around.record.runs, around.readings, strict=True)):
            if read:
                yield from (Sight((number,), run.readings, named, below=below) for below, named in test(read, entry))

    return kind


def _filled(value: Any, _: Stars, __: Entry, ___: Around) -> Named | None:
    return found_if(not value)


def _rising(entry: Entry, around: Around) -> Iterator[Sight]:
    for stars, value in places(around.record, entry["at"]):
        read = around.readings[stars[0]]
        for i in range(1, len(read)):
            if read[i].work <= read[i - 1].work:
                yield Sight(stars, value, {"work": value[i].work, "before": value[i - 1].work}, below=f"/{i}/work")


def _near(entry: Entry, around: Around) -> Iterator[Sight]:
    points, goal = entry["work"]["checkpoints"], entry["work"]["goal"]
    for stars, value in _converted(entry, around):
        work = around.readings[stars[0]][stars[1]].work
        nearest = min(points, key=lambda point: abs(point - work))
        if abs(work - nearest) > entry["within"] * nearest:
            behind = "" if around.record.runs[stars[0]].work_unit == goal else f" {plural(goal)}"
            yield Sight(stars, value, {"nearest": nearest, "behind": behind})


def _converted(entry: Entry, around: Around) -> Iterator[tuple[Stars, Any]]:
    """Places in runs that could be converted."""
    return ((stars, value) for stars, value in places(around.record, entry["at"]) if around.readings[stars[0]])


def _repeats(entry: Entry, around: Around) -> Iterator[Sight]:
    for stars, value in _converted(entry, around):
        if len(value) != entry["wanted"]:
            yield Sight(stars, value, {"got": len(value), "wanted": entry["wanted"]})


def _begins(read: Readings, _: Entry) -> Iterator[tuple[str, Named]]:
    if all(reading.work > 0 for reading in read):
        yield "", {}


def _settled(read: Readings, _: Entry) -> Iterator[tuple[str, Named]]:
    fails = next((i for i, reading in enumerate(read) if not all(reading.passed)), len(read))
    passes = next((i for i in range(fails + 1, len(read)) if any(read[i].passed)), None)
    if passes is not None:
        yield f"/{passes}/outcomes", {"work": read[passes].work}


READING_KINDS: dict[str, Kind] = {
    "filled": where(_filled),
    "rising": _rising,
    "near": _near,
    "repeats": _repeats,
    "begins": _in_runs(_begins),
    "settled": _in_runs(_settled),
}
