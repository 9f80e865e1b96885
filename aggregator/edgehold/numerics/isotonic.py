"""Monotone least-squares fits, many series at once."""

from __future__ import annotations

import numpy as np

from .arrays import Array, Ints


def decreasing_fit(y: Array, weights: Array) -> Array:
    """Weighted least-squares fit among non-increasing series.

    The max-min formula ĝᵢ = min over a ≤ i of max over b ≥ i of the weighted mean of y[a..b], which is what the
    pool-adjacent-violators algorithm arrives at (Robertson, Wright & Dykstra 1988, Order Restricted Statistical
    Inference, section 1.4). It needs n passes over all series and no loop over the series.

    Parameters
    ----------
    y : (..., n) finite values in the order of the series; every leading index is a series of its own.
    weights : (n,) positive weights.

    Returns
    -------
    (..., n) fitted values; equal to ``y`` where ``y`` already never rises.

    Examples
    --------
    What rises is levelled to its mean, the heavier value counting for more.

    >>> from edgehold.numerics.isotonic import decreasing_fit
    >>> decreasing_fit([5, 3, 4, 1], [1, 1, 3, 1]).round(3).tolist()
    [5.0, 3.75, 3.75, 1.0]
    """
    y, weights = np.asarray(y, dtype=float), np.asarray(weights, dtype=float)
    weight = weights[:, None]
    weighted = weight * np.ascontiguousarray(y.reshape(-1, len(weights)).T)  # a row a place: steps run along all series at once
    fit = np.full(weighted.shape, np.inf)
    for a in range(len(weights)):
        means = np.add.accumulate(weighted[a:], axis=0) / np.add.accumulate(weight[a:], axis=0)
        highest = np.maximum.accumulate(means[::-1], axis=0)[::-1]
        np.minimum(fit[a:], highest, out=fit[a:])
    return np.ascontiguousarray(fit.T).reshape(y.shape)


def falls_to(y: Array, weights: Array, level: Array) -> tuple[Ints, Array, Array]:
    """Where the fits of many series first come down to a level, without the rest of them.

    The places at which a fit lies above a level are those that maximise the weighted sum of y less the level (Robertson, Wright & Dykstra
    1988, section 1.4, as for the fit). The one before the fall is the end of a block, the one at it the start of another, so that each has
    one end of its mean fixed.

    Parameters
    ----------
    y : (m, n) finite values.
    weights : (n,) positive weights.
    level : (m,) each series' own.

    Returns
    -------
    (m,) place at which the fit is at the level or below it, n where nowhere; (m,) the fit before that place, and at it, both nan where the
    fall is not between two places.
    """
    weight = weights[:, None]
    across = np.ascontiguousarray(y.T)
    weighted = weight * across
    gained = np.add.accumulate(weight * (across - level), axis=0)
    place: Ints = np.where(gained.max(axis=0) > 0, gained.argmax(axis=0) + 1, 0)
    before, after = np.full((2, len(level)), np.nan)
    for at in range(1, len(weights)):
        here = np.flatnonzero(place == at)
        if len(here):
            part = weighted[:, here]
            before[here] = np.min([_mean(part[start:at], weight[start:at]) for start in range(at)], axis=0)
            after[here] = (np.add.accumulate(part[at:], axis=0) / np.add.accumulate(weight[at:], axis=0)).max(axis=0)
    return place, before, after


def _mean(weighted: Array, weight: Array) -> Array:
    """The means of some rows, added up one after the other as `decreasing_fit` does."""
    mean: Array = np.add.accumulate(weighted, axis=0)[-1] / np.add.accumulate(weight, axis=0)[-1]
    return mean
