"""Probability, mean and variance of independent normal values between limits."""

from __future__ import annotations

import numpy as np
from scipy.special import erfcx, log_ndtr

from .arrays import Array

NODES, SHARES = np.polynomial.legendre.leggauss(24)  # as good as more: 1e-14 of a spread across NARROW, or a density that falls by STEEP
NARROW = 4.0  # standard deviations up to which a finite interval is integrated by nodes, where differences of tails lose digits
STEEP = 36.0  # e-foldings of the density across an interval beyond which nothing is left of it
LEAST = 1e-14  # of a variance, which rounding must not make negative


def between(mean: Array, variance: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """Moments of N(mean, variance) known to lie between two limits.

    Parameters
    ----------
    mean, variance, low, high : of one shape; limits may be infinite, low < high.

    Returns
    -------
    ln of the probability of the interval, and mean and variance given it.
    """
    sd = np.sqrt(variance)
    a, b = (low - mean) / sd, (high - mean) / sd
    flip = a + b < 0  # so that the limit nearer to the mean, or beyond it, is the lower one
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    with np.errstate(invalid="ignore"):
        b = np.where(a > 0, np.minimum(b, a + STEEP / np.maximum(a, 1e-300)), b)
    narrow = b - a <= NARROW
    log_p, centre, spread = np.empty_like(a), np.empty_like(a), np.empty_like(a)
    for chosen, method in ((narrow, _by_nodes), (~narrow, _by_tails)):
        if chosen.any():
            log_p[chosen], centre[chosen], spread[chosen] = method(a[chosen], b[chosen])
    return log_p, mean + sd * np.where(flip, -centre, centre), variance * np.maximum(spread, LEAST)


def _by_nodes(a: Array, b: Array) -> tuple[Array, Array, Array]:
    """Gauss–Legendre over [a, b], about the middle so that small intervals keep their digits."""
    half, middle = (b - a) / 2, (a + b) / 2
    step = half[:, None] * NODES
    log_density = -middle[:, None] * step - 0.5 * step**2
    top = log_density.max(axis=1, keepdims=True)
    density = SHARES * np.exp(log_density - top)
    total = density.sum(axis=1)
    shift = (density * step).sum(axis=1) / total
    spread = (density * (step - shift[:, None]) ** 2).sum(axis=1) / total
    log_p = top[:, 0] + np.log(total * half) - 0.5 * middle**2 - 0.5 * np.log(2 * np.pi)
    return log_p, middle + shift, spread


def _by_tails(a: Array, b: Array) -> tuple[Array, Array, Array]:
    """Differences of tails, scaled so that none underflows (b − a is large: the upper tail is the smaller one)."""
    finite_a, finite_b = np.where(np.isfinite(a), a, 0.0), np.where(np.isfinite(b), b, 0.0)
    low_tail, high_tail = np.where(np.isfinite(a), log_ndtr(-a), 0.0), np.where(np.isfinite(b), log_ndtr(-b), -np.inf)
    log_p = low_tail + np.log1p(-np.exp(high_tail - low_tail))
    left = np.where(np.isfinite(a), np.exp(-0.5 * finite_a**2 - log_p) / np.sqrt(2 * np.pi), 0.0)
    one_sided = np.isinf(b) & np.isfinite(a)
    left = np.where(one_sided, np.sqrt(2 / np.pi) / erfcx(finite_a / np.sqrt(2)), left)
    right = np.where(np.isfinite(b), np.exp(-0.5 * finite_b**2 - log_p) / np.sqrt(2 * np.pi), 0.0)
    centre = left - right
    spread = 1 + finite_a * left - finite_b * right - centre**2
    return log_p, centre, spread
