"""Steels compared within submissions alone, beside what all runs say: whether the two kinds of information agree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import hstack

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Texts
from edgehold.numerics.indicators import indicator
from edgehold.words import Reason

from .inputs import RESIDUAL
from .results import CrossedFitted, settled
from .runs_design import FixedPart, Runs, fixed_part, independent_columns
from .runs_fit import Difference, coefficient_covariance, difference
from .runs_model import RunsModel, RunsModelFitted, SteelsEstimated
from .working_values import WorkingValues, fit_working

BEYOND = 2.0  # standard errors of the difference from which the two kinds of information disagree
ALL_THERE_IS = 1e-6  # of a variance: comparisons between submissions that add less than this add nothing


@dataclass(frozen=True)
class WithinSubmissions:
    """One pair of steels, within submissions alone.

    Attributes
    ----------
    first, second : the pair.
    result : the difference with submissions fixed; None where no submission tells it.
    reason : why there is none; empty otherwise.
    departure : within submissions less all runs; None without a result.
    departure_error : its standard error √(V_f − V_r).
    all_there_is : all runs tell nothing of this pair but what is within submissions.
    disagrees : the departure is beyond 2 standard errors.
    """

    first: str
    second: str
    result: Difference | None
    reason: str
    departure: float | None
    departure_error: float | None
    all_there_is: bool
    disagrees: bool


def within_submissions(runs: Runs, model: RunsModel) -> tuple[WithinSubmissions, ...]:
    """Refit with submissions fixed and compare.

    Parameters
    ----------
    runs : what the model was fitted to.
    model : a fitted model.

    Returns
    -------
    One for every pair of steels that the model tells; empty where it is not fitted or only one submission stands in it.

    Notes
    -----
    Var(d) = V_f − V_r (Hausman 1978, Econometrica 46:1251–1271), both at the variances of the model of all runs, so that it is never
    negative (Wooldridge 2010, Econometric Analysis of Cross Section and Panel Data, 10.7.3). The estimates are those of the two
    fits, with the same normal values for one-sided runs.
    """
    if not isinstance(model, RunsModelFitted) or len(np.unique(runs.submission)) < 2:
        return ()
    whole = model.fit
    fixed = fixed_part(runs)
    terms = [name for name in model.terms if name != "submission"]
    groups = {name: labels for name, labels in runs.groups().items() if name in terms}
    values = model.values
    if values is None:
        return ()
    inside = _with_submissions(runs, fixed)
    fit = settled(fit_working(values, inside.X, groups, level=whole.level))
    told = [one for one in model.steels if isinstance(one, SteelsEstimated)]
    if isinstance(fit, str):
        return tuple(WithinSubmissions(one.first, one.second, None, fit, None, None, False, False) for one in told)
    spread = _covariance(values, inside.X, groups, whole), _covariance(values, fixed.X, _all(runs, model), whole)
    return tuple(_compared(one, fixed, inside, fit, whole, spread) for one in told)


def _all(runs: Runs, model: RunsModelFitted) -> dict[str, Texts]:
    return {name: labels for name, labels in runs.groups().items() if name in model.terms}


def _with_submissions(runs: Runs, fixed: FixedPart) -> FixedPart:
    """The fixed part with a column for every submission, in front of all else but the constant."""
    levels = np.unique(runs.submission)[1:]
    columns = [(runs.submission == level).astype(float) for level in levels]
    full = np.column_stack([fixed.full[:, :1], *columns, fixed.full[:, 1:]])
    names = (fixed.names[0], *(f"submission {level}" for level in levels), *fixed.names[1:])
    kept = independent_columns(full)
    return FixedPart(full[:, kept], full, names, kept, fixed.effects, fixed.not_held)


def _covariance(values: WorkingValues, X: Array, groups: Mapping[str, Texts], fit: CrossedFitted) -> Array:
    """(XᵀΣ⁻¹X)⁻¹ at the variances of a fit, by Σ⁻¹ = R⁻¹ − R⁻¹Z(ZᵀR⁻¹Z + G⁻¹)⁻¹ZᵀR⁻¹, nothing runs by runs."""
    residual = fit.variances[RESIDUAL]
    if residual is None:
        raise InputError(f"a residual variance is needed; got none: {fit.reasons}")
    R = residual + (np.zeros(len(values.y)) if values.extra is None else values.extra)
    sizes = {name: fit.variances[name] or 0.0 for name in groups}
    there = {name: labels for name, labels in groups.items() if sizes[name] > 0}
    A = X.T @ (X / R[:, None])
    if there:
        codes = [np.unique(labels, return_inverse=True)[1] for labels in there.values()]
        Z = hstack([indicator(c) for c in codes], format="csr")
        G = np.concatenate([np.full(c.max() + 1, sizes[name]) for name, c in zip(there, codes, strict=True)])
        across = Z.T @ (X / R[:, None])
        A = A - across.T @ np.linalg.solve((Z.T @ (Z.multiply(1 / R[:, None]))).toarray() + np.diag(1 / G), across)
    return np.asarray(np.linalg.inv(A), dtype=float)


def _compared(
    one: SteelsEstimated, fixed: FixedPart, inside: FixedPart, fit: CrossedFitted, whole: CrossedFitted, spread: tuple[Array, Array]
) -> WithinSubmissions:
    c = inside.steel_contrast(one.first, one.second)
    if c is None:
        reason = Reason("crossed.never_in_submissions")
        return WithinSubmissions(one.first, one.second, None, reason, None, None, False, False)
    result = difference(fit, c, coefficient_covariance(fit))
    outside = fixed.steel_contrast(one.first, one.second)
    if outside is None:
        raise InputError(f"a difference of {one.first} and {one.second} told by all runs is needed; got none")
    v_f, v_r = float(c @ spread[0] @ c), float(outside @ spread[1] @ outside)
    error, departure = float(np.sqrt(max(v_f - v_r, 0.0))), result.estimate - float(outside @ whole.coefficients)
    nothing_between = v_f - v_r <= ALL_THERE_IS * v_r
    disagrees = not nothing_between and abs(departure) > BEYOND * error
    return WithinSubmissions(one.first, one.second, result, "", departure, error, nothing_between, bool(disagrees))
