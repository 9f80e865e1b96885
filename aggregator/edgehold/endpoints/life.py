"""How much work an edge does before its keenness falls to a threshold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.numerics.isotonic import decreasing_fit
from edgehold.words import Reason

from .curve import SAME_WORK, Curve, Value, axis, missing
from .draws import Key, normal_draws

DRAWS = 400
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
    use = _telling(curve, threshold, fit_points(curve, from_work))
    if not len(use):
        return Life(missing(Reason("endpoints.none_tells")))
    work = curve.work[use]
    k = bounds(curve)[use]
    weights = curve.repeats[use].astype(float)
    crossing, upper = _crossings(k[None], weights, work, curve.first, np.array([threshold]))
    at, j = float(crossing[0]), int(upper[0])
    if j == len(work):
        return Life(_right(work[-1]))
    if j == 0 or at <= curve.first * (1 + SAME_WORK):
        return Life(_left(max(at, curve.first)), _below_at_start(curve, threshold))
    if _censored_at(decreasing_fit(k, weights), curve.low[use] != curve.high[use], j):
        return Life(_interval(work[j - 1], work[j], curve.first))
    shift = _draws(curve, key)
    thresholds = threshold + (shift[:, 0] if relative else np.zeros(DRAWS))
    drawn, _ = _crossings(k + shift[:, use], weights, work, curve.first, thresholds)
    return Life(_exact_or_interval(drawn, at, work[j - 1], work[j], curve.first))


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


def _crossings(k: Array, weights: Array, work: Array, first: float, thresholds: Array) -> tuple[Array, Ints]:
    """Work at which each series (m, n) first reaches its threshold (m,), and the index of the bracket's upper end.

    Infinity and n where it never does; the first work and 0 where it is there from the start.
    """
    fit = decreasing_fit(k, weights)
    reached = fit <= thresholds[:, None] + TOUCHING
    upper = np.where(reached.any(axis=1), reached.argmax(axis=1), len(work))
    crossing = np.where(upper == 0, work[0], np.inf)
    inside = np.flatnonzero((upper > 0) & (upper < len(work)))
    j = upper[inside]
    above, below, u = fit[inside, j - 1], fit[inside, j], axis(work, first)
    share = np.minimum((above - thresholds[inside]) / (above - below), 1.0)
    crossing[inside] = np.exp(u[j - 1] + share * (u[j] - u[j - 1])) - first
    return crossing, upper


def _draws(curve: Curve, key: Key) -> Array:
    """Gaussian reading errors of the whole run, (DRAWS, n)."""
    se: Array = np.nan_to_num(curve.se)
    return se * normal_draws(key, DRAWS, len(curve.work))


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
