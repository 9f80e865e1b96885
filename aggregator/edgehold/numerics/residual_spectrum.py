"""Restricted likelihood of y ~ N(Xb, V + tau2·H) for one variance tau2 and dense V and H: for a few hundred rows.

K spans what X cannot explain (KᵀX = 0, KᵀK = I). One generalised eigenproblem, KᵀVK u = μ KᵀHK u, turns Kᵀy into independent
parts z ~ N(0, μ + tau2); after it the criterion, its slope and Q cost one pass over the parts for any tau2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh, solve_triangular

from edgehold.numerics.distributions import chi2_ppf

from .arrays import Array
from .interval import Interval
from .root_search import Maximum, global_maximum, root_between

POINTS_PER_DECADE = 4  # the slope is a rational function with its poles at −μ: nothing it does is narrower
ROUNDING = 8 * np.finfo(float).eps  # of an eigenvalue, relative to the largest and to the number of rows


@dataclass(frozen=True, eq=False)
class Spectrum:
    """The independent parts of the residuals.

    Attributes
    ----------
    z : (n − p,) parts.
    mu : (n − p,) their variances at tau2 = 0, in units of H; positive.
    transform : (n − p, n) z = transform·y. A further column x of the design becomes transform·x, so that whatever X is
        extended by is a weighted regression of z with the known variances mu.
    constant : (n − p) ln 2π + ln|KᵀHK| + ln|XᵀX|, what the criterion has beside the parts.
    """

    z: Array
    mu: Array
    transform: Array
    constant: float


@dataclass(frozen=True, eq=False)
class GeneralisedFit:
    """Generalised least squares at one tau2.

    Attributes
    ----------
    coefficients : (p,).
    covariance : (p, p) (XᵀΣ⁻¹X)⁻¹.
    q : rᵀΣ⁻¹r.
    """

    coefficients: Array
    covariance: Array
    q: float


def residual_spectrum(y: Array, V: Array, H: Array, X: Array) -> Spectrum:
    """Split the residuals into independent parts.

    Parameters
    ----------
    y : (n,) responses.
    V, H : (n, n) positive definite.
    X : (n, p) of full column rank, p < n.
    """
    n, p = X.shape
    basis, triangle = np.linalg.qr(X, mode="complete")
    K = basis[:, p:]
    inner = K.T @ H @ K
    mu, vectors = eigh(K.T @ V @ K, inner)
    centred = y - X @ np.linalg.lstsq(X, y, rcond=None)[0]
    constant = (n - p) * np.log(2 * np.pi) + np.linalg.slogdet(inner)[1] + 2 * np.log(np.abs(np.diag(triangle))).sum()
    transform = vectors.T @ K.T
    return Spectrum(transform @ centred, np.maximum(mu, ROUNDING * n * mu[-1]), transform, float(constant))


def restricted_log_likelihood(spectrum: Spectrum, tau2: float) -> float:
    """−½((n − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r), Σ = V + tau2·H, through ln|KᵀΣK| + ln|XᵀX| = ln|Σ| + ln|XᵀΣ⁻¹X|
    (Harville 1974)."""
    variance = spectrum.mu + tau2
    return float(-0.5 * (spectrum.constant + np.sum(np.log(variance) + spectrum.z**2 / variance)))


def restricted_score(spectrum: Spectrum, tau2: float) -> float:
    """Its derivative in tau2."""
    variance = spectrum.mu + tau2
    return float(0.5 * np.sum((spectrum.z**2 / variance - 1) / variance))


def residual_q(spectrum: Spectrum, tau2: float) -> float:
    """Q(tau2) = rᵀΣ⁻¹r."""
    return float(np.sum(spectrum.z**2 / (spectrum.mu + tau2)))


def maximise(spectrum: Spectrum) -> Maximum:
    """The global maximum of the restricted likelihood over tau2 ≥ 0; beyond max(z² − μ) every part wants less."""
    low = spectrum.mu.min() / 10
    high = max(2 * float(np.max(spectrum.z**2)), 10 * low)
    points = int(np.ceil(POINTS_PER_DECADE * np.log10(high / low))) + 1
    grid = np.concatenate(([0.0], np.geomspace(low, high, points)))
    return global_maximum(lambda t: restricted_log_likelihood(spectrum, t), lambda t: restricted_score(spectrum, t), grid)


def profile_interval(spectrum: Spectrum, tau2: float, level: float) -> Interval:
    """Where the restricted log-likelihood lies within half the chi-square quantile of its maximum, at ``tau2``.

    The lower limit is 0 where the criterion at 0 is that high. The upper limit exists: the criterion falls without end.
    """
    target = restricted_log_likelihood(spectrum, tau2) - float(chi2_ppf(level, 1)) / 2

    def above(t: float) -> float:
        return restricted_log_likelihood(spectrum, t) - target

    high = 2 * tau2 + float(spectrum.mu.max())
    while above(high) > 0:
        high *= 4
    low = 0.0 if above(0.0) >= 0 else root_between(above, 0.0, tau2)
    return Interval(low, root_between(above, tau2, high), level, "profile")


def generalised_fit(y: Array, sigma: Array, X: Array) -> GeneralisedFit:
    """Coefficients by a Cholesky factor of Σ and a QR factor of the whitened design; the ordinary fit goes first, so that
    a large offset costs no digits."""
    start = np.linalg.lstsq(X, y, rcond=None)[0]
    factor = np.linalg.cholesky(sigma)
    basis, triangle = np.linalg.qr(solve_triangular(factor, X, lower=True))
    whitened = solve_triangular(factor, y - X @ start, lower=True)
    projected = basis.T @ whitened
    inverse = solve_triangular(triangle, np.eye(X.shape[1]))
    residuals = whitened - basis @ projected
    return GeneralisedFit(start + inverse @ projected, inverse @ inverse.T, float(residuals @ residuals))
