"""Dulling curves of steels: what an average sharpener and tester would read with an average blade, from all readings of a pool at once.

Every steel has a mean of its own at every checkpoint. Sharpeners, testers, blades, submissions, steels in a person's hands and single runs
each move a whole curve by a level and a trend along the work, as random terms. A run that was stopped because it had become dull is
stopped because of readings that are there (Rubin 1976, Biometrika 63:581–592): its early readings tell, through its level and its trend,
what it would have read later, where a mean over the runs that are left would flatter the steel that loses its worst.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.errors import NumbersError
from edgehold.numerics.arrays import Array, Ints, Texts
from edgehold.numerics.attempt import attempt
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.inputs import RESIDUAL
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.gather.in_processes import each
from edgehold.pooling.hierarchical import ContrastPosterior, HierarchicalFit, hierarchical
from edgehold.pooling.partitions import terms_of
from edgehold.records.canonical import PoolKey

from .pairs import CurvePair, curve_pairs

LEAST_SUBMISSIONS = 2  # a curve from one submission is that submission's own
TREND = 0.5  # scale of a trend's prior in that of the level's, from the middle of the work to its end: the authors' assumption
ABOUT = 0.5  # scale of the prior of a reading about its run's line, in that of the run's own
RUN = "run"
DRAWS = 4000  # for bands; limits then move by about a thirtieth of a standard deviation from one seed to another
SEED = 20261125  # any fixed number: the same readings give the same bands


@dataclass(frozen=True)
class MeanPoint:
    """Mean keenness of one steel at one checkpoint.

    Attributes
    ----------
    work : in the protocol's work unit.
    mean : posterior mean, minus the pool's mean at 0 (ln scale).
    interval : central 95 % of the posterior.
    runs : runs that were read there.
    submissions : submissions that were read there.
    """

    work: float
    mean: float
    interval: Interval
    runs: int
    submissions: int


@dataclass(frozen=True)
class MeanCurve:
    """One steel's mean curve in one pool; without points where its numbers failed, and the reason."""

    pool: PoolKey
    steel: str
    points: tuple[MeanPoint, ...]
    reason: str = ""


@dataclass(frozen=True, eq=False)
class _Readings:
    """Readings of one pool, one row each: number of the run and of the cell (steel and checkpoint), limits of keenness, and place along
    the work, −1 at the first checkpoint and 1 at the last."""

    runs: list[CurvePoint]
    run: Ints
    cells: list[tuple[str, float]]
    cell: Ints
    low: Array
    high: Array
    place: Array


@dataclass(frozen=True, eq=False)
class PoolCurves:
    """Curves of a pool's steels, and pairs of them against each other."""

    curves: tuple[MeanCurve, ...]
    pairs: tuple[CurvePair, ...]


def pooled_curves(
    points: Iterable[CurvePoint],
    rows: Iterable[EndpointRow],
    checkpoints: Mapping[PoolKey, Sequence[float]],
    priors: Mapping[PoolKey, Mapping[str, HalfT]],
    lower_is_keener: Mapping[PoolKey, bool],
) -> PoolCurves:
    """Curves of steels by pool and steel, and pairs of steels by pool and names, each pool's from one joint posterior.

    Parameters
    ----------
    points : readings of runs; those at no checkpoint of the protocol, or of an unknown steel, are left out. Pass/fail readings have none.
    rows : endpoint rows, for the runs that two testers shared, which are left out.
    checkpoints : the protocol's checkpoints by pool.
    priors : of the spreads of a level, by pool.
    lower_is_keener : whether lower readings are keener, by pool: it says to which side a reading off the scale lies.
    """
    points = tuple(points)
    shared = {(row.pool, row.submission, row.run) for row in rows if row.split_tester}
    starts = starting_keenness(points)
    pools: dict[PoolKey, list[CurvePoint]] = defaultdict(list)
    for point in points:
        if point.steel is not None and point.work in checkpoints[point.pool] and (point.pool, point.submission, point.run) not in shared:
            pools[point.pool].append(point)
    jobs = [(own, checkpoints[pool], priors[pool], lower_is_keener[pool], starts.get(pool, 0.0)) for pool, own in sorted(pools.items())]
    found = each(_of_pool, jobs, [len(own) for own, *_ in jobs])
    return PoolCurves(tuple(curve for one in found for curve in one.curves), tuple(pair for one in found for pair in one.pairs))


def starting_keenness(points: Iterable[CurvePoint]) -> dict[PoolKey, float]:
    """Mean keenness before the first cut by pool, over the runs whose reading there was on the scale."""
    starts: dict[PoolKey, list[float]] = defaultdict(list)
    for point in points:
        if point.work == 0 and point.limit is None:
            starts[point.pool].append(point.keenness)
    return {pool: float(np.mean(values)) for pool, values in starts.items()}


def _of_pool(points: list[CurvePoint], checkpoints: Sequence[float], priors: Mapping[str, HalfT], lower: bool, start: float) -> PoolCurves:
    told, pool = _told(points), points[0].pool
    steels = sorted({point.steel for point in told if point.steel is not None})
    found = attempt(
        lambda: _posterior(told, priors, lower),
        lambda why: why,
        lambda found: () if isinstance(found, str) else (found[1].weights, found[1].coefficients, found[1].covariances),
    )
    if isinstance(found, str):
        curves = tuple(MeanCurve(pool, steel, (), found) for steel in steels)
        return PoolCurves(curves, curve_pairs(points, (), np.zeros(0), found, checkpoints, start))
    readings, fit = found

    def drawn() -> Array | str:
        return fit.draws(DRAWS, np.random.default_rng(SEED))

    draws = attempt(drawn, lambda why: why)
    curves = tuple(_curve(pool, steel, told, readings, fit, start) for steel in steels)
    return PoolCurves(curves, curve_pairs(points, readings.cells, fit.weights @ fit.coefficients, draws, checkpoints, start))


def _posterior(told: list[CurvePoint], priors: Mapping[str, HalfT], lower: bool) -> tuple[_Readings, HierarchicalFit] | str:
    """Readings and the posterior of their cells' means; else why not, empty where there is nothing to fit."""
    if not told:
        return ""
    readings = _readings(told, lower)
    fit = _fit(readings, priors)
    return (readings, fit) if fit.state == "fitted" else fit.reason


def _curve(pool: PoolKey, steel: str, told: list[CurvePoint], readings: _Readings, fit: HierarchicalFit, start: float) -> MeanCurve:
    cells = [(i, [p for p in told if (p.steel, p.work) == cell]) for i, cell in enumerate(readings.cells) if cell[0] == steel]
    unit = np.eye(len(readings.cells))
    return attempt(
        lambda: MeanCurve(pool, steel, tuple(_mean_point(read[0].work, fit.contrast(unit[i]), read, start) for i, read in cells)),
        lambda why: MeanCurve(pool, steel, (), why),
        lambda curve: (point.mean for point in curve.points),
    )


def _mean_point(work: float, told: ContrastPosterior, read: list[CurvePoint], start: float) -> MeanPoint:
    interval = Interval(told.interval.low - start, told.interval.high - start, told.interval.level, "posterior")
    return MeanPoint(work, told.mean - start, interval, len({(p.submission, p.run) for p in read}), len({p.submission for p in read}))


def _told(points: list[CurvePoint]) -> list[CurvePoint]:
    """Readings at those checkpoints of a steel at which several submissions have a reading on the scale."""
    read: dict[tuple[str | None, float], set[str]] = defaultdict(set)
    for point in points:
        if point.limit is None:
            read[(point.steel, point.work)].add(point.submission)
    return [point for point in points if len(read[(point.steel, point.work)]) >= LEAST_SUBMISSIONS]


def _readings(points: list[CurvePoint], lower: bool) -> _Readings:
    runs = {(point.submission, point.run): point for point in points}
    cells = sorted({(point.steel, point.work) for point in points if point.steel is not None})
    places: dict[tuple[str | None, float], int] = {cell: i for i, cell in enumerate(cells)}
    keenness = np.array([point.keenness for point in points])
    if not np.isfinite(keenness).all():
        raise NumbersError("a reading is no number")
    above = np.array([point.limit is not None and (point.limit == "below") == lower for point in points], dtype=bool)
    below = np.array([point.limit is not None and (point.limit == "below") != lower for point in points], dtype=bool)
    works = np.array([point.work for point in points])
    scale = np.log1p(works / min((work for work in works if work > 0), default=1.0))
    span = np.ptp(scale)
    numbers = {key: i for i, key in enumerate(runs)}
    return _Readings(
        runs=list(runs.values()),
        run=np.array([numbers[(point.submission, point.run)] for point in points], dtype=int),
        cells=cells,
        cell=np.array([places[(point.steel, point.work)] for point in points], dtype=int),
        low=np.where(below, -np.inf, keenness),
        high=np.where(above, np.inf, keenness),
        place=2 * (scale - scale.min()) / span - 1 if span > 0 else np.zeros(len(scale)),
    )


def _fit(readings: _Readings, priors: Mapping[str, HalfT]) -> HierarchicalFit:
    """Posterior of the cells' means."""
    n = len(readings.runs)
    labels = {name: [getattr(run, name) for run in readings.runs] for name in ("steel", "blade", "sharpener", "tester", "submission")}
    terms, own, _, _ = terms_of(checked_runs(np.zeros(n), np.zeros(n), labels | {"batch": [None] * n}), priors)
    spreads = {name: (term.labels, term.prior) for name, term in terms.items()} | {RUN: (np.arange(n), own)}
    groups: dict[str, Ints | Texts | tuple[Ints | Texts, Array]] = {}
    of_spreads = {RESIDUAL: own.times(ABOUT)}
    for name, (levels, prior) in spreads.items():
        groups[name], of_spreads[name] = levels[readings.run], prior
        if np.ptp(readings.place) > 0:
            groups[f"{name}, trend"] = (levels[readings.run], readings.place)
            of_spreads[f"{name}, trend"] = prior.times(TREND)
    X = np.zeros((len(readings.cell), len(readings.cells)))
    X[np.arange(len(readings.cell)), readings.cell] = 1.0
    return hierarchical(readings.low, X, groups, of_spreads, high=readings.high, normal=True)
