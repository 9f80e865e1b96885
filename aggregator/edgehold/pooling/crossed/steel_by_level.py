"""Whether one steel's advantage over another changes with how good the sharpener is, as edges on other steels tell it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from edgehold.numerics.arrays import Array, Bools
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval
from edgehold.pooling.random_terms import terms_held
from edgehold.pooling.separability import crosses
from edgehold.words import Reason

from .results import CrossedFitted, settled
from .runs_design import FixedPart, Runs, fixed_part, independent_columns, too_many_levels
from .runs_fit import Difference, coefficient_covariance, difference
from .runs_model import RunsModel, RunsModelFitted, SteelsNotEstimated
from .working_values import WorkingValues, fit_working

LEAST_SHARPENERS = 8  # whose edges others tested too
LEVEL = "level"


@dataclass(frozen=True)
class SteelByLevel:
    """One pair of steels against the sharpener's level.

    Attributes
    ----------
    first, second : differences are first minus second.
    sharpeners : those who prepared both and whose level other runs tell.
    slope : change of the difference per unit of the sharpener's level, both on the ln scale; None where there is no figure.
    reliability : λ, the share of what other runs show of these sharpeners that is theirs and not chance; None without a figure.
    reason : why there is none; empty otherwise.
    """

    first: str
    second: str
    sharpeners: int
    slope: Difference | None
    reliability: float | None
    reason: str


@dataclass(frozen=True, eq=False)
class _Levels:
    """Calibrated levels by sharpener, λ of each, and the coefficient of variation of the variance they were shrunken with."""

    value: dict[str, float]
    reliability: dict[str, float]
    cv: float


def steel_by_level(runs: Runs, model: RunsModel) -> tuple[SteelByLevel, ...]:
    """Regress the difference of two steels on the sharpener's level, the level taken from runs of all other steels.

    Parameters
    ----------
    runs : what the model was fitted to.
    model : a fitted model.

    Returns
    -------
    One for every pair of steels that some sharpener prepared both of; empty where nothing was fitted.

    Notes
    -----
    Errors in variables by regression calibration (Carroll, Ruppert, Stefanski & Crainiceanu 2006, Measurement Error in Nonlinear
    Models, 2nd ed., ch. 4): the level stands as its expectation given the other runs, the sharpener's shrunken effect in a model of
    these alone. A plain mean of them would flatten the slope by λ = σ²/(σ² + v), v being its error variance (Spearman 1904, American
    Journal of Psychology 15:72–101); the shrunken effect is that mean times λ. What is left of the level after it joins the random
    terms of sharpeners and of steel × sharpener in the model of the pair's runs. The standard error takes in, by the delta method, that
    the σ² of λ was estimated: β²(1 − λ)²cv². Other steels' runs share no reading with the pair's, so that errors are not
    counted twice. Only from 8 sharpeners some of whose other edges cross (``separability.crosses``): else level and tester are one.
    """
    if not isinstance(model, RunsModelFitted):
        return ()
    met = {one: set(runs.sharpener[runs.steel == one].tolist()) for one in runs.steels}
    pairs = [pair for pair in combinations(runs.steels, 2) if met[pair[0]] & met[pair[1]]]
    return tuple(_pair(pair, met[pair[0]] & met[pair[1]], runs, model, model.fit.level) for pair in pairs)


def _pair(pair: tuple[str, str], both: set[str], runs: Runs, model: RunsModelFitted, level: float) -> SteelByLevel:
    others = ~np.isin(runs.steel, pair)
    crossing = set(runs.sharpener[others & crosses(runs.sharpener, runs.tester)].tolist())
    known = sorted(both & crossing)
    reason, values = _reason(pair, len(known), model), model.values
    if reason or values is None:
        return SteelByLevel(*pair, len(known), None, None, reason or Reason("crossed.levels_no_fit"))
    levels, reason = _levels(runs, model, level, values, others)
    if levels is None:
        return SteelByLevel(*pair, len(known), None, None, reason)
    rows = np.isin(runs.steel, pair) & np.isin(runs.sharpener, known)
    slope, reason = _slope(pair, runs.chosen(rows), model, level, _at(values, rows), levels)
    reliability = float(np.mean([levels.reliability[who] for who in known]))
    if slope is None:
        return SteelByLevel(*pair, len(known), None, None, reason)
    return SteelByLevel(*pair, len(known), _widened(slope, reliability, levels.cv), reliability, "")


def _reason(pair: tuple[str, str], known: int, model: RunsModelFitted) -> str:
    told = next(one for one in model.steels if (one.first, one.second) == pair)
    if isinstance(told, SteelsNotEstimated):
        return told.reason
    if known < LEAST_SHARPENERS:
        return Reason("crossed.level_few", sharpeners=known, needed=LEAST_SHARPENERS)
    if model.apart.split.verdict == "no":
        return Reason("crossed.roles_not_apart")
    return ""


def _at(values: WorkingValues, rows: Bools) -> WorkingValues:
    return WorkingValues(values.y[rows], None if values.extra is None else values.extra[rows], values.residual)


def _fit(runs: Runs, model: RunsModelFitted, level: float, values: WorkingValues, X: Array) -> tuple[CrossedFitted | None, set[str]]:
    """A fit of some of the runs with what they hold of the model's random terms, and what could not be told from the sharpeners."""
    groups = {name: labels for name, labels in runs.groups().items() if name in model.terms}
    held = terms_held(groups, X=X)
    fit = settled(fit_working(values, X, {name: groups[name] for name in held.held}, level=level))
    mixed = {one.name for one in held.dropped if "sharpener" in one.aliased_with} | {"sharpener"} - set(held.held)
    return (None if isinstance(fit, str) else fit), mixed


def _levels(runs: Runs, model: RunsModelFitted, level: float, values: WorkingValues, rows: Bools) -> tuple[_Levels | None, str]:
    """Sharpeners' shrunken effects in the runs of other steels, or why there are none."""
    chosen = runs.chosen(rows)
    if too_many_levels(chosen):
        return None, too_many_levels(chosen)
    fit, mixed = _fit(chosen, model, level, _at(values, rows), fixed_part(chosen).X)
    if fit is None:
        return None, Reason("crossed.level_others_no_fit")
    variance = fit.variances.get("sharpener")
    if mixed - {"steel × sharpener"} or variance is None:
        return None, Reason("crossed.level_unknown")
    if variance <= 0:
        return None, Reason("crossed.level_no_difference")
    effects, W = fit.effects["sharpener"], fit.variance_covariance
    if effects is None:
        return None, Reason("crossed.level_unknown")
    place = list(fit.variances).index("sharpener")
    left = np.minimum(effects.standard_errors**2 / variance, 1.0)
    levels = [str(one) for one in effects.levels]
    return _Levels(
        value=dict(zip(levels, effects.values.tolist(), strict=True)),
        reliability=dict(zip(levels, (1 - left).tolist(), strict=True)),
        cv=float(np.sqrt(W[place, place])) / variance,
    ), ""


def _slope(
    pair: tuple[str, str], runs: Runs, model: RunsModelFitted, level: float, values: WorkingValues, levels: _Levels
) -> tuple[Difference | None, str]:
    part = _with_level(runs, pair[1], np.array([levels.value[who] for who in runs.sharpener.tolist()]))
    c = part.contrast({f"{LEVEL} {pair[1]}": -1.0})
    if c is None:
        return None, Reason("crossed.level_not_apart")
    fit, _ = _fit(runs, model, level, values, part.X)
    if fit is None:
        return None, Reason("crossed.level_no_fit")
    return difference(fit, c, coefficient_covariance(fit)), ""


def _with_level(runs: Runs, second: str, level: Array) -> FixedPart:
    """The fixed part with a column for the level and one for its product with the second steel."""
    fixed = fixed_part(runs)
    full = np.column_stack([fixed.full, level, level * (runs.steel == second)])
    names = (*fixed.names, LEVEL, f"{LEVEL} {second}")
    kept = independent_columns(full)
    return FixedPart(full[:, kept], full, names, kept, fixed.effects, fixed.not_held)


def _widened(slope: Difference, reliability: float, cv: float) -> Difference:
    """With the uncertainty of λ: ∂ln λ/∂ln σ² = 1 − λ."""
    error = float(np.hypot(slope.standard_error, slope.estimate * (1 - reliability) * cv))
    half, level = error * float(t_ppf((1 + slope.interval.level) / 2, slope.df)), slope.interval.level
    method = f"{slope.interval.method}, calibrated"
    return Difference(slope.estimate, error, slope.df, Interval(slope.estimate - half, slope.estimate + half, level, method))
