"""Normal responses of which only one side is known, each replaced by a normal value with a variance of its own.

What the limits say of the responses is then a model with known variances, which every method for such models can take.
"""

from __future__ import annotations

import numpy as np
from scipy.special import erfcx

from .arrays import Array

SWEEPS = 200
STEP = 1e-8  # of a precision, in units of the inverse prior variance, at which the sweeps end
LEAST_PRECISION = 1e-9  # in the same units: a limit so far below that it says nothing
SETTLED = 1e-3  # change in the last sweep, in the same units, above which the sites count as not found


def normal_sites(mean: Array, covariance: Array, limit: Array, sign: Array) -> tuple[Array, Array] | None:
    """Values ỹ and variances v so that observing y + N(0, v) as ỹ says about each y what its limit says.

    Parameters
    ----------
    mean, covariance : (m,) and (m, m) of y before the limits are known; positive definite.
    limit, sign : (m,) y lies above its limit where sign is +1, below it where −1.

    Returns
    -------
    (m,) ỹ and (m,) v > 0; None where the sweeps do not settle.

    Notes
    -----
    Expectation propagation (Minka 2001, Uncertainty in Artificial Intelligence 17:362–369; for truncated normals Cunningham,
    Hennig & Lacoste-Julien 2011, arXiv:1111.6832): each site in turn gets the precision and shift with which the others' product
    has mean and variance of the truncated normal. With one limit it is exact. v is infinite in the end where a limit says nothing;
    it is then a large number.
    """
    scale = np.diag(covariance)
    precision, shift = np.zeros(len(mean)), np.zeros(len(mean))
    C, m = covariance.copy(), mean.copy()
    for _ in range(SWEEPS):
        before = precision.copy()
        for i in range(len(mean)):
            rest = 1 / C[i, i] - precision[i]
            if rest <= 0:
                return None
            centre = (m[i] / C[i, i] - shift[i]) / rest
            found_mean, found_variance = _truncated(centre, 1 / rest, limit[i], sign[i])
            new = max(1 / found_variance - rest, LEAST_PRECISION / scale[i])
            change, push = new - precision[i], (rest + new) * found_mean - rest * centre - shift[i]
            column = C[:, i].copy()
            gain = 1 / (1 + change * column[i])
            m = m + column * gain * (push - change * m[i])
            C = C - change * gain * np.outer(column, column)
            precision[i], shift[i] = new, shift[i] + push
        moved = float((np.abs(precision - before) * scale).max(initial=0.0))
        if moved < STEP:
            break
    return (shift / precision, 1 / precision) if moved < SETTLED else None


def _truncated(centre: float, variance: float, limit: float, sign: float) -> tuple[float, float]:
    """Mean and variance of a normal beyond a limit; ratios of tails by the scaled complementary error function."""
    sd = np.sqrt(variance)
    d = sign * (centre - limit) / sd
    mills = np.sqrt(2 / np.pi) / erfcx(-d / np.sqrt(2))
    shrunk = 1 - mills * (mills + d) if d > -50 else 1 / d**2
    return centre + sign * sd * mills, variance * max(shrunk, 1e-12)
