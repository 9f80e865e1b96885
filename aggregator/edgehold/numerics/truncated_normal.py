"""Normal responses of which only one side is known: their probability, mean and covariance, by integrating over what they share.

Given the shared part η = m + Lz, z standard normal, the responses are independent and truncated at their limits, with closed
moments. What remains is an integral over z, of as many dimensions as L has columns.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
from scipy.special import erfcx, log_ndtr, ndtri

from .arrays import Array

HERMITE = {0: 1, 1: 41, 2: 25, 3: 15}  # nodes a dimension of the product rule, by dimensions
POINTS = 4096  # of the quasi-random rule in more dimensions; each is used with its mirror image
WIDER = 0.5  # share of the limits' part of the curvature that scales them: tails must not be missed; of 1 to 0.35 about the best in trials
HIGH = 5.0  # standard deviations: beyond it ln Φ comes from its own function, being a small difference of large numbers else
LAST_STEP = 1e-6  # of Newton's method for the mode; what is left after it is of the order of its square
DEEP = -100.0  # standard deviations: beyond it a difference of large numbers is replaced by its expansion


def truncated(m: Array, L: Array, limit: Array, sign: Array, sd: float, seed: int) -> tuple[float, Array, Array]:
    """Moments of y = m + Lz + e known only to lie beyond limits, e independent normal.

    Parameters
    ----------
    m, L : (c,) means and (c, r) root of the shared covariance.
    limit, sign : (c,) limits; +1 where y is above its limit, −1 where below.
    sd : standard deviation of e, positive.
    seed : of the quasi-random points, used from four dimensions on.

    Returns
    -------
    ln P(every y beyond its limit), E(y) and Var(y) given that.

    Notes
    -----
    Gauss–Hermite nodes centred and scaled at the mode (Liu & Pierce 1994, Biometrika 81:624–629) up to three dimensions, and beyond
    by quasi-random points (Sobol' 1967, USSR Comput. Math. Math. Phys. 7:86–112) spread wider about it. Closed form when L has no
    columns.
    """
    z, root, log_det = _mode(m, L, limit, sign, sd)
    x, log_w = _nodes(L.shape[1], seed)
    at = z + x @ root.T
    eta = m + at @ L.T
    d = sign * (eta - limit) / sd
    tail, mills, bend = _tail(d)
    terms = log_w + 0.5 * (x**2).sum(axis=1) - 0.5 * (at**2).sum(axis=1) + tail.sum(axis=1)
    top = terms.max()
    share = np.exp(terms - top)
    log_p = top + np.log(share.sum()) + log_det
    share /= share.sum()
    given = eta + sign * sd * mills
    mean = share @ given
    off = given - mean
    return float(log_p), mean, (off * share[:, None]).T @ off + np.diag(share @ (sd**2 * (1 - bend)))


def _tail(d: Array) -> tuple[Array, Array, Array]:
    """ln Φ(d), φ(d)/Φ(d) = λ, and λ(λ + d), all from one e^(x²)erfc(x): Φ(d) = ½e^(−d²/2) times it at x = −d/√2.

    λ(λ + d) by its expansion 1 − 1/d² + 6/d⁴ where λ and d cancel.
    """
    scaled, high, deep = erfcx(-d / np.sqrt(2)), d > HIGH, d < DEEP
    log_p = np.log(0.5 * scaled) - 0.5 * d**2
    log_p[high] = log_ndtr(d[high])
    mills = np.sqrt(2 / np.pi) / scaled
    bend = mills * (mills + d)
    if deep.any():
        far = d[deep] ** -2.0
        bend[deep] = 1 - far + 6 * far**2
    return log_p, mills, bend


def _mode(m: Array, L: Array, limit: Array, sign: Array, sd: float) -> tuple[Array, Array, float]:
    """Mode of the integrand, a root R of the inverse curvature there by which nodes are scaled, and ln|R|, by damped Newton steps."""
    z, r = np.zeros(L.shape[1]), L.shape[1]

    def at(z: Array) -> tuple[float, Array, Array]:
        tail, mills, bend = _tail(sign * (m + L @ z - limit) / sd)
        return -0.5 * z @ z + tail.sum(), mills, bend

    height, mills, bend = at(z)
    for _ in range(100):
        curvature = np.eye(r) + (L * (bend / sd**2)[:, None]).T @ L
        step = np.linalg.solve(curvature, L.T @ (sign * mills) / sd - z)
        if np.abs(step).max(initial=0.0) < LAST_STEP:
            z = z + step
            break
        size, moved = 1.0, at(z + step)
        while size > 1e-6 and moved[0] < height:
            size /= 2
            moved = at(z + size * step)
        if size <= 1e-6:
            break
        z, (height, mills, bend) = z + size * step, moved
    if r not in HERMITE:
        curvature = np.eye(r) + WIDER * (curvature - np.eye(r))
    root = np.linalg.inv(np.linalg.cholesky(curvature)).T
    return z, root, float(np.log(np.diag(root)).sum())


@lru_cache(maxsize=64)
def _nodes(r: int, seed: int) -> tuple[Array, Array]:
    """Nodes (M, r) and log weights for the mean over a standard normal."""
    if r in HERMITE:
        x, w = np.polynomial.hermite_e.hermegauss(HERMITE[r])
        grid = np.array(list(product(x, repeat=r))).reshape(HERMITE[r] ** r, r)
        weights = np.array([np.prod(one) for one in product(w / w.sum(), repeat=r)])
        return grid, np.log(weights)
    from scipy.stats import qmc  # here, for many a build has nothing to draw, and it takes half a second

    half = ndtri(qmc.Sobol(r, seed=np.random.default_rng(seed)).random(POINTS))
    return np.vstack([half, -half]), np.full(2 * POINTS, -np.log(2 * POINTS))
