"""Tails and quantiles of χ², Student's t and Fisher's F, and tails of the binomial.

The functions under ``scipy.stats``, to the bit (``binom_cdf``: to rounding), with what it gives at the ends and outside. They take a
microsecond, not a hundred, and import nothing more than ``scipy.special``: the import of ``scipy.stats`` takes longer than most of what
people ask for every day.

Arguments are numbers or arrays of one shape. A probability outside 0 to 1, degrees of freedom of 0 or less and nan give nan.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, betaincc, chdtr, chdtrc, fdtr, fdtrc, fdtri, gammaincinv, stdtr, stdtrit

from .arrays import Array


def chi2_cdf(x: ArrayLike, df: ArrayLike) -> Array:
    """P(χ² ≤ x)."""
    return _above_0(chdtr(df, np.maximum(x, 0.0)), df)


def chi2_sf(x: ArrayLike, df: ArrayLike) -> Array:
    """P(χ² > x)."""
    return _above_0(chdtrc(df, np.maximum(x, 0.0)), df)


def chi2_ppf(q: ArrayLike, df: ArrayLike) -> Array:
    """The x below which χ² lies with probability q."""
    return _above_0(2 * gammaincinv(np.asarray(df) / 2, q), df)


def t_ppf(q: ArrayLike, df: ArrayLike) -> Array:
    """The x below which t lies with probability q."""
    found = _above_0(stdtrit(df, q), df)
    return np.where(np.equal(q, 0), np.where(np.isnan(found), found, -np.inf), found) if np.any(np.equal(q, 0)) else found


def t_sf(x: ArrayLike, df: ArrayLike) -> Array:
    """P(t > x)."""
    return _above_0(stdtr(df, -np.asarray(x)), df)


def f_cdf(x: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Array:
    """P(F ≤ x)."""
    return _above_0(fdtr(df1, df2, np.maximum(x, 0.0)), df1, df2)


def f_sf(x: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Array:
    """P(F > x)."""
    return _above_0(fdtrc(df1, df2, np.maximum(x, 0.0)), df1, df2)


def f_ppf(q: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Array:
    """The x below which F lies with probability q."""
    return _above_0(fdtri(df1, df2, q), df1, df2)


def binom_sf(k: ArrayLike, n: ArrayLike, p: ArrayLike) -> Array:
    """P(X > k) of X successes in n tries, k and n whole numbers, each with probability p: the incomplete beta function Iₚ(k + 1, n − k)."""
    return _tries(betainc, k, n, p, 1.0, 0.0)


def binom_cdf(k: ArrayLike, n: ArrayLike, p: ArrayLike) -> Array:
    """P(X ≤ k): the rest."""
    return _tries(betaincc, k, n, p, 0.0, 1.0)


def _tries(of: Callable[..., Array], k: ArrayLike, n: ArrayLike, p: ArrayLike, below: float, above: float) -> Array:
    """An incomplete beta function of k successes in n tries; ``below`` 0 and from n on ``above``."""
    k, n = np.asarray(k, dtype=float), np.asarray(n, dtype=float)
    found = of(np.maximum(k + 1, 1), np.maximum(n - k, 1), p)
    return np.where(k < 0, below, np.where(k >= n, above, found))


def _above_0(found: Array, *dfs: ArrayLike) -> Array:
    """What was found, but nan where degrees of freedom are none."""
    for df in dfs:
        there = np.greater(df, 0)
        if not np.all(there):
            found = np.where(there, found, np.nan)
    return found
