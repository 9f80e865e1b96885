"""Crossed model: coefficients and variance components when runs share steels, sharpeners, testers and blades in any pattern.

The symbols are those of ``edgehold.pooling``; Zₖ is the (n, qₖ) matrix that gives every row its level of the k-th random
term, σ²ₖ that term's variance, Σ = V + Σσ²ₖZₖZₖᵀ.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics import mixed, mixed_inference
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt, open_limits
from edgehold.numerics.distributions import chi2_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.variance_profile import Limits, profile_limits
from edgehold.numerics.variance_search import (
    Found,
    Point,
    Problem,
    at,
    is_small,
    search_from,
    search_widely,
    start,
    start_by_part,
    start_near,
)
from edgehold.pooling.inputs import frozen
from edgehold.words import Reason

from .inputs import RESIDUAL, Rows, Term, checked_rows, exactly_fitted
from .results import (
    CrossedConvergence,
    CrossedFit,
    CrossedFitted,
    Effects,
    NothingFitted,
    OnlyVariancesFitted,
    degrees_of_freedom_each,
)

Near = Mapping[str, float | None] | None  # variances by name of a fit to nearly the same data
NOT_ASKED = Reason("crossed.not_asked")
NO_INFORMATION = Reason("crossed.no_information")
RESTARTS = 2  # how often a profile that meets a better fit may start the search anew


def crossed(
    y: ArrayLike,
    X: ArrayLike | sp.spmatrix,
    groups: Mapping[str, object],
    *,
    V: ArrayLike | sp.spmatrix | None = None,
    criterion: str = "reml",
    level: float = 0.95,
    profile: bool | Collection[str] = True,
    units: int | None = None,
    near: Near = None,
) -> CrossedFit:
    """Fit y ~ N(Xb, V + Σσ²ₖZₖZₖᵀ), or with σ²I in place of V.

    Parameters
    ----------
    y : (n,) responses, on the ln scale for ratios.
    X : (n, p) design of the coefficients, dense or sparse; one column per coefficient, a constant column included where one
        is meant.
    groups : random terms by name. A value is (n,) labels, equal labels sharing one effect; or a pair (labels, weights), the
        effect entering each row times its weight (a random slope); or a sparse (n, q) matrix Zₖ. Heterogeneity of a network with
        correlation ½ between the contrasts of one study is the matrix with +√½ in the column of (study, first arm) and −√½ in
        that of (study, second arm): ZₖZₖᵀ then has 1 on its diagonal and ±½ between contrasts that share an arm.
    V : known sampling covariance: (n,) positive variances, or a symmetric positive definite (n, n) matrix, sparse
        block-diagonal or small and dense. None: independent rows whose one variance is estimated as ``"residual"``.
    criterion : ``"reml"`` or ``"ml"``.
    level : level of the variance intervals and of ``contrast``.
    profile : whether to compute the profile intervals, by far the longest part of a fit to many rows; or the names of those wanted.
    units : independent units, where these are fewer than the rows, such as studies of which each brought several contrasts.
    near : variances by name of a fit to nearly the same data, from which the search begins where it begins at one place only.

    Returns
    -------
    CrossedFit
        ``CrossedFitted``; ``OnlyVariancesFitted`` where columns of X depend on each other; ``NothingFitted`` where the rows are no more
        than the coefficients or are reproduced exactly, or where a column of X is nearly, but not quite, a combination of the others
        (``estimability.nearly_dependent``). A variance is None, with its reason, where its term is to the data the same as another
        (smallest eigenvalue of the expected information with unit diagonal below 1e-6) or X explains it wholly.

    Raises
    ------
    InputError
        (a ValueError) If lengths differ, a value is not finite, a label is missing, V is not symmetric positive definite, a
        term is called ``"residual"`` while V is None, or the criterion or level is unknown.

    Notes
    -----
    Restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58:545–554) on Henderson's equations; degrees of freedom
    by Satterthwaite with the inverse expected information, zero components kept (for one contrast they are those of
    Kenward & Roger 1997), at most units − p. With V given and one term of one row a level, it is
    ``random_effects``.

    Examples
    --------
    Six workers on three machines, three times each (Milliken & Johnson 1992, Analysis of Messy Data, vol. 1, ch. 23; rows as in Pinheiro &
    Bates 2000). Standard deviations between workers, of worker by machine, and the rest: lme4 finds 4.781, 3.730 and 0.962. The
    second machine is 7.967 better than the first, with a standard error of 2.177 on 10 degrees of freedom.

    >>> import numpy as np
    >>> from edgehold.pooling import crossed
    >>> score = [52, 52.8, 53.1, 51.8, 52.8, 53.1, 60, 60.2, 58.4, 51.1, 52.3, 50.3,
    ...          50.9, 51.8, 51.4, 46.4, 44.8, 49.2, 62.1, 62.6, 64, 59.7, 60, 59,
    ...          68.6, 65.8, 69.7, 63.2, 62.8, 62.2, 64.8, 65, 65.4, 43.7, 44.2, 43,
    ...          67.5, 67.2, 66.9, 61.5, 61.7, 62.3, 70.8, 70.6, 71, 64.1, 66.2, 64,
    ...          72.1, 72, 71.1, 62, 61.4, 60.5]
    >>> machine = np.repeat(["A", "B", "C"], 18)
    >>> worker = np.tile(np.repeat([1, 2, 3, 4, 5, 6], 3), 3)
    >>> cell = [f"{w} on {m}" for w, m in zip(worker, machine)]
    >>> X = np.equal.outer(machine, ["A", "B", "C"]).astype(float)
    >>> fit = crossed(score, X, {"worker": worker, "cell": cell})
    >>> {name: round(variance**0.5, 3) for name, variance in fit.variances.items()}
    {'worker': 4.781, 'cell': 3.73, 'residual': 0.962}
    >>> better = fit.contrast([-1, 1, 0])
    >>> round(better.estimate, 3), round(better.standard_error, 3), round(better.df, 3)
    (7.967, 2.177, 10.0)
    """
    rows = checked_rows(y, X, groups, V, criterion, level)
    if rows.nothing:
        return NothingFitted(rows.nothing)
    fit = _fit(rows, profile, near)
    return fit if units is None else _for_units(rows, fit, units)


def _for_units(rows: Rows, fit: CrossedFit, units: int) -> CrossedFit:
    """The same fit with degrees of freedom of at most units − p."""
    if not 1 <= units <= rows.n:
        raise InputError(f"units must lie between 1 and the number of rows, {rows.n}; got {units!r}")
    if not isinstance(fit, CrossedFitted):
        return fit
    if units <= len(fit.df):
        return NothingFitted(Reason("crossed.few_units", units=units, coefficients=len(fit.df)))
    return replace(fit, units=units, df=frozen(np.minimum(fit.df, units - len(fit.df))))


def _fit(rows: Rows, profile: bool | Collection[str], near: Near) -> CrossedFit:
    terms = list(rows.terms)
    reasons: dict[str, str] = {}
    while True:
        problem = Problem(
            mixed.prepare(rows.y, rows.X, [term.matrix for term in terms], rows.known), rows.restricted, rows.known is not None
        )
        if problem.system.collinear is not None:
            return NothingFitted(_too_close(problem.system.collinear))
        if problem.system.n <= problem.system.p:
            return NothingFitted(_too_few(problem.system.n, problem.system.p))
        if exactly_fitted(rows, problem.system):
            return NothingFitted(Reason("crossed.reproduced"))
        beginning = at(problem, beginning_of(problem, terms, near), True)
        if beginning is None:
            return NothingFitted(Reason("crossed.singular"))
        empty = mixed_inference.without_information(problem, beginning)
        if not empty.any():
            break
        for k in np.flatnonzero(empty):
            reasons[terms[k].name] = Reason("crossed.explained")
        terms = [term for k, term in enumerate(terms) if not empty[k]]
    return _searched(rows, terms, problem, beginning, reasons, profile)


def beginning_of(problem: Problem, terms: Sequence[Term], near: Near) -> Array:
    """Variances from which a search begins: the usual ones, those of a fit to a part of many rows, or those of a neighbouring fit where no
    other start is tried beside it."""
    if near is None or is_small(problem.system):
        part = start_by_part(problem)
        return start(problem) if part is None else part
    names = [term.name for term in terms] + ([] if problem.known else [RESIDUAL])
    return start_near(problem, np.array([np.nan if near.get(name) is None else near[name] for name in names]))


def _searched(
    rows: Rows, terms: list[Term], problem: Problem, beginning: Point, empty: dict[str, str], profile: bool | Collection[str]
) -> CrossedFit:
    names = [term.name for term in terms] + ([] if problem.known else [RESIDUAL])
    found = search_widely(problem, beginning)
    if found.vanished:
        return _without_residual(found)
    limits: dict[str, Limits] = {}
    for _ in range(1 + RESTARTS):
        info = mixed_inference.information(problem, found.point)
        W, same = mixed_inference.variance_covariance(info), _same(info, names)
        if not profile or not found.converged:
            break
        left_out = {name: NOT_ASKED for name in names if not _asked(name, profile)}
        limits = _profiles(problem, found.point, names, same | left_out, W, rows.level)
        better = min((one.better for one in limits.values() if one.better), key=lambda point: point.deviance, default=None)
        if better is None:
            break
        found = search_from(problem, better)
        if found.vanished:
            return _without_residual(found)
    return _assembled(rows, terms, names, problem, found, W, same, limits, empty, profile)


def _asked(name: str, profile: bool | Collection[str]) -> bool:
    """Whether the profile interval of a variance is wanted."""
    return profile if isinstance(profile, bool) else name in profile


def _too_close(column: int) -> str:
    return Reason("crossed.nearly_dependent", column=column)


def _too_few(n: int, p: int) -> str:
    return Reason("crossed.few_rows", rows=Reason("crossed.rows", rows=n), coefficients=Reason("crossed.coefficients", coefficients=p))


def _without_residual(found: Found) -> NothingFitted:
    return NothingFitted(Reason("crossed.no_residual", why=found.message))


def _same(info: Array, names: list[str]) -> dict[str, str]:
    """Names of variances that are the same to the data, each with its reason."""
    sets = mixed_inference.not_told_apart(info)
    return {names[i]: _same_as([names[j] for j in one if j != i]) for one in sets for i in one}


def _same_as(others: list[str]) -> str:
    """Why a variance is not told, which is the same to the data as those of other terms, or as nothing."""
    return Reason("crossed.same_as", others=" and ".join(map(repr, others))) if others else NO_INFORMATION


def _profiles(problem: Problem, best: Point, names: Sequence[str], same: Mapping[str, str], W: Array, level: float) -> dict[str, Limits]:
    rise = float(chi2_ppf(level, 1))

    def limits(k: int) -> Limits:
        return profile_limits(problem, best, k, float(np.sqrt(W[k, k])), rise)

    return {
        name: attempt(
            partial(limits, k),
            lambda why: Limits(None, None, why),
            lambda found: open_limits(found.low, found.high),
        )
        for k, name in enumerate(names)
        if name not in same
    }


def _assembled(
    rows: Rows,
    terms: list[Term],
    names: list[str],
    problem: Problem,
    found: Found,
    W: Array,
    same: dict[str, str],
    limits: dict[str, Limits],
    empty: dict[str, str],
    profile: bool | Collection[str],
) -> CrossedFit:
    system, point, unit2 = problem.system, found.point, problem.system.unit**2
    inference, columns = mixed_inference.coefficient_inference(problem, point, W)
    reasons = {f"variances.{name}": reason for name, reason in (empty | same).items()}
    reasons |= {f"effects.{name}": reason for name, reason in (empty | same).items() if name != RESIDUAL}
    if not found.converged:
        reasons["convergence"] = found.message
    full_rank = bool(system.kept.all())
    if not full_rank:
        dropped = ", ".join(str(j) for j in np.flatnonzero(~system.kept))
        reasons["coefficients"] = Reason("crossed.dependent", columns=dropped)
    if inference.adjusted is None:
        reasons["adjusted_covariance"] = Reason("crossed.too_many_unknowns")
    every = [term.name for term in rows.terms] + ([] if problem.known else [RESIDUAL])
    told = {name: float(value) * unit2 for name, value in zip(names, point.variances, strict=True) if name not in same}
    intervals = {name: _interval(name, limits, unit2, rows, reasons) if _asked(name, profile) else None for name in every}
    if not profile:
        reasons["variance_intervals"] = NOT_ASKED
    else:
        reasons |= {f"variance_intervals.{name}": NOT_ASKED for name in every if not _asked(name, profile)}
    only = OnlyVariancesFitted(
        variances={name: told.get(name) for name in every},
        variance_intervals=intervals,
        effects=_effects(rows, terms, problem, point, columns, same),
        variance_covariance=frozen(W * unit2**2),
        log_likelihood=_log_likelihood(problem, point),
        convergence=_convergence(found, point),
        reasons=reasons,
        rows=rows.n,
        criterion=rows.criterion,
        level=rows.level,
    )
    if not full_rank:
        return only
    return CrossedFitted(
        **vars(only),
        coefficients=frozen(inference.coefficients),
        standard_errors=frozen(np.sqrt(np.diag(inference.covariance))),
        covariance=frozen(inference.covariance),
        df=frozen(degrees_of_freedom_each(inference.covariance, inference.slopes, W * unit2**2, rows.n)),
        adjusted_covariance=None if inference.adjusted is None else frozen(inference.adjusted),
        covariance_slopes=frozen(inference.slopes),
        units=rows.n,
    )


def _interval(name: str, limits: dict[str, Limits], unit2: float, rows: Rows, reasons: dict[str, str]) -> Interval | None:
    one = limits.get(name)
    if one is None or one.low is None or one.high is None:
        why = one.reason if one else reasons.get(f"variances.{name}") or Reason("crossed.not_converged")
        reasons[f"variance_intervals.{name}"] = why
        return None
    return Interval(one.low * unit2, one.high * unit2, rows.level, f"profile-{rows.criterion}")


def _effects(
    rows: Rows, terms: list[Term], problem: Problem, point: Point, columns: Array, same: Mapping[str, str]
) -> dict[str, Effects | None]:
    parts = [mixed_inference.split_by_term(problem.system, part) for part in mixed_inference.effects(problem, point, columns)]
    by_name: dict[str, Effects | None] = {term.name: None for term in rows.terms}
    for k, term in enumerate(terms):
        if term.name not in same:
            by_name[term.name] = Effects(term.levels, *(frozen(part[k]) for part in parts))
    return by_name


def _log_likelihood(problem: Problem, point: Point) -> float:
    system, m = problem.system, problem.weight
    constant = m * np.log(2 * np.pi) + system.log_det_v + 2 * m * np.log(system.unit)
    return float(-0.5 * (point.deviance + constant + (system.log_det_back if problem.restricted else 0.0)))


def _convergence(found: Found, point: Point) -> CrossedConvergence:
    slope = float(np.abs(point.gradient * point.variances).max(initial=0.0))
    return CrossedConvergence(found.converged, found.steps, found.evaluations, slope, found.message)
