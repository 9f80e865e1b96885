"""Probes of an effect, and of two steels at an equal value: a moderator beside the steels in one model of all runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from edgehold.numerics.arrays import Bools, Ints
from edgehold.numerics.distributions import t_sf
from edgehold.pooling.crossed.results import CrossedFitted
from edgehold.pooling.crossed.runs_design import FixedPart, independent_columns, too_many_levels
from edgehold.pooling.crossed.runs_fit import Difference, coefficient_covariance, difference
from edgehold.words import Reason

from .columns import Label
from .register import EFFECT, Probe
from .runs import (
    NOT_APART,
    TOO_LITTLE,
    Chosen,
    Ready,
    chosen,
    commonest_pair,
    fit_shared,
    submissions,
    told_beside_people,
    too_few,
)
from .start import calibrated, less_mean

MOVES_TOGETHER = Reason("probes.moves_together")
NO_PAIR = Reason("probes.no_pair")


@dataclass(frozen=True)
class Answered:
    """What a probe finds.

    Attributes
    ----------
    pair : the two arms, for a probe of steels at equal value or of agreement; None otherwise.
    result : ln ratio with its interval. That of a spread has no standard error: nan.
    p : two-sided p value against a ratio of 1; None for an adjusted estimand.
    runs, submissions : runs among which the moderator varies, and their submissions.
    """

    pair: tuple[str, str] | None
    result: Difference
    p: float | None
    runs: int
    submissions: int


@dataclass(frozen=True)
class Unanswered:
    """Why a probe finds nothing.

    Attributes
    ----------
    state : ``too little``, ``not told apart``, or ``not fitted`` where numbers failed.
    reason : why.
    runs, submissions : as in `Answered`.
    """

    state: str
    reason: str
    runs: int
    submissions: int


Found = Answered | Unanswered


@dataclass(frozen=True, eq=False)
class Model:
    """The model of the runs whose moderator is known.

    Attributes
    ----------
    informing, submissions : runs among which the moderator varies, and their submissions.
    taken, fixed : the runs and the headline's fixed part.
    names : columns of the fit, the moderator last.
    slope_variance : relative variance of the moderator's slope beside that of the fit.
    fit : of values of the runs.
    """

    informing: int
    submissions: int
    taken: Chosen
    fixed: FixedPart
    names: tuple[str, ...]
    slope_variance: float
    fit: CrossedFitted


def same_model(probe: Probe) -> object:
    """Probes that share this share their model."""
    return (
        probe.column, probe.within, probe.replaces, probe.beside, probe.informs, probe.reading_error, probe.least_runs,
        probe.least_submissions,
    )  # fmt: skip


def model(asked: Ready, probe: Probe) -> Model | Unanswered:
    """Fit the moderator beside the steels."""
    taken = chosen(asked, probe)
    informing = _informing(taken, probe)
    counts = (int(informing.sum()), submissions([row for row, there in zip(taken.rows, informing, strict=True) if there]))
    reason = too_few(taken, *counts, probe) or asked.reason or too_many_levels(taken.runs)
    if reason:
        return Unanswered(TOO_LITTLE, reason, *counts)
    fixed, sets = taken.fixed, _numbered(taken, probe.within)
    stands = fixed.kept & np.array([name != probe.replaces for name in fixed.names])
    moderator, slope_variance = taken.moderator.astype(float), 0.0
    if probe.reading_error:
        told = calibrated(moderator, np.array([row.start_se for row in taken.rows]), sets, fixed.full[:, stands])
        if isinstance(told, Reason):
            return Unanswered(TOO_LITTLE, told, *counts)
        moderator, slope_variance = told.values, told.slope_variance
    X = np.column_stack([fixed.full[:, stands], *(less_mean(column, sets) for column in (*taken.beside.T, moderator))])
    names = np.array([*np.array(fixed.names)[stands], *(name for name, _ in probe.beside), probe.id])
    kept = independent_columns(X)
    if not kept[-1] or not told_beside_people(X, taken.runs):
        return Unanswered(NOT_APART, MOVES_TOGETHER, *counts)
    fit = fit_shared(taken, taken.values, X[:, kept])
    if isinstance(fit, str):
        return Unanswered(TOO_LITTLE, fit, *counts)
    return Model(*counts, taken, fixed, tuple(names[kept].tolist()), slope_variance, fit)


def found_in(made: Model | Unanswered, probe: Probe) -> Found:
    """One probe's answer from its model."""
    if isinstance(made, Unanswered):
        return made
    counts = (made.informing, made.submissions)
    if probe.measures == EFFECT:
        c = np.append(np.zeros(len(made.names) - 1), probe.step)
        result = _wider(difference(made.fit, c, coefficient_covariance(made.fit)), made)
        return Answered(None, result, p_value(result), *counts)
    pair = commonest_pair(made.taken.runs)
    if pair is None or made.fixed.steel_contrast(*pair) is None:
        return Unanswered(NOT_APART, NO_PAIR, *counts)
    return Answered(pair, steels(made.fit, made.names, pair), None, *counts)


def steels(fit: CrossedFitted, names: Sequence[str], pair: tuple[str, str]) -> Difference:
    """One steel less another."""
    c = np.array([(name == f"steel {pair[0]}") - (name == f"steel {pair[1]}") for name in names], dtype=float)
    return difference(fit, c, coefficient_covariance(fit))


def p_value(result: Difference) -> float:
    """Two-sided, against no difference."""
    return float(2 * t_sf(abs(result.estimate) / result.standard_error, result.df))


def _wider(result: Difference, made: Model) -> Difference:
    """With the variance that comes from correcting for reading error."""
    if made.slope_variance == 0:
        return result
    error = float(np.hypot(result.standard_error, result.estimate * np.sqrt(made.slope_variance)))
    half = (result.interval.high - result.estimate) * error / result.standard_error
    interval = replace(result.interval, low=result.estimate - half, high=result.estimate + half)
    return replace(result, standard_error=error, interval=interval)


def _numbered(taken: Chosen, label: Label | None) -> Ints:
    """(n,) number of the set that each run is in."""
    labels = [None if label is None else label(row) for row in taken.rows]
    numbers = {one: i for i, one in enumerate(dict.fromkeys(labels))}
    return np.array([numbers[one] for one in labels], dtype=int)


def _informing(taken: Chosen, probe: Probe) -> Bools:
    """(n,) which runs stand in a set in which the moderator varies."""
    sets = _numbered(taken, probe.informs or probe.within)
    if len(sets) == 0:
        return np.zeros(0, dtype=bool)
    low, high = np.full(sets.max() + 1, np.inf), np.full(sets.max() + 1, -np.inf)
    np.minimum.at(low, sets, taken.moderator)
    np.maximum.at(high, sets, taken.moderator)
    varies: Bools = high > low
    return varies[sets]
