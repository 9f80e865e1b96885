"""Runs known to an interval or to one side as values with known variances, about a fitted model.

So that limits of variances, and fits with another fixed part, cost what they cost for exact values.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from edgehold.numerics import mixed
from edgehold.numerics.arrays import Array, Texts
from edgehold.numerics.indicators import indicator
from edgehold.numerics.mixed_inference import without_information
from edgehold.numerics.normal_sites import normal_sites
from edgehold.numerics.restricted_likelihood import likelihood_at, prepare_rows
from edgehold.numerics.variance_search import Problem, at, search_widely
from edgehold.words import Reason

from .censored import FLOOR_SHARE, MOST_ONE_SIDED, SHEPPARD, Centre, centre_to_begin_at, stand_ins, too_many_one_sided, with_floor
from .crossed import Near, beginning_of, crossed
from .inputs import RESIDUAL, checked_rows
from .results import CrossedFit, CrossedFitted, NothingFitted
from .runs_design import Runs

MOST_ROUNDS = 40
SETTLED = 1e-4  # what a round may still move: coefficients in residual standard deviations, variances in shares of their sum
MANY = 300  # one-sided runs above which their sites are found together: one after the other takes the cube of how many they are
WIDEST = 1e6  # variance of a value that says nothing, in residual variances


@dataclass(frozen=True, eq=False)
class WorkingValues:
    """Values with known variances beside the residual.

    Attributes
    ----------
    y : (n,) values.
    extra : (n,) known variances; None where every value is exact.
    residual : residual variance of the fit about which they were made; None where every value is exact.
    """

    y: Array
    extra: Array | None
    residual: float | None


def working_values(runs: Runs, X: Array, groups: Mapping[str, Texts], fit: CrossedFitted | Centre) -> WorkingValues | None:
    """Values and variances that say of each run what its limits say, at the fitted coefficients and variances.

    Parameters
    ----------
    runs : n runs.
    X, groups : what was fitted.
    fit : its result.

    Returns
    -------
    WorkingValues
        Exact runs as they are; intervals as midpoints with width²/12 where the residual is wide enough, as in
        ``crossed_censored``; one-sided runs by ``normal_sites``. None where the latter or the residual is not available.
    """
    open_runs, width = runs.one_sided, runs.high - runs.low
    if not width.any():
        return WorkingValues(runs.low, None, None)
    residual = fit.variances[RESIDUAL]
    if residual is None:
        return None
    wide = ~open_runs & (np.where(open_runs, 0.0, width) * SHEPPARD <= np.sqrt(residual))
    y = np.where(open_runs, 0.0, np.where(open_runs, 0.0, runs.low) + np.where(open_runs, 0.0, width) / 2)
    extra = np.where(wide, np.where(open_runs, 0.0, width) ** 2 / 12, 0.0)
    if open_runs.any():
        found = _sites(runs, X, groups, fit, y, extra, residual)
        if found is None:
            return None
        y[open_runs], extra[open_runs] = found[0], np.minimum(found[1], WIDEST * residual)
    return WorkingValues(y, extra, residual)


def _sites(
    runs: Runs, X: Array, groups: Mapping[str, Texts], fit: CrossedFitted | Centre, y: Array, extra: Array, residual: float
) -> tuple[Array, Array] | None:
    """``normal_sites`` of the one-sided runs given the others."""
    o, c = np.flatnonzero(~runs.one_sided), np.flatnonzero(runs.one_sided)
    variances = [variance for name in groups if (variance := fit.variances[name]) is not None]
    if len(variances) < len(groups):
        return None
    fitted = X @ fit.coefficients
    terms = [indicator(np.unique(labels, return_inverse=True)[1]) for labels in groups.values()]
    if len(c) > MANY:
        return _sites_of_many(runs, fitted, terms, np.array(variances), y, residual + extra)
    S = np.diag(residual + extra)
    for variance, Z in zip(variances, terms, strict=True):
        S += variance * (Z @ Z.T).toarray()
    weights = np.linalg.solve(S[np.ix_(o, o)], S[np.ix_(o, c)]).T
    mean = fitted[c] + weights @ (y[o] - fitted[o])
    covariance = S[np.ix_(c, c)] - weights @ S[np.ix_(o, c)]
    above = np.isposinf(runs.high[c])
    return normal_sites(mean, (covariance + covariance.T) / 2, np.where(above, runs.low[c], runs.high[c]), np.where(above, 1.0, -1.0))


def _sites_of_many(
    runs: Runs, fitted: Array, terms: Sequence[sp.csr_matrix], variances: Array, y: Array, noise: Array
) -> tuple[Array, Array] | None:
    """The same sites, all of them moved at once, from a sparse factor of effects instead of a matrix of runs by runs."""
    low, high = (np.where(runs.one_sided, limit, y) - fitted for limit in (runs.low, runs.high))
    rows = prepare_rows(low, high, np.zeros((len(y), 0)), terms, noise)
    found = likelihood_at(rows, np.sqrt(variances), None)
    if found is None:
        return None
    return found.sites.shift / found.sites.precision + fitted[runs.one_sided], 1 / found.sites.precision


def centre_of(values: WorkingValues, X: Array, groups: Mapping[str, object], near: Near = None) -> Centre | None:
    """Coefficients and variances of ``fit_working`` without what takes longest of it, the uncertainty of either.

    Parameters
    ----------
    values : n values of which some are not exact.
    X, groups, near : as for ``fit_working``.

    Returns
    -------
    None wherever ``fit_working`` has something to say: only it can.
    """
    if values.extra is None or values.residual is None:
        return None
    floor = FLOOR_SHARE * values.residual
    rows = checked_rows(values.y, X, {**groups, RESIDUAL: np.arange(len(values.y))}, floor + values.extra, "reml", 0.95)
    if rows.nothing:
        return None
    system = mixed.prepare(rows.y, rows.X, [term.matrix for term in rows.terms], rows.known)
    if system.collinear is not None or system.n <= system.p or not system.kept.all():
        return None
    problem = Problem(system, rows.restricted, True)
    beginning = at(problem, beginning_of(problem, rows.terms, _less(near, floor)), True)
    if beginning is None or without_information(problem, beginning).any():
        return None
    found = search_widely(problem, beginning)
    if not found.converged or found.vanished:
        return None
    coefficients = system.origin + system.unit * (system.back @ found.point.evaluation.coefficients)
    variances = dict(zip((term.name for term in rows.terms), (found.point.variances * system.unit**2).tolist(), strict=True))
    return Centre(coefficients, variances | {RESIDUAL: variances[RESIDUAL] + floor})


def _less(near: Near, floor: float) -> Near:
    """The same with the residual less what of it is taken as known."""
    residual = None if near is None else near.get(RESIDUAL)
    if near is None or residual is None:
        return near
    return {**near, RESIDUAL: max(residual - floor, 0.0)}


def settled_values(runs: Runs, X: Array, groups: Mapping[str, Texts]) -> WorkingValues | str:
    """Working values about the restricted fit of themselves, or why there are none.

    Parameters
    ----------
    runs : n runs, some of them one-sided.
    X, groups : what is fitted.

    Notes
    -----
    From the fit to the limits, values and fit by turns until neither moves: restricted likelihood with expectation propagation
    (``numerics.normal_sites``) for what lies beyond the limits.
    """
    reason = too_many_one_sided(int(runs.one_sided.sum()), len(runs.low), MOST_ONE_SIDED)
    if reason:
        return reason
    begin = crossed(stand_ins(runs.low, runs.high), X, groups, profile=False)
    centre = centre_to_begin_at(X, runs.one_sided, begin)
    if isinstance(centre, str):
        return centre
    for _ in range(MOST_ROUNDS):
        values = working_values(runs, X, groups, centre)
        if values is None:
            return Reason("crossed.one_sided_not_worked_out")
        moved = centre_of(values, X, groups, centre.variances)
        if moved is None or _moved(centre, moved) < SETTLED:
            return values  # where there is no centre, the fit itself says why
        centre = moved
    return Reason("crossed.one_sided_not_settled", rounds=MOST_ROUNDS)


def _moved(before: Centre, now: Centre) -> float:
    earlier, later = (np.array(list(one.variances.values())) for one in (before, now))
    coefficients = float(np.abs(now.coefficients - before.coefficients).max() / np.sqrt(now.variances[RESIDUAL]))
    return max(coefficients, float(np.abs(later - earlier).max() / later.sum()))


def fit_working(
    values: WorkingValues,
    X: Array,
    groups: Mapping[str, object],
    *,
    criterion: str = "reml",
    level: float = 0.95,
    profile: bool | Collection[str] = False,
    near: Near = None,
) -> CrossedFit:
    """``crossed`` for working values; the residual variance comes out whole.

    Parameters
    ----------
    values : n values.
    X, groups, criterion, level, profile, near : as for ``crossed``.
    """
    if values.extra is None or values.residual is None:
        return crossed(values.y, X, groups, criterion=criterion, level=level, profile=profile, near=near)
    floor = FLOOR_SHARE * values.residual
    beside = {**groups, RESIDUAL: np.arange(len(values.y))}
    known = floor + values.extra
    fit = crossed(values.y, X, beside, V=known, criterion=criterion, level=level, profile=profile, near=_less(near, floor))
    if isinstance(fit, NothingFitted):
        return fit
    residual = fit.variances[RESIDUAL]
    return fit if residual is None else with_floor(fit, residual, floor)
