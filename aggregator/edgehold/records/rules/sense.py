"""Sense in the readings of a file: what a slip of the hand leaves behind, told from what reading and dulling can do by themselves.

Everything is looked at on the ln scale, as dullness: it rises with work, whichever way the reading goes. How far apart readings may
lie is taken from the file itself, by the ranges of its repeats, and never to be wider than the protocol's assumed repeatability, which
holds a reading's own scatter and more. Nothing here changes a value; ``sense_kinds`` makes questions of it, and
``site/pages/assets/form/sense.js`` finds the same in the browser.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

Sense = Mapping[str, Any]
"""The limits of ``table.sense``."""


@dataclass(frozen=True)
class Cell:
    """One repeat of a reading.

    Attributes
    ----------
    value : in the canonical unit.
    mark : the limit that the file marks, ``"below"`` or ``"above"``; None: none.
    limit : the same, or the one that the value has by itself.
    text : what is written.
    """

    value: float
    mark: str | None
    limit: str | None
    text: str

    @property
    def exact(self) -> bool:
        """Whether it can be held against others: nothing is marked, and it is not too small to be read."""
        return self.mark is None and self.limit != "below" and self.value > 0


@dataclass(frozen=True)
class Row:
    """The repeats at one checkpoint; ``work`` in the protocol's unit."""

    work: float
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class ReadRun:
    """One run; ``factor``: how many canonical units its unit of reading is; ``hand``: who read it with what."""

    rows: tuple[Row, ...]
    unit: str
    factor: float
    hand: tuple[object, object]


Runs = Sequence[ReadRun | None]  # None: a run that could not be converted


@dataclass(frozen=True)
class Far:
    """A reading far from those beside it.

    Attributes
    ----------
    row, cell : where; ``cell`` None: all readings of that checkpoint.
    power : the power of ten by which it would fit in; 0: none would.
    reference : the value that it was held against, in the canonical unit.
    """

    row: int
    cell: int | None
    power: int
    reference: float


def median(values: Sequence[float]) -> float:
    """The middle value; of two in the middle their mean."""
    found = sorted(values)
    half = len(found) // 2
    return found[half] if len(found) % 2 else (found[half - 1] + found[half]) / 2


def levels(row: Row, keener: str) -> list[tuple[int, float]]:
    """(number of the repeat, dullness) of what can be held against others."""
    sign = 1.0 if keener == "lower" else -1.0
    return [(number, sign * math.log(cell.value)) for number, cell in enumerate(row.cells) if cell.exact]


def spread(runs: Runs, sense: Sense) -> float:
    """Standard deviation of a single reading, ln: the median range of the repeats over d₂, within the limits of the table.

    d₂, the mean range of so many normal values in standard deviations, is the constant of control charts (Shewhart, Economic
    Control of Quality of Manufactured Product, 1931; values from memory). The median and not the mean, so that a slip does not
    widen what it is held against.
    """
    ranges = []
    for row in (row for run in runs if run for row in run.rows):
        found = [level for _, level in levels(row, "lower")]
        if len(found) > 1:
            ranges.append((max(found) - min(found)) / sense["d2"][min(len(found), len(sense["d2"]) - 1)])
    if len(ranges) < sense["enough"]:
        return float(sense["spread"])
    return float(min(max(median(ranges), sense["least"]), sense["spread"]))


def step_of(run: ReadRun, even: float) -> float:
    """The smallest step that readings of a run lie apart, in the canonical unit; 0 where all are alike."""
    values = sorted(cell.value for row in run.rows for cell in row.cells if cell.exact)
    steps = [b - a for a, b in pairwise(values) if b - a > even * b]
    return min(steps) if steps else 0.0


def rounding(value: float, step: float) -> float:
    """How far one step of the instrument moves a value, ln."""
    return math.log1p(step / value)


def far_readings(run: ReadRun, single: float, sense: Sense) -> list[Far]:
    """Readings too far from the repeats beside them, and checkpoints of which all are a power of ten from the checkpoints around them."""
    step = step_of(run, sense["even"])
    middles = [median([level for _, level in found]) if found else None for found in (levels(row, sense["keener"]) for row in run.rows)]
    found = [far for number in range(len(run.rows)) for far in _among_repeats(run, number, middles, single, step, sense)]
    odd = {far.row for far in found}
    return sorted([*found, *_rows_apart(run, middles, odd, sense)], key=lambda far: (far.row, far.cell or 0))


def _among_repeats(run: ReadRun, number: int, middles: Sequence[float | None], single: float, step: float, sense: Sense) -> Iterator[Far]:
    cells, found = run.rows[number].cells, levels(run.rows[number], sense["keener"])
    limit = max(sense["far"]["least"], sense["far"]["times"] * single)
    for place, level in found:
        fellows = [other for at, other in found if at != place]
        reference = _reference(level, fellows, [middle for middle in _beside(middles, number) if middle is not None])
        if reference is None:
            continue
        value, other = cells[place].value, math.exp(reference if sense["keener"] == "lower" else -reference)
        allowed = limit + rounding(min(value, other), step)
        if abs(level - reference) > allowed:
            yield Far(number, place, _power(level, reference, sense), other)


def _reference(level: float, fellows: Sequence[float], around: Sequence[float]) -> float | None:
    """What a repeat is held against: the middle of all where there are three; of two the one that lies nearer to the next checkpoints."""
    if len(fellows) >= 2:
        return median([level, *fellows])
    if not fellows or not around:
        return None
    centre = sum(around) / len(around)
    return fellows[0] if abs(level - centre) > abs(fellows[0] - centre) else None


def _beside(middles: Sequence[float | None], number: int) -> tuple[float | None, float | None]:
    return middles[number - 1] if number else None, middles[number + 1] if number + 1 < len(middles) else None


def _power(level: float, reference: float, sense: Sense) -> int:
    """The power of ten that brings a level nearest to a reference, if near enough; 0: none."""
    sign = 1 if sense["keener"] == "lower" else -1
    shifted = {power: abs(level + sign * power * math.log(10) - reference) for power in (-1, 1, -2, 2)}
    best = min(shifted, key=lambda power: shifted[power])
    return best if shifted[best] <= sense["far"]["near"] else 0


def _rows_apart(run: ReadRun, middles: Sequence[float | None], odd: set[int], sense: Sense) -> list[Far]:
    """Checkpoints that fit in by a power of ten only. The ends, which have one neighbour, come last and are not held against odd ones."""
    if len(middles) < 3:
        return []
    found: list[Far] = []
    for number in [*range(1, len(middles) - 1), 0, len(middles) - 1]:
        middle = middles[number]
        if middle is None or number in odd:
            continue
        known = [None if number + by in {far.row for far in found} else m for by, m in zip((-1, 1), _beside(middles, number), strict=True)]
        power, near = _apart(middle, known[0], known[1], sense)
        if power:
            found.append(Far(number, None, power, math.exp(near if sense["keener"] == "lower" else -near)))
    return found


def _apart(middle: float, before: float | None, after: float | None, sense: Sense) -> tuple[int, float]:
    """The power of ten that a checkpoint is out by, and its nearer neighbour; 0: none."""
    limits, sign = sense["row"], 1 if sense["keener"] == "lower" else -1
    around = [level for level in (before, after) if level is not None]
    if not around:
        return 0, 0.0
    low = min(around) - (limits["rise"] if before is None else limits["slack"])
    high = max(around) + (limits["rise"] if after is None else limits["slack"])
    if max(low - middle, middle - high) <= limits["out"]:
        return 0, 0.0
    power = next((power for power in (-1, 1, -2, 2) if low <= middle + sign * power * math.log(10) <= high), 0)
    return power, min(around, key=lambda level: abs(level - middle))


def much_sharper(run: ReadRun, far: Sequence[Far], single: float, sense: Sense) -> tuple[int, int, float] | None:
    """The first checkpoint that reads sharper than an earlier one by more than readings differ: (it, the earlier, ratio); None: none.

    Between the first two a burr is asked about by another rule, which is not repeated here.
    """
    step = step_of(run, sense["even"])
    means = [_mean_of(row, number, far, sense["keener"]) for number, row in enumerate(run.rows)]
    first = 1 if _burr(run, means) else 0
    for later in range(first + 1, len(means)):
        for earlier in sorted(range(first, later), key=lambda number: (-(means[number] or (-math.inf, 0))[0], number)):
            one, two = means[earlier], means[later]
            if one is None or two is None or (earlier, later) == (0, 1):
                continue
            limit = max(sense["sharper"]["least"], sense["sharper"]["times"] * single * math.sqrt(1 / one[1] + 1 / two[1]))
            least = min(cell.value for number in (earlier, later) for cell in run.rows[number].cells)
            if one[0] - two[0] > limit + rounding(least, step):
                return later, earlier, math.exp(one[0] - two[0])
    return None


def _mean_of(row: Row, number: int, far: Sequence[Far], keener: str) -> tuple[float, int] | None:
    """Mean dullness of a checkpoint and of how many repeats, without what is asked about; None where a limit stands there."""
    if any(cell.limit or cell.mark or cell.value <= 0 for cell in row.cells):
        return None
    left_out = {one.cell for one in far if one.row == number}
    found = [level for place, level in levels(row, keener) if place not in left_out]
    return (sum(found) / len(found), len(found)) if found and None not in left_out else None


def _burr(run: ReadRun, means: Sequence[tuple[float, int] | None]) -> bool:
    if len(run.rows) < 2 or run.rows[0].work != 0:
        return False
    start, first = means[:2]
    return start is not None and first is not None and first[0] < start[0]


def burr(run: ReadRun, far: Sequence[Far], sense: Sense) -> bool:
    """Whether the second checkpoint reads sharper than the start, however little; ``endpoints`` computes keenness, this only compares."""
    return _burr(run, [_mean_of(row, number, far, sense["keener"]) for number, row in enumerate(run.rows[:2])])


def same_rows(one: Row, two: Row, even: float) -> bool:
    """Whether two checkpoints hold the same repeats in the same order, at least two and none of them a limit."""
    if len(one.cells) < 2 or len(one.cells) != len(two.cells) or not all(cell.exact for cell in (*one.cells, *two.cells)):
        return False
    return all(abs(a.value - b.value) <= even * b.value for a, b in zip(one.cells, two.cells, strict=True))


def row_twice(run: ReadRun, sense: Sense) -> tuple[int, int] | None:
    """The first checkpoint whose readings stand at an earlier one already, both in numbers of rows; only where the steps are fine."""
    fine = sense["fine"] * step_of(run, sense["even"])
    for later in range(1, len(run.rows)):
        for earlier in range(later):
            if same_rows(run.rows[earlier], run.rows[later], sense["even"]) and min(c.value for c in run.rows[later].cells) >= fine:
                return later, earlier
    return None


def copied(run: ReadRun, earlier: ReadRun, sense: Sense) -> tuple[int, int] | None:
    """First and last row of a run that an earlier run has too, one behind the other: all of them, or enough; None: too few.

    A run of enough values that differ counts as a whole; a part only by values that are many steps of the instrument, since coarse
    ones agree by themselves.
    """
    works = {row.work: row for row in earlier.rows}
    alike = [row.work in works and same_rows(works[row.work], row, sense["even"]) for row in run.rows]
    values = [cell.value for row in run.rows for cell in row.cells]
    if all(alike) and len(run.rows) == len(earlier.rows) and len(values) >= sense["copied"]["values"]:
        return (0, len(alike) - 1) if len(set(values)) >= sense["copied"]["distinct"] else None
    fine = sense["fine"] * step_of(run, sense["even"])
    return next((part for part in _stretches(alike) if _fine_values(run, part, fine) >= sense["copied"]["part"]), None)


def _stretches(alike: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """First and last of every stretch of two or more."""
    begins = None
    for number, same in enumerate([*alike, False]):
        if same and begins is None:
            begins = number
        elif not same and begins is not None:
            if number - begins > 1:
                yield begins, number - 1
            begins = None


def _fine_values(run: ReadRun, part: tuple[int, int], fine: float) -> int:
    return sum(cell.value >= fine for row in run.rows[part[0] : part[1] + 1] for cell in row.cells)


def stray_limits(number: int, runs: Runs, sense: Sense) -> list[tuple[int, int]]:
    """(row, cell) of marks that stand among exact repeats and cannot be an end of the scale.

    Either the same hand read beyond it, or the number is finer than any scale's end or step is: more than two digits.
    """
    run = runs[number]
    if run is None:
        return []
    read = [cell.value for other in runs if other and other.hand == run.hand for row in other.rows for cell in row.cells if cell.exact]
    step = step_of(run, sense["even"])
    return [
        (n, k)
        for n, row in enumerate(run.rows)
        if any(cell.exact for cell in row.cells)
        for k, cell in enumerate(row.cells)
        if cell.mark and cell.value > 0 and _stray(cell, read, step, run.factor, sense["even"])
    ]


def _stray(cell: Cell, read: Sequence[float], step: float, factor: float, even: float) -> bool:
    if cell.mark == "above":
        return any(value > cell.value * (1 + even) for value in read) or not _round(cell.value / factor)
    beyond = any(value < cell.value * (1 - even) for value in read)
    return beyond or (cell.value > 2 * step and not _round(cell.value / factor))


def _round(number: float) -> bool:
    """Whether a number has two digits at most."""
    return math.isclose(float(f"{number:.1e}"), number, rel_tol=1e-9)


def unmarked(run: ReadRun) -> list[float]:
    """Everything read that no mark stands at, above 0, in the canonical unit."""
    return [cell.value for row in run.rows for cell in row.cells if cell.mark is None and cell.value > 0]


def other_units(number: int, runs: Runs, factors: Mapping[str, float], sense: Sense) -> list[str]:
    """Units that would fit, where a run's readings lie outside what the protocol expects; empty where its own fits, or none does."""
    run = runs[number]
    values = unmarked(run) if run else []
    if run is None or len(values) < sense["enough_values"] or _inside(values, 1.0, sense) > 1 - sense["share"]:
        return []
    if not _one_side(values, sense):
        return []
    fits = [unit for unit, factor in factors.items() if _inside(values, factor / run.factor, sense) >= sense["share"]]
    known = [other.unit for other in runs if other and other is not run and other.unit in fits]
    return known[:1] or fits


def _one_side(values: Sequence[float], sense: Sense) -> bool:
    beyond = [sum(value < sense["low"] for value in values), sum(value > sense["high"] for value in values)]
    return bool(max(beyond) >= sense["share"] * len(values))


def _inside(values: Sequence[float], ratio: float, sense: Sense) -> float:
    """Share of the values that the protocol expects, once they are multiplied."""
    low, high = float(sense["low"]), float(sense["high"])
    return sum(low <= value * ratio <= high for value in values) / len(values)


def unit_of_others(number: int, runs: Runs, sense: Sense) -> tuple[str, float] | None:
    """The unit that all others have, where this run alone has another one and lies off by about as much: (unit, ratio); None: no doubt."""
    run, others = runs[number], [other for at, other in enumerate(runs) if other and at != number]
    if run is None or len(others) < 2 or len({other.factor for other in others}) > 1 or others[0].factor == run.factor:
        return None
    middle, rest = _middles(run), [_middles(other) for other in others]
    gaps = [level - median([m[work] for m in rest if work in m]) for work, level in middle.items() if any(work in m for m in rest)]
    if len(gaps) < 2:
        return None
    gap, change = median(gaps), math.log(others[0].factor / run.factor)
    if abs(gap) > sense["off"] and abs(gap + change) < abs(gap) / 2:
        return others[0].unit, math.exp(gap)
    return None


def _middles(run: ReadRun) -> dict[float, float]:
    found = {row.work: levels(row, "lower") for row in run.rows}
    return {work: median([level for _, level in some]) for work, some in found.items() if some}
