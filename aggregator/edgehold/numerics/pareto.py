"""The tail of importance weights: its shape, and weights smoothed by it."""

from __future__ import annotations

import math

import numpy as np

from .arrays import Array

LEAST_TAIL = 5  # weights from which a shape can be fitted
ALIKE = 5.0  # times their mean: where no weight is larger they are nearly level, and the fit of a tail would be one of chance


def smoothed_weights(log_weights: Array) -> tuple[Array, float]:
    """Importance weights whose largest are replaced by expected order statistics of a generalised Pareto distribution.

    Parameters
    ----------
    log_weights : (S,) finite or −infinity.

    Returns
    -------
    (S,) weights that sum to 1, and the shape k̂: below 0.7 means based on them are reliable; infinity where no shape could be fitted,
    0 where the weights are nearly alike.

    Notes
    -----
    Vehtari, Simpson, Gelman, Yao & Gabry (2024), Journal of Machine Learning Research 25(72): tail of min(S/5, 3√S) weights.
    """
    weights = np.exp(log_weights - log_weights.max())
    tail = math.ceil(min(len(weights) / 5, 3 * math.sqrt(len(weights))))
    if tail < LEAST_TAIL:
        return weights / weights.sum(), math.inf
    order = np.argsort(weights, kind="stable")
    largest, cut = order[-tail:], weights[order[-tail - 1]]
    excess = weights[largest] - cut
    if not excess[-1] > 0 or weights.max() <= ALIKE * weights.mean():
        return weights / weights.sum(), 0.0
    shape, scale = pareto_fit(excess[excess > 0])
    if math.isfinite(shape):
        p = (np.arange(1, tail + 1) - 0.5) / tail
        expected = cut + (scale * np.expm1(-shape * np.log1p(-p)) / shape if shape else -scale * np.log1p(-p))
        weights[largest] = np.minimum(expected, weights.max())
    return weights / weights.sum(), shape


def pareto_fit(excess: Array) -> tuple[float, float]:
    """Shape k and scale of a generalised Pareto distribution, the shape drawn a little towards ½ as in the Pareto smoothing.

    Parameters
    ----------
    excess : (n,) positive, increasing.

    Notes
    -----
    Zhang & Stephens (2009), Technometrics 51:316–325: the average over a profile of the likelihood; the weak prior on k is that of
    Vehtari et al. (2024, appendix).
    """
    n = len(excess)
    if n < LEAST_TAIL:
        return math.inf, math.nan
    grid = 30 + int(math.sqrt(n))
    quarter = excess[max(int(n / 4 + 0.5) - 1, 0)]
    theta = 1 / excess[-1] + (1 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))) / (3 * quarter)
    k = np.log1p(-theta[:, None] * excess).mean(axis=1)
    profile = n * (np.log(-theta / k) - k - 1)
    weight = np.exp(profile - profile.max())
    best = float(theta @ (weight / weight.sum()))
    shape = float(np.log1p(-best * excess).mean())
    return (n * shape + 10 * 0.5) / (n + 10), -shape / best
