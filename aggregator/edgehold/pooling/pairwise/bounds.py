"""What one-sided results change: a common effect fitted to ratios and bounds together, as a sensitivity result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar

from edgehold.numerics.distributions import chi2_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.root_search import settled_root
from edgehold.words import Reason

METHOD = Reason("pairwise.bounds_method")


@dataclass(frozen=True)
class BoundsIncluded:
    """A common effect from two-sided contrasts and one-sided profiles together.

    Attributes
    ----------
    estimate : ln ratio at which the summed log-likelihood is largest.
    interval : where it has fallen by less than half the chi-square quantile (likelihood ratio).
    """

    estimate: float
    interval: Interval


def with_bounds(
    y: ArrayLike, v: ArrayLike, profiles: tuple[tuple[tuple[float, float], ...], ...], level: float = 0.95
) -> BoundsIncluded | None:
    """Sum the log-likelihoods of ratios and of bounds over one common effect.

    A two-sided contrast adds -(d - y)^2/(2v), a one-sided one its own profile (Pawitan 2001, In All Likelihood, sections 2.5
    and 3.4: profile likelihoods of independent data add). There is no between-study variance in it: it answers whether leaving
    the bounds out has bent the pooled result, not how sure that result is.

    Parameters
    ----------
    y, v : (k,) contrasts and their sampling variances; k may be 0.
    profiles : per one-sided result (contrast, log-likelihood) on one rising grid common to all; at least one.
    level : coverage of the interval.

    Returns
    -------
    BoundsIncluded or None : None where the sum has no largest value inside the grid, as with bounds of one kind only.
    """
    y, v = np.asarray(y, float), np.asarray(v, float)
    grid = np.array([delta for delta, _ in profiles[0]])
    tables = np.array([[value for _, value in profile] for profile in profiles])

    def summed(delta: float) -> float:
        ratios = -float(np.sum((delta - y) ** 2 / v)) / 2
        return ratios + sum(float(np.interp(delta, grid, table)) for table in tables)

    values = np.array([summed(delta) for delta in grid])
    best = int(values.argmax())
    if best in (0, len(grid) - 1):
        return None
    near = (grid[best - 1], grid[best + 1])
    estimate = float(minimize_scalar(lambda delta: -summed(delta), bounds=near, method="bounded", options={"xatol": 1e-10}).x)
    allowed = summed(estimate) - float(chi2_ppf(level, 1)) / 2
    low, high = (_limit(summed, allowed, estimate, end) for end in (grid[0], grid[-1]))
    return BoundsIncluded(estimate, Interval(low, high, level, METHOD))


def _limit(summed: Callable[[float], float], allowed: float, inner: float, end: float) -> float:
    """Where the sum falls to the allowed value between the estimate and an end of the grid; infinite if it does not."""
    if summed(end) > allowed:
        return float(np.sign(end) * np.inf)
    return settled_root(lambda delta: summed(delta) - allowed, inner, float(end), xtol=1e-12)
