"""Probes of a spread: how far levels without order, such as lots of the medium, lie apart."""

from __future__ import annotations

import numpy as np

from edgehold.numerics.arrays import Labels
from edgehold.numerics.distributions import chi2_sf
from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_differences import TYPICAL
from edgehold.pooling.crossed.results import CrossedFit, NothingFitted
from edgehold.pooling.crossed.runs_design import too_many_levels
from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.crossed.working_values import fit_working
from edgehold.pooling.random_terms import TermsHeld
from edgehold.words import Reason

from .effects import Answered, Found, Unanswered
from .register import LEAST_LEVELS, Probe
from .runs import LOT, NOT_APART, TOO_LITTLE, Ready, chosen, held_terms, shared_terms, submissions, too_few

NO_CHANCE = 1.0


def spread(asked: Ready, probe: Probe) -> Found:
    """How far two levels typically lie apart: 0.954σ with the profile interval of σ.

    p is that of the likelihood ratio against σ = 0, half that of χ² with one degree of freedom, as the variance lies at its border
    (Self & Liang 1987, J. Am. Stat. Assoc. 82:605–610, case 5; Stram & Lee 1994, Biometrics 50:1171–1177); 1 where the estimate is 0.
    """
    taken = chosen(asked, probe)
    counts, levels = (len(taken.rows), submissions(taken.rows)), len(set(taken.moderator.tolist()))
    reason = too_few(taken, *counts, probe, "probes.few_known") or _too_few_levels(levels) or asked.reason or too_many_levels(taken.runs)
    if reason:
        return Unanswered(TOO_LITTLE, reason, *counts)
    X = taken.fixed.X
    groups: dict[str, Labels] = {LOT: taken.moderator, **shared_terms(taken.rows, taken.runs)}
    held = held_terms(groups, X)
    reason = _entangled(held)
    if reason:
        return Unanswered(NOT_APART, reason, *counts)
    groups = {name: groups[name] for name in held.held}
    full = fit_working(taken.values, X, groups, profile=(LOT,), near=asked.near)
    without = fit_working(taken.values, X, {name: labels for name, labels in groups.items() if name != LOT}, near=asked.near)
    if isinstance(full, NothingFitted) or isinstance(without, NothingFitted):
        return Unanswered(TOO_LITTLE, _why(full), *counts)
    limits, variance = full.variance_intervals[LOT], full.variances[LOT]
    if limits is None or variance is None:
        return Unanswered(TOO_LITTLE, _why(full), *counts)
    rise = 2 * (full.log_likelihood - without.log_likelihood)
    return Answered(None, _typical(variance, limits), _p(variance, rise), *counts)


def _too_few_levels(levels: int) -> str:
    return "" if levels >= LEAST_LEVELS else Reason("probes.few_lots", lots=levels, wanted=LEAST_LEVELS)


def _entangled(held: TermsHeld) -> str:
    """Why the term cannot be told from others; empty where it can."""
    if LOT not in held.held:
        return next(term.reason for term in held.dropped if term.name == LOT)
    mixed = [term.name for term in held.dropped if LOT in term.aliased_with]
    return Reason("probes.not_apart", others=" and ".join(mixed)) if mixed else ""


def _why(full: CrossedFit) -> str:
    if isinstance(full, NothingFitted):
        return full.reason
    return full.reasons.get(f"variance_intervals.{LOT}") or full.reasons.get("convergence", Reason("probes.no_fit"))


def _typical(variance: float, limits: Interval) -> Difference:
    low, value, high = (TYPICAL * float(np.sqrt(v)) for v in (limits.low, variance, limits.high))
    return Difference(value, float("nan"), float("nan"), Interval(low, high, limits.level, limits.method))


def _p(variance: float, rise: float) -> float:
    return float(chi2_sf(rise, 1) / 2) if variance > 0 and rise > 0 else NO_CHANCE
