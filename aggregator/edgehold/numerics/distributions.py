"""Tails and quantiles of χ², Student's t and Fisher's F.

The functions under ``scipy.stats``, to the bit, with what it gives at the ends and outside. They take a microsecond, not a hundred, and
import nothing more than ``scipy.special``: the import of ``scipy.stats`` takes longer than most of what people ask for every day.

Arguments are numbers or arrays of one shape. A probability outside 0 to 1, degrees of freedom of 0 or less and nan give nan.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtr, chdtrc, fdtr, fdtrc, fdtri, gammaincinv, stdtr, stdtrit

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


def _above_0(found: Array, *dfs: ArrayLike) -> Array:
    """What was found, but nan where degrees of freedom are none."""
    for df in dfs:
        there = np.greater(df, 0)
        if not np.all(there):
            found = np.where(there, found, np.nan)
    return found
