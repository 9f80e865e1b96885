"""The distribution of a positive combination of chi-squares, Σ λᵢ χ²(mᵢ), as Cochran's Q has it under heterogeneity."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from .arrays import Array, Bools

Number = TypeVar("Number", bound=np.inexact[Any])

# Trapezoid nodes on the upper half of the contour, in units of the saddle's width. A quarter of the step over
# three times the contour changes no probability by more than 1e-7 (tests/numerics/test_quadratic_form.py).
STEP = 0.25
NODES = 50
SMALLEST = 1e-100  # of q: its squares must stay numbers, and the probability below it is nothing
SADDLE_STEPS = 40  # the contour may pass near the saddle, it need not pass through it: bisection, the same for all


def mixture_cdf(q: float, weights: Array, dfs: Array | float = 1.0) -> Array:
    """P(Σ λᵢ χ²(mᵢ) ≤ q), by numerical integration to about 1e-7.

    The inversion integral (1/2πi) ∫ exp(sq) M(−s)/s ds, M(−s) = Π(1 + 2sλᵢ)^(−mᵢ/2), gives the probability when it
    passes to the right of the pole at 0 and the probability minus one when it passes to the left. It is taken on the
    right below the mean and on the left above it, along the parabola s = ŝ + it + βt² through the saddle ŝ of the
    integrand that follows M's own path of steepest descent to third order; the parabola opens around the branch points,
    which all lie on the negative axis, and the trapezoid rule converges geometrically (Rice 1980, Distribution of
    quadratic forms in normal random variables: evaluation by numerical integration, SIAM J. Sci. Stat. Comput.
    1:438–448).

    Parameters
    ----------
    q : non-negative point.
    weights : (..., n) positive λ; one probability is returned for each leading index.
    dfs : (n,) degrees of freedom m, positive, not necessarily whole.

    Returns
    -------
    (...) probabilities in [0, 1]. Reduces to the chi-square distribution with Σm degrees of freedom when all λ are 1.

    Examples
    --------
    Imhof (1961, Biometrika 48:419–426, table 1) prints 0.9458, 0.5064 and 0.1240 for the probabilities that 0.6χ² + 0.3χ² + 0.1χ², of one
    degree of freedom each, exceeds 0.1, 0.7 and 2.

    >>> from edgehold.numerics.quadratic_form import mixture_cdf
    >>> [round(1 - float(mixture_cdf(q, [0.6, 0.3, 0.1])), 3) for q in (0.1, 0.7, 2.0)]
    [0.946, 0.506, 0.124]
    """
    weights = np.asarray(weights, dtype=float)
    dfs = np.broadcast_to(dfs, weights.shape[-1:])
    if q <= SMALLEST:
        return np.zeros(weights.shape[:-1])
    above_mean = q > _total(weights, dfs)
    saddle = _saddle(q, weights, dfs, above_mean)
    ratios = weights / (1 + 2 * saddle[..., None] * weights)
    second, third = 2 * _total(ratios**2, dfs), -8 * _total(ratios**3, dfs)
    width, bend = 1 / np.sqrt(second + 1 / saddle**2), third / (6 * second)
    t = STEP * np.arange(NODES) * width[..., None]
    s = saddle[..., None] + 1j * t + bend[..., None] * t**2
    exponent = s * q - 0.5 * _total(np.log(1 + 2 * s[..., None] * weights[..., None, :]), dfs)
    terms = (np.exp(exponent) / s * (1 - 2j * bend[..., None] * t)).real
    terms[..., 0] /= 2
    probabilities: Array = np.clip(above_mean + STEP * width / np.pi * terms.sum(-1), 0.0, 1.0)
    return probabilities


def _total(terms: npt.NDArray[Number], dfs: Array) -> npt.NDArray[Number]:
    """Σ mᵢ·termᵢ over the last axis; not by BLAS, whose threads cost more than they bring here."""
    total: npt.NDArray[Number] = np.einsum("...i,i->...", terms, dfs)
    return total


def _saddle(q: float, weights: Array, dfs: Array, left: Bools) -> Array:
    """The root of the increasing q − 1/s − Σ mλ/(1 + 2sλ).

    On the right of the pole it lies in [1/q, (Σm/2 + 1)/q] and is sought in ln s; on the left between the pole and the
    nearest branch point, s = −1/(2 max λ), and is sought in the log-odds of its place between the two.
    """
    branch = -0.5 / weights.max(-1)
    low = np.where(left, -30.0, -np.log(q))
    high = np.where(left, 30.0, np.log((dfs.sum() / 2 + 1) / q))

    def place(x: Array) -> Array:
        return np.where(left, branch / (1 + np.exp(np.minimum(x, 30.0))), np.exp(x))

    for _ in range(SADDLE_STEPS):
        middle = (low + high) / 2
        s = place(middle)
        negative = q - 1 / s - _total(weights / (1 + 2 * s[..., None] * weights), dfs) < 0
        low, high = np.where(negative, middle, low), np.where(negative, high, middle)
    return place((low + high) / 2)
