"""Roots of a function of one variable, and the best of its local maxima.

A root is found by a root finder (Brent 1973, through ``scipy.optimize.brentq``) between two points where the function
is known to change sign; nothing here can wander off or fail to converge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from edgehold.errors import EdgeholdError, NotSettledError, NumericalError

from .arrays import Array

# The finest relative tolerance brentq accepts; the absolute one is out of its way, so that tiny roots keep their
# digits.
RELATIVE_TOLERANCE = 4 * np.finfo(float).eps
ABSOLUTE_TOLERANCE = np.finfo(float).tiny
MOST_STEPS = 500


@dataclass(frozen=True)
class Maximum:
    """The best point of a search, and what the search saw.

    Attributes
    ----------
    at : the maximiser.
    local_maxima : how many local maxima were found, the boundary included.
    on_boundary : True if the maximum lies on the lower end of the grid.
    slope : the derivative there; about 0 inside, negative or 0 on the boundary.
    """

    at: float
    local_maxima: int
    on_boundary: bool
    slope: float


def root_between(function: Callable[[float], float], low: float, high: float, tolerance: float = RELATIVE_TOLERANCE) -> float:
    """The root of ``function`` in [low, high], which must change sign there, to a relative ``tolerance``."""
    return settled_root(function, low, high, xtol=ABSOLUTE_TOLERANCE, rtol=tolerance, maxiter=MOST_STEPS)


def settled_root(function: Callable[[float], float], low: float, high: float, **limits: float) -> float:
    """The root that ``scipy.optimize.brentq`` finds in [low, high] with its ``limits``.

    Raises
    ------
    NotSettledError
        If the function does not change sign there, is not a number somewhere, or the steps run out.
    """
    try:
        from scipy.optimize import brentq  # here, for it brings all searches of scipy, and most of what is asked has no root to find

        return float(brentq(function, low, high, **limits))
    except (ValueError, RuntimeError) as failure:
        if isinstance(failure, EdgeholdError | NumericalError):
            raise
        raise NotSettledError(f"no root was found between {low!r} and {high!r}: {failure}") from failure


def root_of_decreasing(function: Callable[[float], float], low: float, high: float, tolerance: float = RELATIVE_TOLERANCE) -> float:
    """The root of a decreasing ``function`` in [low, high]; ``low`` if it is already at or below zero there.

    ``function(high)`` must not be positive beyond rounding: rounding at a bracket that is exact is not an error.
    """
    if function(low) <= 0:
        return float(low)
    if function(high) >= 0:
        return float(high)
    return root_between(function, low, high, tolerance)


def global_maximum(criterion: Callable[[float], float], derivative: Callable[[float], float], grid: Array) -> Maximum:
    """The global maximum over [grid[0], grid[-1]] of a criterion that decreases at ``grid[-1]``.

    Every place where ``derivative`` turns from positive to negative between neighbouring points of ``grid`` is a local
    maximum and is refined as a root; the lower end counts where the derivative is not positive there. The largest
    ``criterion`` wins, the smaller point on a tie.

    Parameters
    ----------
    criterion, derivative : functions of one float.
    grid : increasing points, fine enough that no local maximum hides between two of them.
    """
    slopes = np.array([derivative(point) for point in grid])
    candidates = [float(grid[0])] if slopes[0] <= 0 else []
    falls = np.flatnonzero((slopes[:-1] > 0) & (slopes[1:] <= 0))
    candidates += [root_between(derivative, grid[i], grid[i + 1]) for i in falls]
    if not candidates:  # the derivative has not turned by the end of the grid: only rounding at a flat end can do that
        candidates = [float(grid[-1])]
    best = max(candidates, key=lambda point: (criterion(point), -point))
    return Maximum(best, len(candidates), best == float(grid[0]), float(derivative(best)))
