"""One fit of runs that are known exactly, to an interval or to one side, and differences of its coefficients."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t as student_t

from aggregator.numerics.interval import Interval

from .censored_crossed import crossed_censored
from .crossed import crossed
from .crossed_results import CrossedFit
from .new_hands import LEAST_DF
from .runs_design import Runs
from .working_values import WorkingValues, fit_working, working_values


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
    values : the runs as values with known variances about it; None where they could not be had.
    restricted : the fit of ``values`` by restricted likelihood, with the same fixed part and terms; None where it was not made.
    """

    fit: CrossedFit
    values: WorkingValues | None
    restricted: CrossedFit | None


def fit_runs(runs: Runs, X: np.ndarray, terms: Sequence[str], *, level: float = 0.95, profile: bool = False) -> FittedRuns:
    """Fit the named random terms beside a fixed part; see ``fit_groups``."""
    groups = {name: labels for name, labels in runs.groups().items() if name in terms}
    return fit_groups(runs, X, groups, level=level, profile=profile)


def fit_groups(runs: Runs, X: np.ndarray, groups: Mapping[str, np.ndarray], *, level: float = 0.95, profile: bool = False) -> FittedRuns:
    """Fit random terms given by their labels beside a fixed part.

    With one-sided runs coefficients and variances are those of maximum likelihood (``crossed_censored``); limits of the variances,
    and the uncertainty of the variances in degrees of freedom, are those of the restricted likelihood with every one-sided run
    replaced by the normal value that says the same about it (``working_values``).
    """
    if np.array_equal(runs.low, runs.high):
        fit = crossed(runs.low, X, groups, level=level, profile=profile)
        return FittedRuns(fit, WorkingValues(runs.low, None, None), fit)
    open_runs = bool(runs.one_sided.any())
    fit = crossed_censored(runs.low, runs.high, X, groups, level=level, profile=profile and not open_runs).fit
    if fit.coefficients is None:
        return FittedRuns(fit, None, None)
    values = working_values(runs, X, groups, fit)
    if not open_runs or values is None:
        return FittedRuns(fit, values, None)
    about = fit_working(values, X, groups, level=level, profile=profile)
    return FittedRuns(fit if about.coefficients is None else _with_limits(fit, about), values, about)


def _with_limits(fit: CrossedFit, about: CrossedFit) -> CrossedFit:
    """A fit of one-sided runs with the limits and the uncertainty of the variances from that of their normal values."""
    reasons = {name: why for name, why in fit.reasons.items() if not name.startswith("variance_intervals")}
    reasons |= {name: why for name, why in about.reasons.items() if name.startswith("variance_intervals")}
    intervals = {name: one and _around(one, fit.variances[name]) for name, one in about.variance_intervals.items()}
    fit = replace(fit, variance_intervals=intervals, reasons=reasons)
    if len(about.variance_covariance) != len(fit.variances):
        return fit
    return replace(fit, variance_covariance=about.variance_covariance, covariance_slopes=about.covariance_slopes)


def _around(one: Interval, value: float) -> Interval:
    return Interval(min(one.low, value), max(one.high, value), one.level, f"{one.method}, normal sites")


def coefficient_covariance(fit: CrossedFit) -> np.ndarray:
    """Covariance of the coefficients, with the Kenward–Roger correction where it is had."""
    return fit.covariance if fit.adjusted_covariance is None else fit.adjusted_covariance


def difference(fit: CrossedFit, c: np.ndarray, covariance: np.ndarray) -> Difference:
    """cᵀb with the standard error of the given covariance and Satterthwaite's degrees of freedom, at least 1."""
    plain = fit.contrast(c)
    error, df = float(np.sqrt(c @ covariance @ c)), max(plain.df, LEAST_DF)
    half = error * float(student_t.ppf((1 + fit.level) / 2, df))
    method = "satterthwaite-t" if fit.adjusted_covariance is None else "kenward-roger-t"
    return Difference(plain.estimate, error, df, Interval(plain.estimate - half, plain.estimate + half, fit.level, method))
