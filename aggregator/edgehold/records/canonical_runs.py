"""Runs with canonical numbers: every unit ends here.

What cannot be converted is a problem at its place and leaves its run out; the rules look at the rest.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from edgehold.errors import WrittenError
from edgehold.words import Reason

from .canonical import CanonicalReading, CanonicalRun
from .facts import EdgeOfRun
from .levels import by_condition, level_of
from .model.protocol import Protocol, ReadingRule
from .model.submission import Preparation, Reading, ReadingValue, Reference, Run, Submission
from .problem import Problem, pointer, shown
from .sharpeners import edge_by, hand_of
from .units import canonical_value, find_unit

CANONICAL_TOLERANCE = 1e-6  # relative; a canonical value that a program wrote has at least nine digits
EVEN = 1e-9  # relative; two amounts of work closer than this are the same amount


@dataclass(frozen=True)
class BladeFacts:
    """What all files together know of a blade: the register's id of its steel, and its batch."""

    steel: str | None = None
    batch: str | None = None


def canonical_readings(record: Submission, protocol: Protocol) -> tuple[list[tuple[CanonicalReading, ...]], list[Problem]]:
    """Readings of each run, in the order of the file's runs, and what could not be converted.

    A run of which something could not be converted has no readings here.
    """
    problems: list[Problem] = []
    readings = []
    for number, run in enumerate(record.runs):
        read, found = _readings(run, ("runs", number), protocol)
        problems += found
        readings.append(read)
    return readings, problems


def canonical_runs(
    record: Submission, protocol: Protocol, readings: list[tuple[CanonicalReading, ...]], facts: dict[str, BladeFacts]
) -> tuple[CanonicalRun, ...]:
    """Runs of one submission without problems, in running order; ``facts`` by blade key, over all files."""
    preparations = {p.id: p for p in record.preparations}
    blades = {b.key: b for b in record.blades}
    practice = {p.handle: p.sharpening for p in record.people}
    runs = []
    for run, read in zip(record.runs, readings, strict=True):
        preparation = preparations[run.preparation]
        known = facts.get(preparation.blade, BladeFacts())
        level = level_of(protocol, run, EdgeOfRun(preparation, blades.get(preparation.blade)))
        runs.append(_run(run, preparation, known, practice.get(preparation.sharpener), read, level, by_condition(protocol)))
    return tuple(sorted(runs, key=lambda run: run.order))


def _run(
    run: Run,
    preparation: Preparation,
    known: BladeFacts,
    practice: str | None,
    readings: tuple[CanonicalReading, ...],
    level: str | None,
    by_condition: bool,
) -> CanonicalRun:
    """``by_condition``: the condition of a sharpening is the treatment, so that it makes no second sharpener of one person."""
    return CanonicalRun(
        id=run.id,
        order=run.order,
        evening=run.evening,
        tester=run.tester,
        lot=run.lot,
        ended=run.ended,
        blinding=run.blinding,
        coil_position_m=run.coil_position_m,
        humidity_percent=run.humidity_percent,
        preparation=preparation.id,
        blade=preparation.blade,
        steel=known.steel,
        batch=known.batch,
        sharpener=(hand_of(preparation) if by_condition else None) or edge_by(preparation),
        hand=hand_of(preparation),
        edge_part=preparation.edge_part,
        own_sharpening=preparation.sharpener == run.tester,
        sharpening=practice if preparation.condition is None else None,  # how used they are now says nothing of a stated condition
        start_state=preparation.start_state,
        split_tester=run.tester_change_at_work is not None,
        readings=readings,
        partner=run.partner,
        instrument=run.instrument,
        reading_lot=run.reading_lot,
        level=level,
    )


def _readings(run: Run, place: tuple[str | int, ...], protocol: Protocol) -> tuple[tuple[CanonicalReading, ...], list[Problem]]:
    return readings_of(run, place, protocol, _other_work(run))


def readings_of(
    run: Run | Reference, place: tuple[str | int, ...], protocol: Protocol, beside: Iterable[tuple[tuple[str | int, ...], object]] = ()
) -> tuple[tuple[CanonicalReading, ...], list[Problem]]:
    """Canonical readings of a run or a reference edge, none where something could not be converted, and what could not be.

    ``beside`` are other amounts of work that must be readable too, each with its place inside.
    """
    problems = _unit_problems(run, place, protocol)
    if problems:
        return (), problems
    for name, written in beside:
        problems += work_in(written, run.work_unit, protocol, (*place, *name))[1]
    readings = []
    for number, reading in enumerate(run.readings):
        canonical, found = _reading(reading, run, (*place, "readings", number), protocol)
        problems += found
        readings.append(canonical)
    return tuple(readings) if not problems else (), problems


def _other_work(run: Run) -> list[tuple[tuple[str | int, ...], object]]:
    """Amounts of work beside those of readings, with their place in the run."""
    found: list[tuple[tuple[str | int, ...], object]] = [
        (("tester_change_at_work",), run.tester_change_at_work),
        (("planned_last_checkpoint",), run.planned_last_checkpoint),
    ]
    found += [(("lot_changes", i, "at_work"), change.at_work) for i, change in enumerate(run.lot_changes or ())]
    return [(name, written) for name, written in found if written is not None]


def _unit_problems(run: Run | Reference, place: tuple[str | int, ...], protocol: Protocol) -> list[Problem]:
    problems = _accepted(run.work_unit, protocol.work.accepted_units, (*place, "work_unit"))
    rule = protocol.reading
    if rule.kind == "pass/fail":
        if run.reading_unit is not None:
            message = Reason("reading.unit_of_pass_fail", reading_unit=shown(run.reading_unit))
            problems.append(Problem(pointer(*place, "reading_unit"), "wrong-reading", message, "write null"))
    elif run.reading_unit is None:
        message = Reason("reading.no_unit_of_values")
        cure = Reason("reading.write_one", names=", ".join(rule.accepted_units))
        problems.append(Problem(pointer(*place, "reading_unit"), "wrong-unit", message, cure))
    else:
        problems += _accepted(run.reading_unit, rule.accepted_units, (*place, "reading_unit"))
    return problems


@lru_cache(maxsize=4096)
def _unit_fits(unit: str, accepted: tuple[str, ...]) -> bool:
    known = find_unit(unit)
    return known is not None and known.id in {entry.id for entry in map(find_unit, accepted) if entry is not None}


def _accepted(unit: str, accepted: tuple[str, ...], place: tuple[str | int, ...]) -> list[Problem]:
    if _unit_fits(unit, accepted):
        return []
    message = Reason("reading.unit_not_accepted", unit=shown(unit))
    return [Problem(pointer(*place), "wrong-unit", message, f"use {' or '.join(accepted)}")]


_canonical = lru_cache(maxsize=100_000)(canonical_value)  # the same few numbers stand in many files


def _converted(written: object, unit: str, goal: str, place: tuple[str | int, ...]) -> tuple[float, list[Problem]]:
    try:
        value = _canonical(written, unit, goal)
    except WrittenError as error:
        return 0.0, [Problem(pointer(*place), "not-a-number", error.problem, error.cure)]
    if value < 0:
        return value, [Problem(pointer(*place), "negative-value", f"{shown(written)} is below 0")]
    return value, []


def work_in(written: object, unit: str, protocol: Protocol, place: tuple[str | int, ...]) -> tuple[float, list[Problem]]:
    """An amount of work in the protocol's unit; a checkpoint exactly where it is one but for rounding."""
    value, problems = _converted(written, unit, protocol.work.unit, place)
    return _snapped(value, protocol.work.checkpoints), problems


@lru_cache(maxsize=100_000)
def _snapped(value: float, checkpoints: tuple[float, ...]) -> float:
    return next((c for c in checkpoints if abs(value - c) <= EVEN * max(c, 1e-6)), value)


def _reading(
    reading: Reading, run: Run | Reference, place: tuple[str | int, ...], protocol: Protocol
) -> tuple[CanonicalReading, list[Problem]]:
    work, problems = work_in(reading.work, run.work_unit, protocol, (*place, "work"))
    problems += _kind_problems(reading, protocol.reading, place)
    values, limits = [], []
    unit, goal = run.reading_unit, protocol.reading.canonical_unit  # both are there where values are read
    if not problems and reading.values is not None and unit is not None and goal is not None:
        for number, item in enumerate(reading.values):
            value, found = _value(item, unit, goal, (*place, "values", number))
            problems += found
            values.append(value)
            limits.append(item.limit or limit_of(value, protocol.reading))
    passed = tuple(outcome == "pass" for outcome in reading.outcomes or ())
    return CanonicalReading(work, tuple(values), tuple(limits), passed), problems


def _kind_problems(reading: Reading, rule: ReadingRule, place: tuple[str | int, ...]) -> list[Problem]:
    wanted, other = ("outcomes", "values") if rule.kind == "pass/fail" else ("values", "outcomes")
    problems = []
    if getattr(reading, other) is not None:
        message = Reason("reading.other_kind_given", field=other, kind=rule.kind)
        problems.append(Problem(pointer(*place, other), "wrong-reading", message, f"give {wanted!r} instead"))
    if not getattr(reading, wanted):
        message = Reason("reading.values_missing", field=wanted)
        cure = Reason("reading.give_or_leave_out", field=wanted)
        problems.append(Problem(pointer(*place, wanted), "wrong-reading", message, cure))
    return problems


def _value(item: ReadingValue, unit: str, goal: str, place: tuple[str | int, ...]) -> tuple[float, list[Problem]]:
    value, problems = _converted(item.written, unit, goal, (*place, "written"))
    given = item.canonical
    if not problems and given is not None and abs(given - value) > CANONICAL_TOLERANCE * abs(value):
        message = f"{shown(item.written)} {unit} is {value:.9g} {goal}, not {given:.9g}"
        problems.append(Problem(pointer(*place, "canonical"), "canonical-disagrees", message))
    return value, problems


def limit_of(value: float, rule: ReadingRule) -> str | None:
    """The limit that a value has by itself: 0 or under the resolution, or over the scale's end."""
    if value <= 0 or (rule.resolution is not None and value < rule.resolution * (1 - EVEN)):
        return "below"
    if rule.scale_end is not None and value > rule.scale_end * (1 + EVEN):
        return "above"
    return None
