"""Monotone least-squares fits, many series at once."""

from __future__ import annotations

import numpy as np

from .arrays import Array


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
