"""Mean dulling curves of steels, as a picture: not adjusted for who sharpened or who tested.

Comparisons are made in ``comparisons``; a curve shows the course between early and late and how few runs reach far.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from aggregator.endpoints.rows import CurvePoint
from aggregator.numerics.attempt import attempt
from aggregator.numerics.interval import Interval
from aggregator.records.canonical import PoolKey

LEAST_SUBMISSIONS = 3  # a mean over fewer has no interval worth drawing


@dataclass(frozen=True)
class MeanPoint:
    """Mean keenness of one steel at one checkpoint.

    Attributes
    ----------
    work : in the protocol's work unit.
    mean : mean over submissions of their mean keenness, minus the pool's mean at 0 (ln scale).
    interval : 95 % t interval over submissions, or None below three.
    runs : runs that reach it.
    submissions : submissions that reach it.
    """

    work: float
    mean: float
    interval: Interval | None
    runs: int
    submissions: int


@dataclass(frozen=True)
class MeanCurve:
    """One steel's mean curve in one pool; without points where its numbers failed, and the reason."""

    pool: PoolKey
    steel: str
    points: tuple[MeanPoint, ...]
    reason: str = ""


def mean_curves(points: Iterable[CurvePoint], checkpoints: dict[PoolKey, tuple[float, ...]]) -> tuple[MeanCurve, ...]:
    """Mean curves by pool and steel.

    Parameters
    ----------
    points : readings of runs; those at no checkpoint of the protocol, censored, or of an unknown steel are not averaged.
    checkpoints : the protocol's checkpoints by pool.
    """
    cells: dict[tuple[PoolKey, str], dict[float, dict[str, list[float]]]] = defaultdict(lambda: defaultdict(lambda: defaultdict(list)))
    points = tuple(points)
    starts = starting_keenness(points)
    for point in points:
        if point.limit is not None or point.work not in checkpoints[point.pool]:
            continue
        if point.steel is not None:
            cells[(point.pool, point.steel)][point.work][point.submission].append(point.keenness)
    return tuple(_mean_curve(pool, steel, by_work, starts.get(pool, 0.0)) for (pool, steel), by_work in sorted(cells.items()))


def _mean_curve(pool: PoolKey, steel: str, by_work: dict[float, dict[str, list[float]]], start: float) -> MeanCurve:
    return attempt(
        lambda: MeanCurve(pool, steel, tuple(_mean_point(w, by_work[w], start) for w in sorted(by_work))),
        lambda why: MeanCurve(pool, steel, (), why),
        lambda found: (point.mean for point in found.points),
    )


def starting_keenness(points: Iterable[CurvePoint]) -> dict[PoolKey, float]:
    """Mean keenness before the first cut by pool, over the runs whose reading there was on the scale."""
    starts: dict[PoolKey, list[float]] = defaultdict(list)
    for point in points:
        if point.work == 0 and point.limit is None:
            starts[point.pool].append(point.keenness)
    return {pool: float(np.mean(values)) for pool, values in starts.items()}


def _mean_point(work: float, by_submission: dict[str, list[float]], reference: float) -> MeanPoint:
    means = np.array([np.mean(values) for values in by_submission.values()]) - reference
    n = len(means)
    interval = None
    if n >= LEAST_SUBMISSIONS:
        half = float(student_t.ppf(0.975, n - 1) * means.std(ddof=1) / np.sqrt(n))
        interval = Interval(float(means.mean()) - half, float(means.mean()) + half, 0.95, "t over submissions")
    return MeanPoint(work, float(means.mean()), interval, sum(map(len, by_submission.values())), n)
