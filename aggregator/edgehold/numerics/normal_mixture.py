"""A mixture of normal distributions: its moments, probabilities and quantiles, by arithmetic and root search, not by drawing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from .arrays import Array, Ints

TOLERANCE = 1e-12  # of a quantile, in units of the largest standard deviation
LAST_STEP = 1e-6  # of Newton's method, in units of the smallest standard deviation
NEWTON, MOST_STEPS = 30, 100  # steps by Newton's method at most, and with bisections
CLOSE = 0.05  # parts are close whose means differ by less than this of their standard deviation, and these by less than this share


@dataclass(frozen=True, eq=False)
class NormalMixture:
    """Σ wₛ N(mₛ, vₛ).

    Attributes
    ----------
    weights : (S,) that sum to 1.
    means, variances : (S,) of the parts.

    Examples
    --------
    A narrow and a wide part about 0, nine to one: outside ±1.96 of the narrow one lie 0.9 × 5 % and 0.1 × 51.4 %, about 9.6 %.

    >>> import numpy as np
    >>> from edgehold.numerics.normal_mixture import NormalMixture
    >>> both = NormalMixture(np.array([0.9, 0.1]), np.zeros(2), np.array([1.0, 9.0]))
    >>> round(2 * both.above(1.959964), 3)
    0.096
    >>> round(both.quantile(0.5), 3), round(both.sd**2, 3)
    (0.0, 1.8)
    """

    weights: Array
    means: Array
    variances: Array

    @property
    def mean(self) -> float:
        """Mean."""
        return float(self.weights @ self.means)

    @property
    def sd(self) -> float:
        """Standard deviation."""
        return float(np.sqrt(self.weights @ (self.variances + (self.means - self.mean) ** 2)))

    def below(self, x: float) -> float:
        """Probability of a value below ``x``."""
        return float(self.weights @ ndtr((x - self.means) / np.sqrt(self.variances)))

    def above(self, x: float) -> float:
        """Probability of a value above ``x``."""
        return float(self.weights @ ndtr((self.means - x) / np.sqrt(self.variances)))

    def quantile(self, p: float) -> float:
        """Value with probability ``p`` below it.

        Notes
        -----
        Newton's steps between limits that hold the root; bisection where one leaves them, and after many. The error that a step leaves is
        of the order of its square.
        """
        root = np.sqrt(self.variances)
        ends = self.means + ndtri(p) * root
        low, high, widest = float(ends.min()), float(ends.max()), float(root.max())
        x = min(max(self.mean + float(ndtri(p)) * self.sd, low), high)
        for taken in range(MOST_STEPS):
            if not high - low > TOLERANCE * widest:
                break
            z = (x - self.means) / root
            over = float(self.weights @ ndtr(z)) - p
            low, high = (x, high) if over < 0 else (low, x)
            slope = float(self.weights @ (np.exp(-0.5 * z**2) / root)) / math.sqrt(2 * math.pi)
            step = over / slope if slope > 0 and taken < NEWTON else math.inf
            if not low <= x - step <= high:
                step = x - (low + high) / 2
            elif abs(step) < LAST_STEP * float(root.min()):
                return x - step
            x -= step
        return (low + high) / 2

    def merged(self) -> NormalMixture:
        """The same distribution with fewer parts: those that are close become one, with their mean and their variance.

        Notes
        -----
        Two moments being kept, a distribution function moves by the third power of how far apart they are: less than 1e-4 of probability.
        """
        size = np.floor(np.log(self.variances) / (2 * CLOSE)).astype(int)
        place = np.floor(self.means / (CLOSE * np.exp(CLOSE * size))).astype(int)
        size, place = size - size.min(), place - place.min()
        _, own = np.unique(size * (int(place.max()) + 1) + place, return_inverse=True)
        weights = np.bincount(own, self.weights).astype(float)
        kept = weights > 0
        means = np.bincount(own, self.weights * self.means)[kept] / weights[kept]
        centre = np.zeros(len(weights))
        centre[kept] = means
        variances = np.bincount(own, self.weights * (self.variances + (self.means - centre[own]) ** 2))[kept] / weights[kept]
        return NormalMixture(weights[kept], means, variances)

    def quantile_error(self, p: float, at: float, sets: Ints) -> float:
        """Standard error of a quantile that comes from the parts having been drawn.

        Parameters
        ----------
        p, at : the probability and its quantile.
        sets : (S,) number of the independently drawn set that a part belongs to.

        Notes
        -----
        The sets' shares of Σ wₛ(Fₛ(at) − p), which is 0 over all, vary as independent values do (the delta method for a ratio).
        """
        root = np.sqrt(self.variances)
        z = (at - self.means) / root
        density = float(self.weights @ (np.exp(-0.5 * z**2) / (root * np.sqrt(2 * np.pi))))
        shares = np.bincount(sets, self.weights * (ndtr(z) - p))
        return float(np.sqrt(len(shares) / (len(shares) - 1) * (shares**2).sum()) / density)
