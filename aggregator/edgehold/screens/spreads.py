"""Repeats closer together, or a course smoother, than reading allows.

Whoever invents numbers makes them too alike (Simonsohn 2013, Psychological Science 24:1875-1888, of standard deviations that resemble each
other too much; Buyse et al. 1999, Statistics in Medicine 18:3435-3451, of variances too small in clinical trials). The variance of a new
file is held to those of the others: between files they spread as a scaled inverse chi-square (Smyth 2004, the same as the repeatability
table's), so that a variance over the pool's is an F, and its lower tail the chance that an honest file is as even.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable

import numpy as np

from edgehold.estimates.repeatability import fit_prior
from edgehold.numerics.distributions import chi2_cdf, f_cdf

from .readings import Array, ReadFile, ReadRun

FEWEST_FILES = 8
LEAST_DF = 6
ROUNDED = 0.25  # share of the pool's variance from which rounding hides how even the repeats are
SMOOTH_FROM = 5  # checkpoints, of which three go into the course


def of_repeats(file: ReadFile) -> tuple[float, float]:
    """Variance of the repeats of one reading (ln scale) over a file, and its degrees of freedom."""
    return _pooled((float((run.checkpoints.counts - 1).sum()), float(run.checkpoints.squares.sum())) for run in file.runs)


def of_course(file: ReadFile) -> tuple[float, float]:
    """Variance of the means at each checkpoint about a smooth course, a quadratic in ln(1 + work), and its degrees of freedom."""
    return _pooled(found for run in file.runs if (found := _roughness(run)) is not None)


def _roughness(run: ReadRun) -> tuple[float, float] | None:
    """Degrees of freedom and sum of squares about the course of one run; None where it has too few checkpoints."""
    read = run.checkpoints
    if len(read.works) < SMOOTH_FROM:
        return None
    courses = _courses(tuple(read.works.tolist()))
    residual = read.means - courses @ (courses.T @ read.means)
    return len(read.works) - 3, float(residual @ residual)


@functools.lru_cache(maxsize=1_000)  # runs of one method are read at the same few amounts of work
def _courses(works: tuple[float, ...]) -> Array:
    """Orthonormal columns, (n, 3), that span the quadratics in ln(1 + work/w₁), w₁ the first work above 0."""
    x = np.log1p(np.array(works) / max(min(work for work in works if work > 0), 1e-9))
    return np.linalg.qr(np.vander(x / x[-1], 3))[0]


def _pooled(parts: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Variance and degrees of freedom of all, from the degrees of freedom and the sum of squares of each; nan and 0 without any."""
    df, squares = np.array(list(parts), dtype=float).reshape(-1, 2).sum(axis=0)
    return (float(squares / df), float(df)) if df > 0 else (math.nan, 0.0)


def rounding(file: ReadFile) -> float:
    """Variance that rounding to the file's step gives by itself, ln scale: a twelfth of the squared step over the value."""
    values = np.concatenate([run.value for run in file.runs]) if file.runs else np.ones(1)
    step = max((run.step for run in file.runs), default=0.0)
    return float(np.mean((step / values) ** 2) / 12)


def evenness(own: tuple[float, float], others: Array, rounded: float) -> float:
    """The chance of a variance as small as a file's, or smaller; 1 where the others are too few or rounding hides it.

    Parameters
    ----------
    own : variance and degrees of freedom of the file.
    others : (G, 2) the same of each other file.
    rounded : variance by rounding alone.
    """
    usable = others[(others[:, 1] >= LEAST_DF) & (others[:, 0] > 0)]
    variance, df = own
    if df < LEAST_DF or len(usable) < FEWEST_FILES or rounded > ROUNDED * float(np.median(usable[:, 0])):
        return 1.0
    prior_df, prior = fit_prior(usable[:, 0], usable[:, 1])
    return float(f_cdf(variance / prior, df, prior_df) if math.isfinite(prior_df) else chi2_cdf(df * variance / prior, df))
