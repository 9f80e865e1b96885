"""Kinds of rules that ask about slips of the hand: each a question that names its checkpoint, once a run.

What is odd is found by ``sense``; here it gets its place and its words. ``site/pages/assets/form/sense_kinds.js`` asks the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Any

from edgehold.records.canonical import CanonicalReading
from edgehold.records.model.plan import PlannedRun
from edgehold.records.model.submission import Run
from edgehold.records.sharpeners import in_condition, planned_by
from edgehold.records.units import canonical_value, quantity_text
from edgehold.words import Reason

from .sense import (
    Cell,
    Far,
    ReadRun,
    Row,
    Runs,
    burr,
    copied,
    far_readings,
    much_sharper,
    other_units,
    row_twice,
    spread,
    stray_limits,
    unit_of_others,
    unmarked,
)
from .sight import Around, Kind, Sight
from .table import Entry

ORDINALS = ("questions.first", "questions.second", "questions.third", "questions.fourth", "questions.fifth")
MOST_PLACES = 4  # that one question names beside the first
SIGNS = {"below": "<", "above": ">"}

Place = tuple[int, int | None, str]
"""Number of the reading, of the repeat (None: the whole checkpoint), and what is asked there."""


def read_runs(entry: Entry, around: Around) -> Runs:
    """The runs of a file as the rules of sense look at them; None where one could not be converted."""
    if "runs" not in around.memo:
        goal = entry["goal"]
        around.memo["runs"] = [_read_run(run, read, goal) for run, read in zip(around.record.runs, around.readings, strict=True)]
    found: Runs = around.memo["runs"]
    return found


def _read_run(run: Run, read: Sequence[CanonicalReading], goal: str) -> ReadRun | None:
    if not read or run.reading_unit is None:
        return None
    rows = tuple(
        Row(
            canonical.work,
            tuple(
                Cell(value, item.limit, limit, item.written if isinstance(item.written, str) else f"{item.written:g}")
                for value, limit, item in zip(canonical.values, canonical.limits, reading.values or (), strict=True)
            ),
        )
        for canonical, reading in zip(read, run.readings, strict=True)
    )
    return ReadRun(rows, run.reading_unit, canonical_value(1, run.reading_unit, goal), (run.tester, run.instrument))


def far_of(entry: Entry, around: Around) -> list[list[Far]]:
    """What lies far from its neighbours, by run."""
    if "far" not in around.memo:
        runs, sense = read_runs(entry, around), entry["sense"]
        single = spread(runs, sense)
        around.memo["far"] = [far_readings(run, single, sense) if run else [] for run in runs]
    found: list[list[Far]] = around.memo["far"]
    return found


def doubted_units(entry: Entry, around: Around) -> dict[int, Reason]:
    """What is asked of the unit, by run."""
    if "units" not in around.memo:
        around.memo["units"] = dict(_doubted_units(entry, read_runs(entry, around)))
    found: dict[int, Reason] = around.memo["units"]
    return found


def _doubted_units(entry: Entry, runs: Runs) -> Iterator[tuple[int, Reason]]:
    sense = entry["sense"]
    factors = {unit: canonical_value(1, unit, entry["goal"]) for unit in sense["units"]}
    for number, run in enumerate(runs):
        if run is None:
            continue
        if fits := other_units(number, runs, {unit: factor for unit, factor in factors.items() if factor != run.factor}, sense):
            numbers = [value / run.factor for value in unmarked(run)]
            yield number, Reason("questions.unit", fits=" or ".join(fits), low=min(numbers), high=max(numbers), unit=run.unit)
        elif other := unit_of_others(number, runs, sense):
            unit, times = other
            yield number, Reason("questions.unit_of_others", fits=unit, times=f"{times:.2g}", unit=run.unit)


def silent_about(entry: Entry, around: Around, run: int, row: int, cell: int) -> bool:
    """Whether a value is asked about by its unit or by its neighbours already."""
    if run in doubted_units(entry, around):
        return True
    return any(far.row == row and far.cell in (None, cell) for far in far_of(entry, around)[run])


def work_text(entry: Entry, work: float) -> str:
    """An amount of work as a question names it."""
    return quantity_text(work, entry["work"]["goal"])


def at_checkpoint(entry: Entry, work: float) -> Reason:
    """A checkpoint as a question names it."""
    return Reason("questions.at_checkpoint", work=work_text(entry, work))


def at_reading(entry: Entry, work: float, cell: int) -> Reason:
    """A repeat as a question names it."""
    which = Reason(ORDINALS[cell]) if cell < len(ORDINALS) else Reason("questions.later")
    return Reason("questions.at_reading", work=work_text(entry, work), which=which)


def once_a_run(run: int, rows: Sequence[CanonicalReading], places: Sequence[Place], entry: Entry, value: object) -> Iterator[Sight]:
    """One question for all places of a run: it stands at the first and names the others."""
    if not places:
        return
    row, cell, told = places[0]
    names = [at_checkpoint(entry, rows[r].work) if c is None else at_reading(entry, rows[r].work, c) for r, c, _ in places[1:]]
    listed = "; ".join(names[:MOST_PLACES])
    if len(names) > MOST_PLACES:
        told = Reason("questions.also_more", told=told, places=listed, count=len(names) - MOST_PLACES)
    elif names:
        told = Reason("questions.also", told=told, places=listed)
    yield Sight((run,), value, below=f"/{row}/values/{cell or 0}/written", told=told)


def _each_run(test: Callable[[Entry, Around, int, ReadRun], list[Place]]) -> Kind:
    """A kind that asks once a run; the test gives the places."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        for number, run in enumerate(read_runs(entry, around)):
            if run:
                yield from once_a_run(number, around.readings[number], test(entry, around, number, run), entry, None)

    return kind


def _own_limit(entry: Entry, run: ReadRun, row: int, cell: int) -> Reason | None:
    one = run.rows[row].cells[cell]
    if one.mark is not None or one.limit is None:
        return None
    told = {"place": at_reading(entry, run.rows[row].work, cell), "value": one.text, "unit": run.unit, "limit": one.limit}
    return Reason("questions.own_limit", **told)


def _unlikely(entry: Entry, run: ReadRun, row: int, cell: int) -> Reason | None:
    one, low, high = run.rows[row].cells[cell], entry["low"], entry["high"]
    if one.limit is not None or low <= one.value <= high:
        return None
    told = {"place": at_reading(entry, run.rows[row].work, cell), "value": one.text, "unit": run.unit, "goal": entry["goal"]}
    return Reason("questions.unlikely", number=one.value, low=low, high=high, **told)


def _each_value(ask: Callable[[Entry, ReadRun, int, int], Reason | None]) -> Kind:
    """A kind that asks of single values, once a run, and not of those that are asked about by their unit or their neighbours."""

    def places(entry: Entry, around: Around, number: int, run: ReadRun) -> list[Place]:
        found = ((row, cell, ask(entry, run, row, cell)) for row, line in enumerate(run.rows) for cell in range(len(line.cells)))
        return [(row, cell, told) for row, cell, told in found if told and not silent_about(entry, around, number, row, cell)]

    return _each_run(places)


def _far(entry: Entry, around: Around, number: int, run: ReadRun) -> list[Place]:
    return [(far.row, far.cell, _far_text(entry, run, far)) for far in far_of(entry, around)[number]]


def _far_text(entry: Entry, run: ReadRun, far: Far) -> Reason:
    row = run.rows[far.row]
    if far.cell is None:
        code = "questions.row_high" if far.power < 0 else "questions.row_low"
        return Reason(code, place=at_checkpoint(entry, row.work), times=10 ** abs(far.power))
    fellows = [cell for place, cell in enumerate(row.cells) if place != far.cell and cell.exact]
    told = {"place": at_reading(entry, row.work, far.cell), "value": row.cells[far.cell].text, "unit": run.unit}
    told["others"] = " and ".join(cell.text for cell in fellows)
    number, reference = row.cells[far.cell].value / run.factor, far.reference / run.factor
    moved = number / 10**-far.power if far.power < 0 else number * 10**far.power
    meant = f"{moved:g}" if far.power else turned_round(number, reference)
    return Reason("questions.slip", meant=meant, **told) if meant else Reason("questions.far", **told)


def turned_round(number: float, reference: float) -> str:
    """The number with two neighbouring digits exchanged that lies nearest to a reference, if within a quarter of it; or nothing."""
    text = f"{number:g}"
    pairs = [n for n, (a, b) in enumerate(pairwise(text)) if a.isdigit() and b.isdigit() and a != b]
    turned = [f"{float(text[:n] + text[n + 1] + text[n] + text[n + 2 :]):g}" for n in pairs]
    near = [one for one in turned if abs(float(one) - reference) <= reference / 4]
    return min(near, key=lambda one: abs(float(one) - reference), default="")


def _burr(entry: Entry, around: Around) -> Iterator[Sight]:
    for number, run in enumerate(read_runs(entry, around)):
        if run and burr(run, far_of(entry, around)[number], entry["sense"]):
            told = Reason("questions.burr", work=work_text(entry, run.rows[1].work))
            yield Sight((number,), run, below="/1", told=told)


def _sharper(entry: Entry, around: Around, number: int, run: ReadRun) -> list[Place]:
    found = much_sharper(run, far_of(entry, around)[number], spread(read_runs(entry, around), entry["sense"]), entry["sense"])
    if found is None:
        return []
    later, earlier, times = found
    places = (at_checkpoint(entry, run.rows[row].work) for row in (later, earlier))
    return [(later, None, Reason("questions.sharper", times=times, **dict(zip(("place", "earlier"), places, strict=True))))]


def _row_twice(entry: Entry, _: Around, __: int, run: ReadRun) -> list[Place]:
    found = row_twice(run, entry["sense"])
    if found is None:
        return []
    place, earlier = (at_checkpoint(entry, run.rows[row].work) for row in found)
    return [(found[0], None, Reason("questions.row_twice", place=place, earlier=earlier))]


def _stray_limit(entry: Entry, around: Around, number: int, run: ReadRun) -> list[Place]:
    if number in doubted_units(entry, around):
        return []
    return [(row, cell, _stray_text(entry, run, row, cell)) for row, cell in stray_limits(number, read_runs(entry, around), entry["sense"])]


def _stray_text(entry: Entry, run: ReadRun, row: int, cell: int) -> Reason:
    one = run.rows[row].cells[cell]
    place = at_reading(entry, run.rows[row].work, cell)
    return Reason("questions.stray_limit", place=place, sign=SIGNS[one.mark or "below"], value=one.text, unit=run.unit)


def _unit_fits(entry: Entry, around: Around) -> Iterator[Sight]:
    for number, told in doubted_units(entry, around).items():
        yield Sight((number,), around.record.runs[number].reading_unit, told=told)


def _copied(entry: Entry, around: Around) -> Iterator[Sight]:
    runs, ids = read_runs(entry, around), [run.id for run in around.record.runs]
    for later, run in enumerate(runs):
        for earlier, other in enumerate(runs[:later]):
            part = copied(run, other, entry["sense"]) if run and other else None
            if run is None or part is None:
                continue
            names = {"run": repr(ids[later]), "other": repr(ids[earlier])}
            ends = dict(zip(("first", "last"), (work_text(entry, run.rows[row].work) for row in part), strict=True))
            whole = part == (0, len(run.rows) - 1)
            told = Reason("questions.copied", **names) if whole else Reason("questions.copied_part", **names, **ends)
            yield Sight((later,), run, below=f"/{part[0]}/values/0/written", told=told)
            break


def _ends(entry: Entry, around: Around) -> Iterator[Sight]:
    """A run that is said to have gone to its last checkpoint, and stops before it."""
    for number, (run, read) in enumerate(zip(around.record.runs, around.readings, strict=True)):
        if not read or run.ended != entry["is"]:
            continue
        planned = entry["work"]["checkpoints"][-1]
        if run.planned_last_checkpoint is not None:
            planned = canonical_value(run.planned_last_checkpoint, run.work_unit, entry["work"]["goal"])
        if read[-1].work < planned * (1 - entry["within"]):
            told = {"place": at_checkpoint(entry, read[-1].work), "planned": work_text(entry, planned)}
            yield Sight((number,), run.ended, told=Reason("questions.ends", **told))


def _beyond(entry: Entry, around: Around) -> Iterator[Sight]:
    """A change during a run at more work than the checkpoint after the last reading."""
    for number, (run, read) in enumerate(zip(around.record.runs, around.readings, strict=True)):
        if not read:
            continue
        last = read[-1].work
        end = next((point for point in entry["work"]["checkpoints"] if point > last), last)
        changes: list[tuple[str, Any]] = [("/tester_change_at_work", run.tester_change_at_work)]
        changes += [(f"/lot_changes/{place}/at_work", change.at_work) for place, change in enumerate(run.lot_changes or ())]
        for below, written in changes:
            work = None if written is None else canonical_value(written, run.work_unit, entry["work"]["goal"])
            if work is not None and work > end * (1 + entry["within"]):
                told = Reason("questions.beyond", at=work_text(entry, work), place=at_checkpoint(entry, last))
                yield Sight((number,), written, below=below, told=told)


def _as_planned(_: Entry, around: Around) -> Iterator[Sight]:
    """The first run that is not the drawn one; where another one has taken its place, and it the other's, both."""
    record = around.record
    if record.plan is None or record.plan.opened is None:
        return
    drawn = sorted(record.plan.opened.runs, key=lambda run: run.order)
    told = any(run.condition is not None for run in drawn)  # a plan that states no conditions leaves them to the file
    preparations = {p.id: (p.blade, in_condition(p.sharpener, p.condition if told else None)) for p in record.preparations}
    made = sorted(enumerate(record.runs), key=lambda pair: pair[1].order)
    if any(run.preparation not in preparations for _, run in made):
        return  # said already where references are looked at
    did = [_done(run, preparations[run.preparation], number, drawn) for number, (_, run) in enumerate(made)]
    wanted = [(run.blade, planned_by(run), run.tester) for run in drawn]
    first = next((n for n, pair in enumerate(zip(did, wanted, strict=False)) if pair[0] != pair[1]), None)
    if first is not None:
        yield Sight((made[first][0],), None, told=_not_as_drawn(drawn, did, wanted, first))


def _done(run: Run, edge: tuple[str, str], number: int, drawn: Sequence[PlannedRun]) -> tuple[str, ...]:
    """Blade, sharpener and tester of a run, with its level where the plan states one; a level that is not written is taken as drawn."""
    blade, sharpener = edge
    planned = drawn[number].level if number < len(drawn) else None
    return blade, in_condition(sharpener, planned and (run.level or planned)), run.tester


def _not_as_drawn(drawn: Sequence[PlannedRun], did: Sequence[tuple[str, ...]], wanted: Sequence[tuple[str, ...]], first: int) -> Reason:
    told: dict[str, Any] = {"order": drawn[first].order, "planned": _drawn_text(wanted[first]), "done": _drawn_text(did[first])}
    pairs = range(first + 1, min(len(did), len(wanted)))
    other = next((n for n in pairs if (did[n], wanted[n]) == (wanted[first], did[first])), None)
    return Reason("questions.not_as_drawn", **told) if other is None else Reason("questions.swapped", other=drawn[other].order, **told)


def _drawn_text(run: tuple[str, ...]) -> Reason:
    return Reason("questions.run_drawn", **dict(zip(("blade", "sharpener", "tester"), run, strict=True)))


SENSE_KINDS: dict[str, Kind] = {
    "unit fits": _unit_fits,
    "far": _each_run(_far),
    "limit": _each_value(_own_limit),
    "between": _each_value(_unlikely),
    "stray limit": _each_run(_stray_limit),
    "burr": _burr,
    "sharper": _each_run(_sharper),
    "row twice": _each_run(_row_twice),
    "copied": _copied,
    "ends": _ends,
    "beyond": _beyond,
    "as planned": _as_planned,
}
