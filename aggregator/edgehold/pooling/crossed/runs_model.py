"""One model of all runs of a pool: steels and protocol versions fixed, people, blades and how they suit each other random.

What stands in it, and what may be said of it, is decided from the labels alone, before any value is looked at: an interval shown
only where the estimate came out large would hold the truth too seldom. The arithmetic is in ``crossed`` and ``censored_crossed``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from edgehold.numerics.arrays import Array, Labels
from edgehold.numerics.interval import Interval
from edgehold.pooling.random_terms import TermsHeld, stands_for
from edgehold.pooling.separability import LARGEST_CV, PEOPLE, SPLIT, ContrastVerdict, Separability, separability
from edgehold.words import Reason

from .censored import MOST_ONE_SIDED
from .inputs import RESIDUAL
from .max_t import max_t_quantile
from .new_hands import RUNS, NewHands, lacking, new_hands
from .results import CrossedFitted, settled
from .runs_design import OWN, FixedPart, Runs, checked_runs, fixed_part, too_many_levels
from .runs_fit import Difference, coefficient_covariance, difference, fit_runs
from .working_values import WorkingValues


@dataclass(frozen=True)
class _Variance:
    """One variance, whether it is estimated or not.

    Attributes
    ----------
    name : the random term, or ``"residual"``.
    holds : what the variance stands for where other terms could not be told from it; empty where for itself alone.
    levels : levels met; for the residual, runs.
    """

    name: str
    holds: str
    levels: int


@dataclass(frozen=True)
class VarianceEstimated(_Variance):
    """A variance with an estimate.

    Attributes
    ----------
    variance : ln units squared. Zero is an estimate like any other.
    share : of the variance of one run, all random terms together; None where these are all zero.
    interval : profile interval; None where it was not asked for or not found.
    """

    variance: float
    share: float | None
    interval: Interval | None


@dataclass(frozen=True)
class VarianceBounded(_Variance):
    """A variance of which no more than an upper limit is to be said.

    Attributes
    ----------
    reason : why there is no estimate.
    upper : upper limit of its profile interval; None where that was not asked for.
    """

    reason: str
    upper: float | None


@dataclass(frozen=True)
class VarianceNotEstimable(_Variance):
    """A variance of which nothing is known.

    Attributes
    ----------
    reason : why.
    """

    reason: str


TermVariance = VarianceEstimated | VarianceBounded | VarianceNotEstimable


@dataclass(frozen=True)
class _TwoSteels:
    """One steel against another, whether that is estimated or not.

    Attributes
    ----------
    first, second : the difference is first minus second.
    told : ``"yes"``, ``"weak"`` or ``"no"``, judged with the people as fixed.
    reason : why not ``"yes"``; empty otherwise.
    """

    first: str
    second: str
    told: str
    reason: str


@dataclass(frozen=True)
class SteelsNotEstimated(_TwoSteels):
    """Two steels without a difference: they cannot be told apart, or nothing was fitted."""


@dataclass(frozen=True)
class SteelsEstimated(_TwoSteels):
    """Two steels with a difference.

    Attributes
    ----------
    result : the difference.
    simultaneous : interval that holds for all pairs at once.
    new_hands, new_hands_measured : predictions for new blades in new hands, and for what they would read with
        ``new_hands.RUNS`` runs on each steel; None where the runs do not hold every variance these rest on.
    """

    result: Difference
    simultaneous: Interval
    new_hands: NewHands | None
    new_hands_measured: NewHands | None


SteelDifference = SteelsEstimated | SteelsNotEstimated


@dataclass(frozen=True, eq=False)
class _RunsModel:
    """One model of all runs, fitted or not.

    Attributes
    ----------
    runs, one_sided : runs in it, and those of them known to one side only.
    fixed : effects that stand in it beside the constant.
    not_held : what was asked for and could not be held, by name, with its reason.
    """

    runs: int
    one_sided: int
    fixed: tuple[str, ...]
    not_held: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class RunsModelNotFitted(_RunsModel):
    """A model that was not fitted.

    Attributes
    ----------
    reason : why.
    apart : what the runs can tell apart; None where that could not be judged.
    steels : every pair of known steels.
    """

    reason: str
    apart: Separability | None
    steels: tuple[SteelsNotEstimated, ...]


@dataclass(frozen=True, eq=False)
class RunsModelFitted(_RunsModel):
    """A model that was fitted.

    Attributes
    ----------
    terms : random terms held.
    fit : by ``fit_runs``.
    values : the runs as values with known variances about the fit, for further fits; None where they are not available.
    apart : what the runs can tell apart.
    variances : by name, the residual last.
    steels : every pair of known steels.
    steels_typical : median absolute difference between two steels met, sampling variance taken out; None below three.
    own : edges sharpened by the tester against others; None where it cannot be told.
    """

    terms: tuple[str, ...]
    fit: CrossedFitted
    values: WorkingValues | None
    apart: Separability
    variances: Mapping[str, TermVariance]
    steels: tuple[SteelDifference, ...]
    steels_typical: float | None
    own: Difference | None


RunsModel = RunsModelFitted | RunsModelNotFitted


def runs_model(low: ArrayLike, high: ArrayLike, labels: Mapping[str, Labels], *, level: float = 0.95, profile: bool = True) -> RunsModel:
    """Fit all runs of one endpoint in one model, and say of it only what the runs can tell.

    Parameters
    ----------
    low, high : (n,) the endpoint lies between them, ln scale; equal where exact, ±infinity where open, never both at once.
    labels : by factor, one label a run; see ``runs_design.checked_runs``.
    level : of all intervals.
    profile : whether to compute intervals of the variances, by far the longest part; without, no limit is given.

    Returns
    -------
    RunsModel

    Raises
    ------
    InputError
        As ``runs_design.checked_runs``.

    Notes
    -----
    Fixed: protocol MINOR, steel, own sharpening where it can be told. Random: sharpener, tester, blade, batch (from two known),
    submission, steel × sharpener, steel × tester, of which aliased ones are dropped by ``terms_held``. Sharpeners' and
    testers' variances follow ``separability``'s verdict on their split: no number, or upper limits only. Any other variance
    that would be known to no better than its own size (cv > 1, at the variances assumed) is given as an upper limit. Covariance of
    coefficients with the Kenward–Roger correction where it is available.
    """
    return model_of(checked_runs(low, high, labels), level=level, profile=profile)


def model_of(runs: Runs, *, level: float = 0.95, profile: bool = True) -> RunsModel:
    """``runs_model`` for runs already checked."""
    n, open_runs = len(runs.low), int(runs.one_sided.sum())
    reason = Reason("crossed.no_values") if n == 0 else too_many_levels(runs)
    if reason:
        return unfitted(reason, runs)
    fixed = fixed_part(runs)
    apart = separability(_judged(runs, fixed), of=("steel", SPLIT))
    if open_runs > MOST_ONE_SIDED * n:
        reason = Reason("crossed.one_sided_share", one_sided=open_runs, runs=n, most=100 * MOST_ONE_SIDED)
        return _unfitted(reason, runs, fixed, apart)
    held = apart.split.terms
    fitted = fit_runs(runs, fixed.X, held.held, level=level, profile=profile)
    fit = settled(fitted.fit)
    if isinstance(fit, str):
        return _unfitted(fit, runs, fixed, apart)
    covariance = coefficient_covariance(fit)
    told = _variances(runs, held, apart, fit, profile)
    return RunsModelFitted(
        runs=n,
        one_sided=open_runs,
        fixed=fixed.effects,
        not_held=_not_held(fixed, held),
        terms=held.held,
        fit=fit,
        values=fitted.values,
        apart=apart,
        variances=told,
        steels=_steels(runs, fixed, held, apart, fit, covariance),
        steels_typical=_typical(runs, fixed, apart, fit, covariance),
        own=_own(fixed, fit, covariance),
    )


def _judged(runs: Runs, fixed: FixedPart) -> dict[str, Labels]:
    """Labels as the model has them, for the verdicts."""
    labels: dict[str, Labels] = {"steel": runs.steel, "version": runs.version, **runs.groups()}
    return labels | ({OWN: runs.own} if OWN in fixed.effects else {})


def _not_held(fixed: FixedPart, held: TermsHeld) -> dict[str, str]:
    return dict(fixed.not_held) | {term.name: term.reason for term in held.dropped}


def unfitted(reason: str, runs: Runs) -> RunsModelNotFitted:
    """No model, and no word on what the runs can tell apart, because numbers failed."""
    n = len(runs.low)
    return _unfitted(reason, runs, FixedPart(np.zeros((n, 0)), np.zeros((n, 0)), (), np.zeros(0, bool), (), {}), None)


def _unfitted(reason: str, runs: Runs, fixed: FixedPart, apart: Separability | None) -> RunsModelNotFitted:
    verdict = apart.contrasts["steel"] if apart else None
    return RunsModelNotFitted(
        runs=len(runs.low),
        one_sided=int(runs.one_sided.sum()),
        fixed=fixed.effects,
        not_held=_not_held(fixed, apart.split.terms) if apart else {},
        reason=reason,
        apart=apart,
        steels=tuple(SteelsNotEstimated(a, b, *_told(verdict, a, b)) for a, b in combinations(runs.steels, 2)),
    )


# ---- variances ---------------------------------------------------------------------------------------------------------------


def _variances(runs: Runs, held: TermsHeld, apart: Separability, fit: CrossedFitted, profile: bool) -> dict[str, TermVariance]:
    levels = {name: len(np.unique(labels)) for name, labels in runs.groups().items()} | {RESIDUAL: len(runs.low)}
    return {name: _variance((name, _holds(name, held), found), held, apart, fit, profile) for name, found in levels.items()}


def _variance(of: tuple[str, str, int], held: TermsHeld, apart: Separability, fit: CrossedFitted, profile: bool) -> TermVariance:
    name = of[0]
    if name in PEOPLE and apart.split.verdict == "no":
        return VarianceNotEstimable(*of, apart.split.reason)
    if name in PEOPLE and apart.split.verdict != "yes":
        return _bounded(of, apart.split.reason, fit, profile)
    for term in held.dropped:
        if term.name == name:
            return VarianceNotEstimable(*of, term.reason)
    value = fit.variances[name]
    if value is None:
        return VarianceNotEstimable(*of, fit.reasons.get(f"variances.{name}") or Reason("crossed.variance_not_told"))
    cv = held.cv.get(name, 0.0)
    if cv > LARGEST_CV:
        return _bounded(of, Reason("crossed.variance_rough", percent=100 * cv), fit, profile)
    whole = sum(one for one in fit.variances.values() if one is not None)
    return VarianceEstimated(*of, value, value / whole if whole > 0 else None, fit.variance_intervals[name])


def _bounded(of: tuple[str, str, int], reason: str, fit: CrossedFitted, profile: bool) -> VarianceBounded | VarianceNotEstimable:
    """The upper limit of a variance of which no more is to be said."""
    if not profile:
        return VarianceBounded(*of, reason, None)
    interval = fit.variance_intervals.get(of[0])
    if interval is None or np.isinf(interval.high):
        return VarianceNotEstimable(*of, fit.reasons.get(f"variance_intervals.{of[0]}") or Reason("crossed.no_upper_limit"))
    return VarianceBounded(*of, reason, interval.high)


def _holds(name: str, held: TermsHeld) -> str:
    return held.holds.get(name, "") if len(stands_for(name, held.dropped)) > 1 else ""


# ---- steels ------------------------------------------------------------------------------------------------------------------


def _told(verdict: ContrastVerdict | None, first: str, second: str) -> tuple[str, str]:
    """Whether the runs can tell two steels, and why not or what weakens it."""
    if verdict is None:
        return "no", Reason("crossed.not_judged")
    told, reason = verdict.linked(first, second)
    if told != "no" and verdict.pair(first, second) == "no":
        return "no", Reason("crossed.single_blade")
    return told, reason


def _pairs(runs: Runs, fixed: FixedPart, apart: Separability) -> Iterator[tuple[str, str, str, str, Array | None]]:
    """Every pair of known steels with its verdict, its reason and its contrast, None where there is to be no figure."""
    verdict = apart.contrasts["steel"]
    for first, second in combinations(runs.steels, 2):
        told, reason = _told(verdict, first, second)
        c = fixed.steel_contrast(first, second) if told != "no" else None
        yield first, second, told, reason, c


def _steels(
    runs: Runs, fixed: FixedPart, held: TermsHeld, apart: Separability, fit: CrossedFitted, covariance: Array
) -> tuple[SteelDifference, ...]:
    told, complete = list(_pairs(runs, fixed, apart)), not lacking(held)
    results = [difference(fit, c, covariance) for *_, c in told if c is not None]
    contrasts = [c for *_, c in told if c is not None]
    estimated = zip(results, simultaneous(results, np.array(contrasts), covariance, fit.level), strict=True)
    return tuple(
        SteelsNotEstimated(first, second, "no", reason)
        if c is None
        else _steels_estimated((first, second, said, reason), c, *next(estimated), complete, fit, covariance)
        for first, second, said, reason, c in told
    )


def _steels_estimated(
    of: tuple[str, str, str, str], c: Array, result: Difference, at_once: Interval, complete: bool, fit: CrossedFitted, covariance: Array
) -> SteelsEstimated:
    new = new_hands(fit, c, result.estimate, covariance, result.interval.half_width) if complete else None
    read = new_hands(fit, c, result.estimate, covariance, new.interval.half_width, RUNS) if new else None
    return SteelsEstimated(*of, result, at_once, new, read)


def simultaneous(results: Sequence[Difference], contrasts: Array, covariance: Array, level: float) -> list[Interval]:
    """Intervals that hold for all differences at once, each with its own degrees of freedom (as Games & Howell 1976, Journal of
    Educational Statistics 1:113–125, use them with the studentised range), the quantile from ``max_t_quantile``.

    Parameters
    ----------
    results : m differences.
    contrasts : (m, p).
    covariance : (p, p) of the coefficients.
    level : aimed at.
    """
    if not results:
        return []
    joint = contrasts @ covariance @ contrasts.T
    root = np.sqrt(np.diag(joint))
    if not (root > 0).all():
        return [one.interval for one in results]
    correlation, found = joint / np.outer(root, root), []
    for one in results:
        half = max(one.standard_error * max_t_quantile(correlation, one.df, level), one.interval.half_width)
        found.append(Interval(one.estimate - half, one.estimate + half, level, "max-t"))
    return found


def _typical(runs: Runs, fixed: FixedPart, apart: Separability, fit: CrossedFitted, covariance: Array) -> float | None:
    """Root of the median over pairs of d² − se², at least 0: E(d²) is the true difference squared and se²."""
    if len(runs.steels) < 3:
        return None
    told = [difference(fit, c, covariance) for *_, c in _pairs(runs, fixed, apart) if c is not None]
    if len({name for first, second, *_, c in _pairs(runs, fixed, apart) if c is not None for name in (first, second)}) < 3:
        return None
    return float(np.sqrt(max(0.0, np.median([one.estimate**2 - one.standard_error**2 for one in told]))))


def _own(fixed: FixedPart, fit: CrossedFitted, covariance: Array) -> Difference | None:
    c = fixed.contrast({OWN: 1.0}) if OWN in fixed.effects else None
    return None if c is None else difference(fit, c, covariance)
