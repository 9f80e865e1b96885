"""How much work an edge does before its keenness falls to a threshold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.numerics.isotonic import decreasing_fit, falls_to
from edgehold.words import Reason

from .curve import SAME_WORK, Curve, Value, axis, missing
from .draws import Key, normal_draws_of

DRAWS = 400
AT_ONCE = 16  # runs that are drawn together: as many as the processor has room for beside it
SHARE_OUTSIDE = 0.05  # of the draws outside the bracket, from which on a life is an interval
TAIL = 0.025  # of the draws on each side of that interval
TOUCHING = 1e-9  # of keenness: a reading this close to the threshold has reached it, whatever its logarithm was rounded to


@dataclass(frozen=True)
class Life:
    """ln of the work at which keenness falls to the threshold.

    Attributes
    ----------
    value : limits on ln work and the standard error from reading (nan unless exact).
    failed_preparation : the edge was at or past the threshold before the first cut.
    """

    value: Value
    failed_preparation: bool = False


@dataclass(frozen=True, eq=False)
class Undrawn:
    """A life between two readings on the scale, of which draws have yet to tell whether it is exact.

    Attributes
    ----------
    curve, threshold, key, relative : as for ``life``.
    use : (n,) indices of the readings that the fit uses.
    keenness, weights : (n,) their keenness and numbers of repeats.
    at : work at which the fit reaches the threshold.
    upper : place among them of the upper end of its bracket.
    """

    curve: Curve
    threshold: float
    key: Key
    relative: bool
    use: Ints
    keenness: Array
    weights: Array
    at: float
    upper: int

    @property
    def alike(self) -> tuple[bytes, bytes, bytes, float]:
        """Same for lives that can be drawn at once: works, readings used, weights and w₁."""
        return self.curve.work.tobytes(), self.use.tobytes(), self.weights.tobytes(), self.curve.first


def fit_points(curve: Curve, from_work: float) -> Ints:
    """Indices of the readings that the monotone fit uses: from ``from_work`` on."""
    return np.flatnonzero(curve.work >= from_work - SAME_WORK * curve.first)


def bounds(curve: Curve) -> Array:
    """Keenness, or its finite bound where censored; nan where nothing is known."""
    bound = np.where(np.isfinite(curve.low), curve.low, curve.high)
    return np.where(np.isfinite(bound), bound, np.nan)


def life(curve: Curve, threshold: float, from_work: float, key: Key, relative: bool = False) -> Life:
    """Life to a keenness, with what censors it.

    A non-increasing curve is fitted by pool-adjacent-violators, weights the numbers of repeats; life is the work at
    which it first reaches the threshold (the left end of a plateau), straight on ln(w + w₁) between checkpoints. It is

    - left-censored at ln w₁ where that is at or before w₁, or at the first reading where that comes later;
    - right-censored at the last reading where it is never reached;
    - an interval where a reading at either end of its bracket was off the scale (the bracket), or where 5 % or more of
      400 Gaussian draws of the readings cross outside the bracket (the middle 95 % of the draws, open where they run
      past the last reading or before w₁);
    - exact otherwise.

    A reading off the scale that cannot tell on which side of the threshold the edge was is left out.

    Parameters
    ----------
    curve : the run.
    threshold : keenness that ends the life.
    from_work : where the fit begins.
    key : of the draws, from the names of the run.
    relative : the threshold was taken from the first reading, so that it moves with each draw of that reading.
    """
    return settled([undrawn_life(curve, threshold, from_work, key, relative)])[0]


def undrawn_life(curve: Curve, threshold: float, from_work: float, key: Key, relative: bool = False) -> Life | Undrawn:
    """The life as far as it is told without draws; parameters as for ``life``."""
    use = _telling(curve, threshold, fit_points(curve, from_work))
    if not len(use):
        return Life(missing(Reason("endpoints.none_tells")))
    work = curve.work[use]
    k = bounds(curve)[use]
    weights = curve.repeats[use].astype(float)
    fit = decreasing_fit(k, weights)
    reached = np.flatnonzero(fit <= threshold + TOUCHING)
    if not len(reached):
        return Life(_right(work[-1]))
    j = int(reached[0])
    u = axis(work, curve.first)
    at = float(work[0] if j == 0 else _between(fit[j - 1], fit[j], threshold, u[j - 1], u[j], curve.first))
    if j == 0 or at <= curve.first * (1 + SAME_WORK):
        return Life(_left(max(at, curve.first)), _below_at_start(curve, threshold))
    if _censored_at(fit, curve.low[use] != curve.high[use], j):
        return Life(_interval(work[j - 1], work[j], curve.first))
    return Undrawn(curve, threshold, key, relative, use, k, weights, at, j)


def settled(lives: Sequence[Life | Undrawn]) -> list[Life]:
    """Lives in their order, with the draws of those that want them: of runs that were read alike together, which takes half the time."""
    groups: dict[tuple[bytes, bytes, bytes, float], list[Undrawn]] = defaultdict(list)
    for one in lives:
        if isinstance(one, Undrawn):
            groups[one.alike].append(one)
    drawn: dict[int, Life] = {}
    for group in groups.values():
        for start in range(0, len(group), AT_ONCE):
            part = group[start : start + AT_ONCE]
            drawn.update(zip(map(id, part), _drawn(part), strict=True))
    return [drawn[id(one)] if isinstance(one, Undrawn) else one for one in lives]


def _drawn(lives: Sequence[Undrawn]) -> list[Life]:
    """Lives that are alike, from DRAWS draws of each run's readings."""
    first, work, weights = lives[0].curve.first, lives[0].curve.work[lives[0].use], lives[0].weights
    se: Array = np.nan_to_num([one.curve.se for one in lives])
    shift = se[:, None] * normal_draws_of([one.key for one in lives], DRAWS, se.shape[1])
    moves = np.array([one.relative for one in lives])[:, None]
    thresholds = np.array([one.threshold for one in lives])[:, None] + np.where(moves, shift[:, :, 0], 0.0)
    keenness = np.array([one.keenness for one in lives])[:, None] + shift[:, :, lives[0].use]
    crossings = _crossings(keenness.reshape(-1, len(work)), weights, work, first, thresholds.ravel()).reshape(thresholds.shape)
    return [
        Life(_exact_or_interval(drawn, one.at, work[one.upper - 1], work[one.upper], first))
        for one, drawn in zip(lives, crossings, strict=True)
    ]


def _telling(curve: Curve, threshold: float, use: Ints) -> Ints:
    """Readings that lie wholly on one side of the threshold."""
    low, high = curve.low[use], curve.high[use]
    telling: Ints = use[(low == high) | (low > threshold + TOUCHING) | (high <= threshold + TOUCHING)]
    return telling


def _below_at_start(curve: Curve, threshold: float) -> bool:
    """Whether the reading before the first cut was at or past the threshold."""
    return bool(curve.work[0] <= SAME_WORK * curve.first and curve.high[0] <= threshold + TOUCHING)


def _censored_at(fit: Array, censored: Bools, j: int) -> bool:
    """Whether a reading off the scale is pooled into either end of the bracket (j − 1, j)."""
    return bool(censored[(fit == fit[j - 1]) | (fit == fit[j])].any())


def _crossings(k: Array, weights: Array, work: Array, first: float, thresholds: Array) -> Array:
    """Work at which each series (m, n) first reaches its threshold (m,); infinity where it never does, the first where it is there from
    the start."""
    place, before, after = falls_to(k, weights, thresholds + TOUCHING)
    crossing = np.where(place == 0, work[0], np.inf)
    inside = np.flatnonzero((place > 0) & (place < len(work)))
    j, u = place[inside], axis(work, first)
    crossing[inside] = _between(before[inside], after[inside], thresholds[inside], u[j - 1], u[j], first)
    return crossing


def _between(above: Array, below: Array, threshold: Array | float, start: Array, end: Array, first: float) -> Array:
    """Work at which keenness falls to the threshold, from ``above`` at ``start`` to ``below`` at ``end`` of the work axis."""
    share = np.minimum((above - threshold) / (above - below), 1.0)
    work: Array = np.exp(start + share * (end - start)) - first
    return work


def _exact_or_interval(drawn: Array, at: float, low: float, high: float, first: float) -> Value:
    """Exact if the reading error keeps the crossing in its bracket, else the interval in which the draws fall."""
    outside = (drawn < low * (1 - SAME_WORK)) | (drawn > high * (1 + SAME_WORK))
    if outside.mean() >= SHARE_OUTSIDE:
        ordered = np.sort(drawn)
        tail = int(TAIL * DRAWS)
        return _interval(min(ordered[tail], at), max(ordered[-1 - tail], at), first)
    logs = np.log(np.maximum(drawn[np.isfinite(drawn)], first))
    spread = float(logs.std(ddof=1)) if np.ptp(logs) > 0 else 0.0  # 400 equal numbers have no spread, whatever their mean is rounded to
    return Value(float(np.log(at)), float(np.log(at)), spread)


def _left(limit: float) -> Value:
    return Value(-np.inf, float(np.log(limit)), float("nan"), Reason("endpoints.reached_early"))


def _right(last: float) -> Value:
    if last <= 0:
        return missing(Reason("endpoints.none_after_first_cut"))
    return Value(float(np.log(last)), np.inf, float("nan"), Reason("endpoints.not_reached"))


def _interval(low: float, high: float, first: float) -> Value:
    """Life between two amounts of work; open below where it may have ended before w₁."""
    opened = low < first * (1 - SAME_WORK)
    if opened and not np.isfinite(high):
        return missing(Reason("endpoints.wholly_open"))
    lowest = -np.inf if opened else float(np.log(low))
    if not np.isfinite(high):
        return Value(lowest, np.inf, float("nan"), Reason("endpoints.maybe_not_reached"))
    return Value(lowest, float(np.log(max(high, first))), float("nan"), Reason("endpoints.between"))


def pass_fail_life(work: Array, passed: Bools, failed: Bools, first: float) -> Life:
    """Life where readings only pass or fail.

    From the last checkpoint before any fail to the first of the fails that end the run, after which nothing passes.

    Parameters
    ----------
    work : (n,) increasing amounts of work.
    passed : (n,) every repeat passed.
    failed : (n,) every repeat failed.
    first : w₁.
    """
    if not len(work):
        return Life(missing(Reason("endpoints.no_readings")))
    any_fail = np.flatnonzero(~passed)
    before = int(any_fail[0]) - 1 if len(any_fail) else len(work) - 1
    not_failed = np.flatnonzero(~failed)
    lasting = int(not_failed[-1]) + 1 if len(not_failed) else 0
    low = float(work[before]) if before >= 0 else 0.0
    if lasting == len(work):
        return Life(_right(low))
    if work[lasting] <= first * (1 + SAME_WORK):
        return Life(_left(first), bool(lasting == 0 and work[0] <= SAME_WORK * first))
    return Life(_interval(low, float(work[lasting]), first))
