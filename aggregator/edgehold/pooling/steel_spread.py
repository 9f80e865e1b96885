"""How much the steels met differ, as a spread with a prior of its own beside those of people and blades.

In the headline steels are fixed: nothing draws them together. Taken as a sample of steels, their spread σ has a posterior too, and
it follows from the same points: given all other spreads the coefficients are normal, so that the likelihood of σ is in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.numerics.half_t import HalfT, from_score

from .hierarchical import HierarchicalFit

GRID, FARTHEST = 81, 4.0  # places of σ in the coordinate in which its prior is standard normal, and how far they reach


@dataclass(frozen=True, eq=False)
class SteelSpread:
    """Joint posterior of the steels' spread and all others.

    Attributes
    ----------
    values : (G,) standard deviations between steels.
    joint : (S, G) weights of the points of the fit beside each of them; they sum to 1.
    prior : of the spread.
    """

    values: Array
    joint: Array
    prior: HalfT


def steel_spread(fit: HierarchicalFit, contrasts: Array, prior: HalfT) -> SteelSpread:
    """Posterior of the model in which the levels of a fixed factor are a sample from N(μ, σ²), μ flat.

    Parameters
    ----------
    fit : with the levels fixed.
    contrasts : (a − 1, p) of the other levels against the first.
    prior : of σ.

    Notes
    -----
    With d the contrasts, d ~ N(0, σ²(I + J)) once μ is integrated, and the data give d the likelihood N(m, V) at every point
    (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1–41).
    """
    z = np.linspace(-FARTHEST, FARTHEST, GRID)
    values = from_score(prior, z)
    means = fit.coefficients @ contrasts.T
    V = np.einsum("ai,sij,bj->sab", contrasts, fit.covariances, contrasts)
    between = np.eye(len(contrasts)) + 1.0
    log_joint = np.empty((len(means), GRID))
    for g, sd in enumerate(values):
        L = np.linalg.cholesky(V + sd**2 * between)
        scaled = np.linalg.solve(L, means[:, :, None])[:, :, 0]
        log_joint[:, g] = -0.5 * (scaled**2).sum(axis=1) - np.log(np.diagonal(L, axis1=1, axis2=2)).sum(axis=1) - 0.5 * z[g] ** 2
    joint = fit.weights[:, None] * np.exp(log_joint - log_joint.max())
    return SteelSpread(values, joint / joint.sum(), prior)
