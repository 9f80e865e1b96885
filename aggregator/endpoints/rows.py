"""What leaves the second stage: one row a run and endpoint, and the points of every curve."""

from __future__ import annotations

from dataclasses import dataclass

from aggregator.records.canonical import PoolKey

EXACT, INTERVAL, LEFT, RIGHT, MISSING = "exact", "interval", "left", "right", "missing"


@dataclass(frozen=True)
class EndpointRow:
    """One endpoint of one run.

    Attributes
    ----------
    pool, version, submission, month : where the run was reported, and by which version of the protocol.
    endpoint, role : the protocol's endpoint id, and ``early``, ``late`` or ``overall``.
    run, order, evening, blade, steel, batch, sharpener, tester, lot, own_sharpening, sharpening, split_tester : as in
        ``CanonicalRun``.
    low, high : the endpoint lies between them, on the natural-log scale. Keenness for level and window, a difference
        of keenness for loss, ln of work for life. Equal: exact. Minus or plus infinity: censored on that side. Both
        nan: missing.
    status : ``exact``, ``interval``, ``left`` (only ``high`` known), ``right`` (only ``low`` known) or ``missing``.
    reason : why it is missing or censored; ``""`` for an exact value.
    reading_se : the part of the standard error that comes from reading, on the ln scale; nan where there is none.
    raw : unsigned arithmetic mean of the repeats in the reading's canonical unit, for a level read at its own
        checkpoint with every repeat on the scale; nan otherwise.
    failed_preparation : the edge was past the threshold before the first cut.
    damaged : the run ended with a damaged edge.
    flags : things worth a look, in plain words.
    angle_deg : stated edge angle per side, mean of the two sides; None when not known.
    edge_part : ``whole``, ``heel``, ``middle`` or ``tip``.
    """

    pool: PoolKey
    version: str
    submission: str
    month: str
    endpoint: str
    role: str
    run: str
    order: int
    evening: int | None
    blade: str
    steel: str | None
    batch: str | None
    sharpener: str
    tester: str
    lot: str | None
    own_sharpening: bool
    sharpening: str | None
    split_tester: bool
    low: float
    high: float
    status: str
    reason: str
    reading_se: float
    raw: float
    failed_preparation: bool
    damaged: bool
    flags: tuple[str, ...]
    angle_deg: float | None = None
    edge_part: str = "whole"


@dataclass(frozen=True)
class CurvePoint:
    """One checkpoint of one run, for curves.

    Attributes
    ----------
    pool, version, submission, run, steel, blade, sharpener, tester : whose run it is.
    work : cumulative work in the protocol's work unit.
    keenness : as read; the bound where a repeat was off the scale.
    smoothed : monotone fit through the run; nan before the checkpoint where the protocol lets the fit begin.
    se : standard error of ``keenness`` from reading alone; nan where there is none.
    n : number of repeats.
    limit : None, or ``below`` / ``above`` when a repeat was below the resolution / over the end of the scale. It
        speaks of the reading: where lower readings are keener, ``below`` makes ``keenness`` a lower bound.
    raw : arithmetic mean of the repeats in the reading's canonical unit.
    """

    pool: PoolKey
    version: str
    submission: str
    run: str
    steel: str | None
    blade: str
    sharpener: str
    tester: str
    work: float
    keenness: float
    smoothed: float
    se: float
    n: int
    limit: str | None
    raw: float
