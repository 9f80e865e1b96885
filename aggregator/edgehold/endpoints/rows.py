"""What leaves the second stage: one row a run and endpoint, and the points of every curve."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.records.canonical import PoolKey

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
    level : which of the protocol's levels; None where it has none or the run is of none.
    level_place : its place among them, as the protocol declares them.
    pair : label of the two runs that were cut in turn, by the ids of both, or the run's own where it was cut alone in a protocol that cuts
        edges in turn; None in any other.
    coil_position_m, humidity_percent : metres from the outer end of the coil, and relative humidity; None when not known.
    blinded : whether the tester did not know whose edge it was; None when not known.
    seal_held : whether the seal of the submission's plan held; None where there is none.
    guessed_sharpener, guessed_blade : what a blind tester took it for; None where nothing was written down.
    interest : whether the tester owns, made or sells the blade; None when not known.
    finish_um : particle size of the last abrasive in micrometres; None when not known.
    hrc : hardness of the blade, Rockwell C; None when not known.
    instrument : that sharpness was read with; None where the file lists none, or several and does not say which.
    start, start_se : keenness before the first cut and its standard error from reading; None and nan where it was not read on the
        scale, is spoiled by a burr, or is the endpoint itself.
    relative_life : for a life to a fixed sharpness, ln of the work at which the edge has lost as much keenness as lies between
        the usual start in this pool and that sharpness; None where that is not known exactly, and for other endpoints.
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
    hand: str | None = None
    edge_part: str = "whole"
    pair: str | None = None
    level: str | None = None
    level_place: int = 0
    coil_position_m: float | None = None
    humidity_percent: float | None = None
    blinded: bool | None = None
    seal_held: bool | None = None
    guessed_sharpener: str | None = None
    guessed_blade: str | None = None
    interest: bool | None = None
    finish_um: float | None = None
    hrc: float | None = None
    instrument: str | None = None
    start: float | None = None
    start_se: float = float("nan")
    relative_life: float | None = None

    @property
    def usable(self) -> bool:
        """Whether a model of runs can take it: it has a value, and one tester."""
        return self.status != MISSING and not self.split_tester


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
    level, level_place : of the run; None where the protocol compares none, or the run is of none.
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
    level: str | None = None
    level_place: int = 0
