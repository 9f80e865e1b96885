"""Readings of one submission against its protocol: order of work, repeats, limits, and what looks odd."""

from __future__ import annotations

import math
from collections.abc import Iterator

from edgehold.records.canonical import CanonicalReading
from edgehold.records.canonical_runs import limit_of
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Run, Submission
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.units import plural, quantity_text

Place = tuple[str | int, ...]

NEAR_CHECKPOINT = 0.02  # relative; 3 1/4 ft for 1 m is meant so, 22 cuts for 20 is not


def reading_problems(record: Submission, protocol: Protocol, readings: list[tuple[CanonicalReading, ...]]) -> list[Problem]:
    """Problems of all runs; ``readings`` in the order of the file's runs, empty where a run could not be converted."""
    problems: list[Problem] = []
    for number, (run, read) in enumerate(zip(record.runs, readings, strict=True)):
        place = ("runs", number)
        if not run.readings:
            problems.append(Problem(pointer(*place, "readings"), "no-readings", f"run {run.id!r} has no readings"))
        if read:
            problems += _run_problems(run, read, place, protocol)
    return problems


def _run_problems(run: Run, read: tuple[CanonicalReading, ...], place: Place, protocol: Protocol) -> Iterator[Problem]:
    yield from _order_of_work(run, read, place)
    yield from _checkpoints(run, read, place, protocol)
    yield from _repeats(read, place, protocol)
    yield from _values(run, read, place, protocol)
    yield from _start(read, place, protocol)
    yield from _pass_after_fail(read, place)


def _order_of_work(run: Run, read: tuple[CanonicalReading, ...], place: Place) -> Iterator[Problem]:
    for i in range(1, len(read)):
        if read[i].work <= read[i - 1].work:
            message = f"work {shown(run.readings[i].work)} comes after {shown(run.readings[i - 1].work)}"
            yield Problem(pointer(*place, "readings", i, "work"), "work-not-increasing", message)


def _checkpoints(run: Run, read: tuple[CanonicalReading, ...], place: Place, protocol: Protocol) -> Iterator[Problem]:
    for i, reading in enumerate(read):
        nearest = min(protocol.work.checkpoints, key=lambda c: abs(c - reading.work))
        if abs(reading.work - nearest) > NEAR_CHECKPOINT * nearest:
            message = f"read at {shown(run.readings[i].work)} {plural(run.work_unit)}; the nearest checkpoint is {nearest:g}"
            message += "" if protocol.work.unit == run.work_unit else f" {plural(protocol.work.unit)}"
            yield Problem(pointer(*place, "readings", i, "work"), "off-checkpoint", message)


def _repeats(read: tuple[CanonicalReading, ...], place: Place, protocol: Protocol) -> Iterator[Problem]:
    name, wanted = ("outcomes" if protocol.reading.kind == "pass/fail" else "values"), protocol.reading.repeats
    for i, reading in enumerate(read):
        got = len(reading.values) + len(reading.passed)
        if got != wanted:
            message = f"{got} repeats; the protocol asks for {wanted}"
            yield Problem(pointer(*place, "readings", i, name), "repeats-differ", message)


def _values(run: Run, read: tuple[CanonicalReading, ...], place: Place, protocol: Protocol) -> Iterator[Problem]:
    rule = protocol.reading
    low, high = rule.plausible_low or 0.0, rule.plausible_high or math.inf
    for i, reading in enumerate(read):
        written = run.readings[i].values or ()
        for j, (item, value, limit) in enumerate(zip(written, reading.values, reading.limits, strict=True)):
            where = pointer(*place, "readings", i, "values", j, "written")
            if item.limit is None and limit_of(value, rule):
                message = f"{shown(item.written)} {run.reading_unit} is taken as {limit!r} its limit"
                yield Problem(where, "censored-value", message)
            elif limit is None and not low <= value <= high:
                message = f"{value:g} {rule.canonical_unit} is not between {low:g} and {high:g}"
                yield Problem(where, "implausible-value", message)


def _start(read: tuple[CanonicalReading, ...], place: Place, protocol: Protocol) -> Iterator[Problem]:
    where = pointer(*place, "readings")
    if all(reading.work > 0 for reading in read):
        yield Problem(where, "no-reading-at-0", "the first reading is after the first cut")
        return
    if len(read) > 1 and read[0].work == 0:
        start, first = _sharpness(read[0], protocol), _sharpness(read[1], protocol)
        if start is not None and first is not None and first > start:
            message = f"sharper after {quantity_text(read[1].work, protocol.work.unit)} than at 0: burr at the start?"
            yield Problem(pointer(*place, "readings", 1), "sharper-after-work", message)


def _sharpness(reading: CanonicalReading, protocol: Protocol) -> float | None:
    """Signed mean ln of a reading without limits; None otherwise (``endpoints`` computes keenness; this only compares)."""
    if not reading.values or any(reading.limits):
        return None
    mean = sum(map(math.log, reading.values)) / len(reading.values)
    return mean if protocol.reading.keener == "higher" else -mean


def _pass_after_fail(read: tuple[CanonicalReading, ...], place: Place) -> Iterator[Problem]:
    failed = False
    for i, reading in enumerate(read):
        if failed and any(reading.passed):
            message = f"a pass at {reading.work:g} after a fail at less work"
            yield Problem(pointer(*place, "readings", i, "outcomes"), "pass-after-fail", message)
            return
        failed = failed or not all(reading.passed)
