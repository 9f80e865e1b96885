"""One pooled comparison as published."""

from __future__ import annotations

import math
from typing import Literal

from edgehold.estimates import ContrastBounded, ContrastEstimated
from edgehold.estimates.codes import moves_together
from edgehold.numerics.interval import Interval
from edgehold.pooling.pairwise.comparisons import ComparisonPooled, Contribution, PooledComparison
from edgehold.pooling.pairwise.cumulative import Cumulative
from edgehold.pooling.pairwise.random_effects import PredictionInterval, StudiesPooled
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.numbers import published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.model.results import Comparison, Prediction, StudyLine
from edgehold.results.model.studies import CumulativeMonth
from edgehold.results.words.sentences import compared, figures, ratio_text, sides, studies_joined, verdict_ending, when
from edgehold.results.words.verdicts import kind_of
from edgehold.words import Reason, together

from .fields import STATES, one_of
from .influence import pooled_ratio, study_checks_result
from .own_interval import own_interval
from .reasons import caveat, reasoned

FACTORS: tuple[Literal["steel", "practice", "sharpener", "level"], ...] = ("steel", "practice", "sharpener", "level")
BOUNDS: tuple[Literal["at least", "at most"], ...] = ("at least", "at most")


def comparison_result(comparison: PooledComparison, rule: EndpointRule, unit: str, interests: dict[str, str]) -> Comparison:
    """A pooled comparison with its sentence, figures and lines.

    Parameters
    ----------
    comparison : what pooling found.
    rule, unit : the endpoint and the unit of work, for the sentence.
    interests : strongest interest named, by submission.
    """
    pooled = comparison if isinstance(comparison, ComparisonPooled) else None
    fit = pooled.fit if pooled else None
    spread, within = estimable_spread(fit) if fit else None, pooled.tau2_within_interval if pooled else None
    return Comparison(
        factor=one_of(comparison.factor, FACTORS),
        first=comparison.first,
        second=comparison.second,
        state="pooled" if isinstance(comparison, ComparisonPooled) else one_of(comparison.state, STATES),
        sentence=_sentence(comparison, rule, unit),
        verdict=pooled.verdict.kind if pooled else "",
        studies=comparison.studies,
        one_sided=comparison.one_sided,
        claim=_claim(comparison),
        versions=_versions(comparison),
        bounds_included=_bounds_included(comparison),
        interests=_interests(pooled) if pooled else "",
        without_interested=pooled_ratio(pooled.without_interested) if pooled else None,
        ruled_out_beyond=published(pooled.verdict.excludes) if pooled else None,
        blades_first=comparison.blades_first,
        blades_second=comparison.blades_second,
        testers=comparison.testers,
        checks=study_checks_result(pooled.checks, pooled.fit) if pooled else None,
        cumulative=tuple(map(_month, pooled.cumulative)) if pooled else (),
        lines=tuple(study_line(c, interests) for c in comparison.contributions),
        not_fitted=tuple(f"{what}: {why}" for what, why in comparison.not_fitted.items()),
        result=pooled_ratio(fit),
        ln_estimate=published(float(fit.coefficients[0])) if fit else None,
        ln_standard_error=published(float(fit.standard_errors[0])) if fit else None,
        df=published(fit.df) if fit else None,
        tau=_sd(fit.tau2 if fit else None),
        tau_low=_sd(spread.low if spread else None),
        tau_high=_sd(spread.high if spread else None),
        tau_within=_sd(pooled.tau2_within if pooled else None),
        tau_within_low=_sd(within.low if within else None),
        tau_within_high=_sd(within.high if within else None),
        i2_percent=published(100 * fit.i2) if fit else None,
        q=published(fit.q) if fit else None,
        q_df=fit.q_df if fit else None,
        q_p=published(fit.q_p) if fit else None,
        prediction=_prediction(fit.prediction, float(fit.coefficients[0])) if fit else None,
    )


def _sd(variance: float | None) -> float | None:
    return None if variance is None else published(math.sqrt(variance))


def estimable_spread(fit: StudiesPooled) -> Interval | None:
    """The interval of tau2 where it says anything: at [0, 0] the studies agree better than their variances say."""
    return fit.tau2_interval if fit.tau2_interval is not None and fit.tau2_interval.high > 0 else None


def _prediction(found: PredictionInterval | str, estimate: float) -> Prediction | None:
    if isinstance(found, str):
        return None
    return Prediction(result=ratio_interval(estimate, found), plug_in=ratio_interval(estimate, found.plug_in), **caveat(found.caveat))


def _month(of: Cumulative) -> CumulativeMonth:
    return CumulativeMonth(month=of.month, submissions=of.submissions, studies=of.studies, result=pooled_ratio(of.fit))


def _interests(comparison: ComparisonPooled) -> str:
    """With and without the submissions of makers and sellers, where these are half or more."""
    if not comparison.mostly_interested:
        return ""
    without = pooled_ratio(comparison.without_interested)
    if without is None:
        return Reason("studies_answer.few_without_interested")
    return Reason("studies_answer.without_interested", **figures(without))


def _bounds_included(comparison: PooledComparison) -> RatioInterval | None:
    found = comparison.bounds_included
    return ratio_interval(found.estimate, found.interval) if found else None


def _sentence(comparison: PooledComparison, rule: EndpointRule, unit: str) -> str:
    names = {"opening": when(rule, unit), **sides(comparison.factor, comparison.first, comparison.second)}
    if isinstance(comparison, ComparisonPooled):
        result = ratio_interval(float(comparison.fit.coefficients[0]), comparison.fit.intervals[0])
        told = {"compared": compared(rule.kind, result.ratio), **figures(result)}
        pooled = Reason("studies_answer.pooled", **names, **told, studies=comparison.studies)
        return together(pooled, verdict_ending(comparison.verdict.kind))
    if comparison.state == "listed":
        submissions = sum(c.variance is not None for c in comparison.contributions)
        joined = studies_joined(submissions, comparison.studies)
        return Reason("studies_answer.listed", **names, submissions=submissions, joined=joined)
    if comparison.state in ("not fitted", "single"):
        return Reason(f"studies_answer.{comparison.state.replace(' ', '_')}", **names, reason=comparison.reason)
    if comparison.one_sided:
        return Reason("studies_answer.bounds", **names, submissions=comparison.one_sided)
    contrasts = (c.contrast for c in comparison.contributions)
    reason = next((c.reason for c in contrasts if not isinstance(c, ContrastEstimated)), Reason("studies_answer.none_reads_both"))
    return Reason("studies_answer.not_apart", **names, reason=moves_together(reason) or reason)


def _claim(comparison: PooledComparison) -> str:
    """What the claim reaches: with one blade of a steel it speaks of that blade, not of the steel."""
    if comparison.factor == "practice":
        return Reason(f"studies_answer.claim_class_{'unknown' if comparison.sharpener_variance is None else 'known'}")
    if comparison.factor == "level":
        return ""
    few = [
        name for name, blades in ((comparison.first, comparison.blades_first), (comparison.second, comparison.blades_second)) if blades == 1
    ]
    return Reason("studies_answer.claim_blades", names=" and of ".join(few)) if few else ""


def _versions(comparison: PooledComparison) -> str:
    agreement = comparison.versions
    if agreement is None:
        return ""
    most = ratio_text(math.exp(agreement.difference))
    return Reason("studies_answer.versions", versions=" and ".join(agreement.versions), most=most, p=agreement.p)


def study_line(contribution: Contribution, interests: dict[str, str]) -> StudyLine:
    """What one submission says in one comparison."""
    contrast, estimate = contribution.contrast, contribution.estimate
    return StudyLine(
        submission=estimate.submission,
        cluster=contribution.study,
        month=estimate.month,
        result=own_interval(contrast),
        bound=one_of(contrast.bound.kind, BOUNDS) if isinstance(contrast, ContrastBounded) else None,
        bound_ratio=ratio(contrast.bound.ratio) if isinstance(contrast, ContrastBounded) else None,
        ln_estimate=published(contrast.estimate) if isinstance(contrast, ContrastEstimated) else None,
        ln_variance=published(contribution.variance),
        weight_percent=published(None if contribution.weight is None else 100 * contribution.weight),
        **reasoned("" if isinstance(contrast, ContrastEstimated) else contrast.reason),
        verdict=kind_of(contrast),
        runs_first=contrast.runs_first,
        runs_second=contrast.runs_second,
        blades_first=contrast.blades_first,
        blades_second=contrast.blades_second,
        interest=interests[estimate.submission],
    )
