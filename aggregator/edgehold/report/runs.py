"""The runs themselves: their curves with every repeat, how sharp they began, and which figures they reach."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from edgehold.endpoints import EndpointRow
from edgehold.endpoints.rows import EXACT, INTERVAL, LEFT, MISSING, RIGHT
from edgehold.records.canonical import CanonicalRun
from edgehold.records.model.protocol import Protocol
from edgehold.results.words.sentences import amount, ratio_text
from edgehold.words import Reason


@dataclass(frozen=True)
class CurveReading:
    """One checkpoint of one run.

    Attributes
    ----------
    work : in the protocol's unit.
    mean : geometric mean of the repeats in the reading's canonical unit; None where one was off the scale, and for pass or fail.
    repeats : every repeat that is on the scale.
    told : mean and its limit, or passes and fails, in few signs.
    """

    work: float
    mean: float | None
    repeats: tuple[float, ...]
    told: str


@dataclass(frozen=True)
class RunCurve:
    """One run.

    Attributes
    ----------
    run, order, arm : its id, its place, and the side of the comparison that it is on.
    ended : how.
    readings : by work.
    """

    run: str
    order: int
    arm: str
    ended: str
    readings: tuple[CurveReading, ...]


@dataclass(frozen=True)
class StartSide:
    """How sharp one side began: geometric mean over its runs; runs read at 0 and on the scale, and all of them."""

    arm: str
    mean: float | None
    low: float | None
    high: float | None
    read: int
    runs: int


@dataclass(frozen=True)
class Start:
    """Start keenness compared; never inside a figure."""

    sides: tuple[StartSide, ...]
    ratio: float | None
    sentence: str


@dataclass(frozen=True)
class Reach:
    """How many runs reach one figure.

    Attributes
    ----------
    endpoint, title : which.
    runs, exact, interval, one_sided, missing : all, and of these so many.
    reasons : why some are missing, each once.
    """

    endpoint: str
    title: str
    runs: int
    exact: int
    interval: int
    one_sided: int
    missing: int
    reasons: tuple[str, ...]


NO_LEVEL = "–"
ARM: dict[str, Callable[[CanonicalRun], str]] = {
    "sharpener": lambda run: run.sharpener,
    "blade": lambda run: run.blade,
    "steel": lambda run: run.steel or run.blade,
    "level": lambda run: run.level or NO_LEVEL,
}


def run_curves(runs: Sequence[CanonicalRun], factor: str) -> tuple[RunCurve, ...]:
    """Every run, in the order given; ``factor`` says whose side each is on."""
    return tuple(_curve(run, factor) for run in runs)


def _curve(run: CanonicalRun, factor: str) -> RunCurve:
    readings = []
    for reading in sorted(run.readings, key=lambda r: r.work):
        if reading.passed:
            readings.append(CurveReading(reading.work, None, (), "".join("P" if passed else "F" for passed in reading.passed)))
            continue
        kept = tuple(v for v, limit in zip(reading.values, reading.limits, strict=True) if limit is None)
        whole = bool(kept) and len(kept) == len(reading.values)
        mean = math.exp(sum(map(math.log, kept)) / len(kept)) if whole else None
        told = amount(mean) if mean is not None else next(filter(None, reading.limits), "–")
        readings.append(CurveReading(reading.work, mean, kept, told))
    return RunCurve(run.id, run.order, ARM[factor](run), run.ended, tuple(readings))


def start_of(curves: Sequence[RunCurve], protocol: Protocol, first: str, second: str) -> Start:
    """Keenness before the first cut, side by side.

    Parameters
    ----------
    curves : of every run.
    protocol : for unit and direction of the reading.
    first, second : the two sides.
    """
    if protocol.reading.kind == "pass/fail":
        return Start((), None, Reason("report.start_pass_fail"))
    sides = tuple(_side(arm, [c for c in curves if c.arm == arm]) for arm in (first, second))
    known = [(s.arm, s.mean, s.low, s.high, s.read) for s in sides if s.mean is not None and s.low is not None and s.high is not None]
    if len(known) < len(sides):
        return Start(sides, None, Reason("report.start_one_side"))
    ratio = known[0][1] / known[1][1]
    if protocol.reading.keener == "lower":
        ratio = 1 / ratio
    unit = protocol.reading.canonical_unit or ""
    told = "; ".join(
        Reason("report.start_side", arm=arm, mean=amount(mean), unit=unit, low=amount(low), high=amount(high), runs=read)
        for arm, mean, low, high, read in known
    )
    sharper, by = (first, ratio) if ratio >= 1 else (second, 1 / ratio)
    how = "alike" if amount(by) == amount(1) else "apart"
    return Start(sides, ratio, Reason(f"report.start_{how}", sides=told, sharper=sharper, ratio=ratio_text(by)))


def _side(arm: str, curves: list[RunCurve]) -> StartSide:
    means = [r.mean for c in curves for r in c.readings if r.work == 0 and r.mean is not None]
    if not means:
        return StartSide(arm, None, None, None, 0, len(curves))
    return StartSide(arm, math.exp(sum(map(math.log, means)) / len(means)), min(means), max(means), len(means), len(curves))


def reaches(rows: Sequence[EndpointRow], protocol: Protocol) -> tuple[Reach, ...]:
    """How many runs reach each figure, in the protocol's order."""
    found = []
    for rule in protocol.endpoints:
        own = [row for row in rows if row.endpoint == rule.id]
        counts = {status: sum(row.status == status for row in own) for status in (EXACT, INTERVAL, LEFT, RIGHT, MISSING)}
        reasons = tuple(dict.fromkeys(row.reason for row in own if row.status == MISSING and row.reason))
        one_sided = counts[LEFT] + counts[RIGHT]
        found.append(Reach(rule.id, rule.title, len(own), counts[EXACT], counts[INTERVAL], one_sided, counts[MISSING], reasons))
    return tuple(found)
