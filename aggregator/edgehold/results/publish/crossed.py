"""The model of all runs as published. Effects of people leave only as a spread."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.inputs import RESIDUAL
from edgehold.pooling.crossed.new_hands import RUNS
from edgehold.pooling.crossed.practice_by_steel import PracticeBySteel
from edgehold.pooling.crossed.runs_design import OWN
from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.crossed.runs_model import (
    RunsModelFitted,
    SteelDifference,
    SteelsEstimated,
    TermVariance,
    VarianceBounded,
    VarianceEstimated,
)
from edgehold.pooling.crossed.steel_by_level import SteelByLevel
from edgehold.pooling.crossed.within_submissions import WithinSubmissions
from edgehold.pooling.gather.all_runs import AllRuns
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.analyses import CrossedContrast, CrossedResult, LevelContrast, PracticeContrast, Spread
from edgehold.results.model.numbers import published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.words.crossed import (
    fixed_words,
    level_sentence,
    matters_sentence,
    practice_sentence,
    roles_sentence,
    spread_sentence,
    within_note,
)
from edgehold.results.words.sentences import when
from edgehold.words import Reason

from .fields import TOLD, one_of
from .reasons import reasoned

CRITERIA: tuple[Literal["reml", "ml"], ...] = ("reml", "ml")
TYPICAL, MOST = 0.954, 2.77  # √2 times the median and the 95 % point of a normal's absolute value: differences of two
RUN_TO_RUN = "run-to-run"


def crossed_result(found: AllRuns, rule: EndpointRule, unit: str) -> CrossedResult:
    """One model of all runs, published.

    Parameters
    ----------
    found : what pooling found.
    rule, unit : the endpoint and the unit of work, for the sentences.
    """
    model = found.model
    within = {(one.first, one.second): one for one in found.within}
    opening = when(rule, unit)
    fitted, why = (model, "") if isinstance(model, RunsModelFitted) else (None, model.reason)
    spreads, typical = (_spreads(fitted.variances), ratio(fitted.steels_typical)) if fitted else ((), None)
    own = fitted.own if fitted else None
    return CrossedResult(
        state="fitted" if fitted else "not fitted",
        **reasoned(_reason(found, rule)),
        runs=model.runs,
        one_sided=model.one_sided,
        left_out=found.left_out,
        fixed=fixed_words(model.fixed),
        not_held=tuple(f"{name}: {reason}" for name, reason in model.not_held.items()),
        criterion=one_of(fitted.fit.criterion, CRITERIA) if fitted else "",
        log_likelihood=published(fitted.fit.log_likelihood) if fitted else None,
        converged=fitted is not None,
        sentence=matters_sentence(spreads, typical) if fitted else Reason("all_runs.not_fitted", reason=why),
        spreads=spreads,
        steels_typical=typical,
        own_sharpening=_difference(own),
        own_sharpening_note=Reason("all_runs.own_note") if own else model.not_held.get(OWN, ""),
        contrasts=tuple(_contrast(one, within.get((one.first, one.second))) for one in model.steels),
        new_hands_runs=RUNS,
        practice=tuple(_practice(one, opening, rule.kind) for one in found.practice),
        by_level=tuple(_level(one, opening, rule.worthwhile_ratio) for one in found.levels),
        two_roles=roles_sentence(found.roles),
    )


def _reason(found: AllRuns, rule: EndpointRule) -> str:
    """Why there is no fit, or what limits it."""
    model = found.model
    if isinstance(model, RunsModelFitted):
        known = Reason("published.known_to_one_side", one_sided=model.one_sided, runs=model.runs)
        return known if model.one_sided else ""
    if model.one_sided and rule.kind == "life":
        return Reason("all_runs.sharpness_tells_more", reason=model.reason)
    return model.reason


def _spreads(variances: Mapping[str, TermVariance]) -> tuple[Spread, ...]:
    """By name, run-to-run last."""
    order = sorted(variances, key=lambda name: (name == RESIDUAL, name))
    return tuple(_spread(variances[name]) for name in order)


def _spread(told: TermVariance) -> Spread:
    if isinstance(told, VarianceEstimated):
        low, high = (told.interval.low, told.interval.high) if told.interval else (None, None)
        return _published_spread(told, "given", "", told.variance, low, high, told.share)
    if isinstance(told, VarianceBounded) and told.upper is not None:
        return _published_spread(told, "upper limit only", told.reason, high=told.upper)
    return _published_spread(told, "no number", told.reason)


def _published_spread(
    told: TermVariance,
    state: Literal["given", "upper limit only", "no number"],
    reason: str,
    variance: float | None = None,
    low: float | None = None,
    high: float | None = None,
    share: float | None = None,
) -> Spread:
    sd, sd_low, sd_high = (None if value is None else math.sqrt(value) for value in (variance, low, high))
    spread = Spread(
        what=RUN_TO_RUN if told.name == RESIDUAL else told.name,
        state=state,
        **reasoned(reason),
        holds=told.holds,
        ln_sd=published(sd),
        ln_sd_low=published(sd_low),
        ln_sd_high=published(sd_high),
        typical_ratio=_scaled(TYPICAL, sd),
        typical_low=_scaled(TYPICAL, sd_low),
        typical_high=_scaled(TYPICAL, sd_high),
        most_ratio=_scaled(MOST, sd),
        share_percent=None if share is None else published(100 * share),
        levels=told.levels,
        sentence="",
    )
    return spread.model_copy(update={"sentence": spread_sentence(spread)})


def _scaled(factor: float, sd: float | None) -> float | None:
    return None if sd is None else ratio(factor * sd)


def _difference(one: Difference | None) -> RatioInterval | None:
    return None if one is None else ratio_interval(one.estimate, one.interval)


def _about(one: SteelsEstimated | None, limits: Interval | None) -> RatioInterval | None:
    return None if one is None or limits is None else ratio_interval(one.result.estimate, limits)


def _contrast(one: SteelDifference, within: WithinSubmissions | None) -> CrossedContrast:
    told = one if isinstance(one, SteelsEstimated) else None
    result, hands = (told.result, (told.new_hands, told.new_hands_measured)) if told else (None, (None, None))
    new_hands, measured = (_about(told, made.interval if made else None) for made in hands)
    return CrossedContrast(
        first=one.first,
        second=one.second,
        told=one_of(one.told, TOLD),
        **reasoned(one.reason),
        result=_difference(result),
        standard_error=published(result.standard_error) if result else None,
        df=published(result.df) if result else None,
        simultaneous=_about(told, told.simultaneous if told else None),
        new_hands=new_hands,
        new_hands_measured=measured,
        within=None if within is None or within.all_there_is else _difference(within.result),
        within_note=within_note(within),
        headline="within submissions" if within is not None and within.disagrees else "all runs",
    )


def _practice(one: PracticeBySteel, opening: str, kind: str) -> PracticeContrast:
    practised, novice, both = (None if one.interaction is None else _difference(d) for d in (one.practised, one.novice, one.interaction))
    figures = (practised, novice, both) if practised is not None and novice is not None and both is not None else None
    return PracticeContrast(
        first=one.first,
        second=one.second,
        practised=practised,
        novice=novice,
        ratio_of_ratios=both,
        sentence=practice_sentence(one, opening, kind, figures),
    )


def _level(one: SteelByLevel, opening: str, step: float) -> LevelContrast:
    result = None
    if one.slope is not None:
        size, limits = math.log(step), one.slope.interval
        interval = Interval(size * limits.low, size * limits.high, limits.level, limits.method)
        result = ratio_interval(size * one.slope.estimate, interval)
    return LevelContrast(
        first=one.first,
        second=one.second,
        sharpeners=one.sharpeners,
        step=step,
        result=result,
        reliability_percent=None if one.reliability is None else published(100 * one.reliability),
        **reasoned(one.reason),
        sentence=level_sentence(one, opening, step, result),
    )
