"""Dulling curves of steels, or of levels: what an average sharpener and tester would read with an average blade.

They are read off a pool's joint model. A pool whose runs are of two levels or more has curves of these, any other of its steels.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.errors import NumbersError
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.runs_design import LEVEL, FixedPart, Runs, checked_runs
from edgehold.pooling.hierarchical import ContrastPosterior, Posterior
from edgehold.pooling.run_labels import all_labels
from edgehold.pooling.spread_priors import STEEL
from edgehold.records.canonical import PoolKey

from .joint import JointModel, Readings, joint_model
from .pairs import CurvePair, curve_pairs, name_of, names_of
from .references import References

LEAST_SUBMISSIONS = 2  # a curve from one submission is that submission's own
DRAWS = 4000  # for bands; limits then move by about a thirtieth of a standard deviation from one seed to another
SEED = 20261125  # any fixed number: the same readings give the same bands


@dataclass(frozen=True)
class MeanPoint:
    """Mean keenness of one steel, or level, at one checkpoint.

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
    """One mean curve in one pool.

    Attributes
    ----------
    pool, factor, name : of which steel or level of which pool; ``factor`` is ``"steel"`` or ``"level"``.
    points : by work; none where numbers failed.
    reason : why they did; empty otherwise.
    """

    pool: PoolKey
    factor: str
    name: str
    points: tuple[MeanPoint, ...]
    reason: str = ""


@dataclass(frozen=True, eq=False)
class PoolCurves:
    """Curves of a pool's steels or levels, and pairs of them against each other."""

    curves: tuple[MeanCurve, ...]
    pairs: tuple[CurvePair, ...]


@dataclass(frozen=True, eq=False)
class ReadPool:
    """Readings of one pool that a joint model can hold.

    Attributes
    ----------
    keys : submission and run of every run.
    runs : their labels.
    readings : as numbers.
    points : as they came, in the same order.
    """

    keys: tuple[tuple[str, str], ...]
    runs: Runs
    readings: Readings
    points: tuple[CurvePoint, ...]

    @property
    def factor(self) -> str:
        """What curves are of."""
        return factor_of(self.points)


def factor_of(points: Iterable[CurvePoint]) -> str:
    """What curves of a pool are of: its levels where two or more are met, else its steels."""
    return LEVEL if len({point.level for point in points} - {None}) > 1 else STEEL


def starting_keenness(points: Iterable[CurvePoint]) -> dict[PoolKey, float]:
    """Mean keenness before the first cut by pool, over the runs whose reading there was on the scale."""
    starts: dict[PoolKey, list[float]] = defaultdict(list)
    for point in points:
        if point.work == 0 and point.limit is None:
            starts[point.pool].append(point.keenness)
    return {pool: float(np.mean(values)) for pool, values in starts.items()}


def of_one_tester(points: Iterable[CurvePoint], rows: Iterable[EndpointRow]) -> tuple[CurvePoint, ...]:
    """Readings but for those of runs that two testers shared."""
    shared = {(row.pool, row.submission, row.run) for row in rows if row.split_tester}
    return tuple(point for point in points if (point.pool, point.submission, point.run) not in shared)


def read_pool(points: Sequence[CurvePoint], rows: Iterable[EndpointRow], checkpoints: Sequence[float], lower: bool) -> ReadPool:
    """Readings of one pool between its first and last checkpoint.

    Parameters
    ----------
    points, rows : of the pool.
    checkpoints : the protocol's.
    lower : whether lower readings are keener.

    Raises
    ------
    NumbersError
        If a reading is no finite number.
    """
    known = {(row.submission, row.run): row for row in rows}
    told = tuple(point for point in points if min(checkpoints) <= point.work <= max(checkpoints))
    first = {(p.submission, p.run): p for p in reversed(told)}
    keys = tuple(sorted(first))
    number = {key: i for i, key in enumerate(keys)}
    keenness = np.array([point.keenness for point in told], dtype=float)
    if not np.isfinite(keenness).all():
        raise NumbersError("a reading is no number")
    keener = np.array([p.limit is not None and (p.limit == "below") == lower for p in told], dtype=bool)
    duller = np.array([p.limit is not None and (p.limit == "below") != lower for p in told], dtype=bool)
    readings = Readings(
        run=np.array([number[(point.submission, point.run)] for point in told], dtype=int),
        work=np.array([point.work for point in told], dtype=float),
        low=np.where(duller, -np.inf, keenness),
        high=np.where(keener, np.inf, keenness),
    )
    labels = all_labels([known[key] for key in keys]) if known.keys() >= first.keys() else _labels_of_points([first[key] for key in keys])
    return ReadPool(keys, checked_runs(np.zeros(len(keys)), np.zeros(len(keys)), labels), readings, told)


def _labels_of_points(points: Sequence[CurvePoint]) -> dict[str, list[object]]:
    """What points alone tell of their runs."""
    plain = ("steel", "blade", "sharpener", "tester", "submission", "level")
    return {name: [getattr(point, name) for point in points] for name in plain} | {"batch": [None] * len(points)}


@dataclass(frozen=True, eq=False)
class CurvesAsked:
    """A pool's joint model, and which means of steels or levels at checkpoints its readings tell.

    Attributes
    ----------
    model : joint.
    cells : steel or level, and checkpoint, of every mean.
    cells_of : (cells, coefficients) what each mean is made of: its own, and of everything else the average over the runs.
    """

    model: JointModel
    cells: tuple[tuple[str, float], ...]
    cells_of: Array


def curves_asked(
    read: ReadPool, checkpoints: Sequence[float], priors: Mapping[str, HalfT], references: References | None = None
) -> CurvesAsked:
    """Ask a pool's readings for the curves of its steels, or levels.

    Parameters
    ----------
    read : the readings.
    checkpoints : the protocol's.
    priors : of the spreads of a level.
    references : edges and weights that were read beside the runs.
    """
    model = joint_model(read.runs, read.readings, checkpoints, priors, references=references)
    cells, rows = [], []
    factor = read.factor
    for name, work in sorted({(name_of(p, factor), p.work) for p in _told(read.points, checkpoints, factor)}):
        quantity = model.quantity((model.checkpoints == work).astype(float))
        c = model.parts.fixed.contrast(_average(model.parts.fixed, factor, name))
        if c is not None and model.estimable(c, quantity):
            cells.append((name, work))
            rows.append(model.coefficients(c, quantity))
    return CurvesAsked(model, tuple(cells), np.array(rows).reshape(len(cells), int(model.kept.sum())))


def _average(fixed: FixedPart, factor: str, name: str) -> dict[str, float]:
    """Weights of the columns in the mean of one steel or level, all else as in the average run."""
    return {
        column_name: float(column_name == f"{factor} {name}") if column_name.startswith(f"{factor} ") else float(column.mean())
        for column_name, column in zip(fixed.names, fixed.full.T, strict=True)
    }


def curves_of(points: Sequence[CurvePoint], checkpoints: Sequence[float], asked: CurvesAsked | None, fit: Posterior | str) -> PoolCurves:
    """Curves and pairs of curves of one pool.

    Parameters
    ----------
    points : of the pool.
    checkpoints : the protocol's.
    asked, fit : the joint model and its posterior; None and the reason where its numbers failed.
    """
    factor = factor_of(points)
    told, start = _told(points, checkpoints, factor), starting_keenness(points).get(points[0].pool, 0.0)
    names = names_of(told, factor)
    if asked is None or isinstance(fit, str):
        reason = fit if isinstance(fit, str) else ""
        curves = tuple(MeanCurve(points[0].pool, factor, name, (), reason) for name in names)
        return PoolCurves(curves, curve_pairs(points, (), np.zeros(0), reason, checkpoints, start, factor))

    def drawn() -> Array | str:
        return fit.draws(DRAWS, np.random.default_rng(SEED)) @ asked.cells_of.T

    curves = tuple(_curve(points[0].pool, (factor, name), told, asked, fit, start) for name in names)
    means = asked.cells_of @ (fit.weights @ fit.coefficients)
    drawn_means = attempt(drawn, lambda why: why)
    return PoolCurves(curves, curve_pairs(points, asked.cells, means, drawn_means, checkpoints, start, factor))


def _curve(pool: PoolKey, which: tuple[str, str], told: list[CurvePoint], asked: CurvesAsked, fit: Posterior, start: float) -> MeanCurve:
    """The curve of one steel or level; ``which`` is the factor and the name."""
    factor, name = which
    cells = [(i, [p for p in told if (name_of(p, factor), p.work) == cell]) for i, cell in enumerate(asked.cells) if cell[0] == name]

    def made() -> MeanCurve:
        points = (_mean_point(read[0].work, fit.contrast(asked.cells_of[i]), read, start) for i, read in cells)
        return MeanCurve(pool, factor, name, tuple(points))

    return attempt(made, lambda why: MeanCurve(pool, factor, name, (), why), lambda curve: (point.mean for point in curve.points))


def _mean_point(work: float, told: ContrastPosterior, read: list[CurvePoint], start: float) -> MeanPoint:
    interval = Interval(told.interval.low - start, told.interval.high - start, told.interval.level, "posterior")
    return MeanPoint(work, told.mean - start, interval, len({(p.submission, p.run) for p in read}), len({p.submission for p in read}))


def _told(points: Iterable[CurvePoint], checkpoints: Sequence[float], factor: str) -> list[CurvePoint]:
    """Readings at those checkpoints of a known steel or level at which several submissions have a reading on the scale."""
    read: dict[tuple[str, float], set[str]] = defaultdict(set)
    there = [point for point in points if name_of(point, factor) and point.work in checkpoints]
    for point in there:
        if point.limit is None:
            read[(name_of(point, factor), point.work)].add(point.submission)
    return [point for point in there if len(read[(name_of(point, factor), point.work)]) >= LEAST_SUBMISSIONS]
