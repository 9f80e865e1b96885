"""One fit of runs that are known exactly, to an interval or to one side, and differences of its coefficients."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array, Texts
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval

from .censored import crossed_censored
from .crossed import crossed
from .new_hands import LEAST_DF
from .results import CrossedFit, CrossedFitted, NothingFitted
from .runs_design import Runs
from .working_values import WorkingValues, fit_working, settled_values, working_values


@dataclass(frozen=True)
class Difference:
    """A difference on the ln scale with its standard error, degrees of freedom and t interval."""

    estimate: float
    standard_error: float
    df: float
    interval: Interval


@dataclass(frozen=True, eq=False)
class FittedRuns:
    """A fit of runs, and what further fits of the same runs need.

    Attributes
    ----------
    fit : the fit.
    values : the runs as values with known variances about it; None where they are not available.
    """

    fit: CrossedFit
    values: WorkingValues | None


def fit_runs(runs: Runs, X: Array, terms: Sequence[str], *, level: float = 0.95, profile: bool = False) -> FittedRuns:
    """Fit the named random terms beside a fixed part; see ``fit_groups``."""
    groups = {name: labels for name, labels in runs.groups().items() if name in terms}
    return fit_groups(runs, X, groups, level=level, profile=profile)


def fit_groups(runs: Runs, X: Array, groups: Mapping[str, Texts], *, level: float = 0.95, profile: bool = False) -> FittedRuns:
    """Fit random terms given by their labels beside a fixed part, by restricted likelihood.

    One-sided runs enter as the normal values that say about them what their limits say (``working_values``), settled by turns with the
    fit. Nothing is fitted where more than 30 % of the runs are one-sided, or where a coefficient rests on such runs alone.
    """
    if np.array_equal(runs.low, runs.high):
        return FittedRuns(crossed(runs.low, X, groups, level=level, profile=profile), WorkingValues(runs.low, None, None))
    if not runs.one_sided.any():
        fit = crossed_censored(runs.low, runs.high, X, groups, level=level, profile=profile).fit
        return FittedRuns(fit, working_values(runs, X, groups, fit) if isinstance(fit, CrossedFitted) else None)
    values = settled_values(runs, X, groups)
    if isinstance(values, str):
        return FittedRuns(NothingFitted(values), None)
    return FittedRuns(fit_working(values, X, groups, level=level, profile=profile), values)


def coefficient_covariance(fit: CrossedFitted) -> Array:
    """Covariance of the coefficients, with the Kenward–Roger correction where it is available."""
    return fit.covariance if fit.adjusted_covariance is None else fit.adjusted_covariance


def difference(fit: CrossedFitted, c: Array, covariance: Array) -> Difference:
    """cᵀb with the standard error of the given covariance and Satterthwaite's degrees of freedom, at least 1."""
    plain = fit.contrast(c)
    error, df = float(np.sqrt(c @ covariance @ c)), max(plain.df, LEAST_DF)
    half = error * float(t_ppf((1 + fit.level) / 2, df))
    method = "satterthwaite-t" if fit.adjusted_covariance is None else "kenward-roger-t"
    return Difference(plain.estimate, error, df, Interval(plain.estimate - half, plain.estimate + half, fit.level, method))
