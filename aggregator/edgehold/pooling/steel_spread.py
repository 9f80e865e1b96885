"""How much the steels met differ, as a spread with a prior of its own beside those of people and blades.

In the headline steels are fixed: nothing draws them together. Taken as a sample of steels, their spread σ has a posterior too, and
it follows from the same points: given all other spreads the coefficients are normal, so that the likelihood of σ is in closed form.
"""

from __future__ import annotations

import numpy as np

from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.second_stage import GRID, SecondStage, second_stage

from .hierarchical import Posterior


def steel_spread(fit: Posterior, contrasts: Array, prior: HalfT, groups: Ints | None = None, grid: int = GRID) -> SecondStage:
    """Posterior of the model in which the levels of a fixed factor are a sample from N(μ, σ²), μ flat; or from several, with a mean each.

    Parameters
    ----------
    fit : with the levels fixed.
    contrasts : (a − 1, p) of the other levels against the first.
    prior : of σ.
    groups : (a,) which sample a level is of, the first level first; all of one where None.
    grid : how many places of σ.
    """
    from_first = np.vstack([np.zeros(contrasts.shape[1]), contrasts])
    covariances = from_first @ fit.covariances @ from_first.T
    groups = np.zeros(len(from_first), dtype=int) if groups is None else groups
    return second_stage(fit.weights, fit.coefficients @ from_first.T, covariances, groups, prior, grid)
