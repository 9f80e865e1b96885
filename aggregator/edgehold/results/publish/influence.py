"""What was asked of the studies of one pooled comparison, published."""

from __future__ import annotations

import math
from typing import Literal

from edgehold.pooling.pairwise.cluster_robust import LEAST_CLUSTERS, ClusterRobust
from edgehold.pooling.pairwise.influence import Influence, NoInfluence
from edgehold.pooling.pairwise.random_effects import RandomEffectsFit, StudiesPooled
from edgehold.pooling.pairwise.small_study import LEAST_STUDIES, SmallStudyTest
from edgehold.pooling.pairwise.study_checks import StudyChecks
from edgehold.pooling.pairwise.trim_and_fill import TrimAndFill
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.model.studies import ByPeople, SmallStudies, StudyChecksResult, StudyInfluence
from edgehold.results.words.sentences import amount, ratio_text
from edgehold.words import Reason, together

from .reasons import reasoned

SIDES: dict[str | None, Literal["lower", "higher"]] = {"left": "lower", "right": "higher"}
FEW_STUDIES = Reason("published.few_studies")
FEW_CLUSTERS = Reason("published.few_clusters")
CHANCE = 0.1  # p below which small studies are said to differ (common practice, the test having little power)


def study_checks_result(found: StudyChecks | None, fit: StudiesPooled) -> StudyChecksResult | None:
    """Influence of single studies, small studies and clusters of people; None where their numbers failed.

    Parameters
    ----------
    found : what pooling found.
    fit : of all studies.
    """
    if found is None:
        return None
    studies = tuple(_study(*one) for one in zip(found.numbers, found.influence, found.without, strict=True))
    most = None if found.most is None else studies[found.most]
    return StudyChecksResult(
        sentence=_sentence(most, ratio(float(fit.coefficients[0])), fit.studies),
        most=None if most is None else most.study,
        studies=studies,
        small_studies=_small_studies(found.small_studies, found.filled, fit),
        by_people=_by_people(found.by_people),
    )


def _study(number: int, measures: Influence | NoInfluence, without: RandomEffectsFit | Reason) -> StudyInfluence:
    fit = None if isinstance(without, Reason) else without
    told = measures if isinstance(measures, Influence) else None
    return StudyInfluence(
        study=number,
        hat_percent=needed(published(100 * measures.hat)),
        ratio_without=None if fit is None else ratio(float(fit.coefficients[0])),
        without=pooled_ratio(fit),
        studentised_residual=None if told is None else published(told.studentised_residual),
        cooks_distance=None if told is None else published(told.cooks_distance),
        covariance_ratio=None if told is None else published(told.covariance_ratio),
        tau_without=None if told is None else published(math.sqrt(told.tau2_without)),
        **reasoned(without if isinstance(without, Reason) else "" if isinstance(measures, Influence) else measures.reason),
    )


def pooled_ratio(fit: RandomEffectsFit | None) -> RatioInterval | None:
    """The ratio that studies give together; None where they are not pooled."""
    return ratio_interval(float(fit.coefficients[0]), fit.intervals[0]) if isinstance(fit, StudiesPooled) else None


def _sentence(most: StudyInfluence | None, whole: float | None, studies: int) -> str:
    if most is None or most.ratio_without is None:
        return Reason("study_checks.most_unknown")
    one = most.without
    ratios = {"without": ratio_text(most.ratio_without), "whole": ratio_text(whole)}
    if one is None or one.low is None or one.high is None:
        return Reason("study_checks.most_no_interval", study=most.study, **ratios, studies=studies - 1)
    limits = {"level": f"{100 * one.level:g}", "low": amount(one.low), "high": amount(one.high)}
    return Reason("study_checks.most", study=most.study, **ratios, **limits)


def _small_studies(test: SmallStudyTest | Reason, filled: TrimAndFill | Reason, fit: StudiesPooled) -> SmallStudies:
    if isinstance(test, Reason):
        reason = FEW_STUDIES if fit.studies < LEAST_STUDIES else test
        return SmallStudies(
            state="not asked", **reasoned(reason), slope=None, standard_error=None, df=None, p=None, limit=None, missing=None, side="",
            filled=None, sentence=Reason("study_checks.not_asked", reason=reason),
        )  # fmt: skip
    if isinstance(filled, Reason):
        missing, side, added, lacking = None, None, None, Reason("study_checks.lacking_unknown", reason=filled)
    else:
        missing, side, added = filled.missing, filled.side, pooled_ratio(filled.fit)
        lacking = _filled(filled, added, ratio(float(fit.coefficients[0])))
    return SmallStudies(
        state="asked",
        **reasoned(""),
        slope=published(test.slope),
        standard_error=published(test.standard_error),
        df=published(test.df),
        p=published(test.p),
        limit=ratio_interval(test.limit, test.limit_interval),
        missing=missing,
        side=SIDES[side] if missing else "",
        filled=added,
        sentence=together(_asymmetry(test), lacking),
    )


def _asymmetry(test: SmallStudyTest) -> Reason:
    how = "alike" if test.p >= CHANCE else "higher" if test.slope > 0 else "lower"
    return Reason(f"study_checks.small_{how}", p=test.p)


def _filled(filled: TrimAndFill, added: RatioInterval | None, whole: float | None) -> Reason:
    if filled.missing == 0 or added is None:
        return Reason("study_checks.lacking_none")
    ratios = {"added": ratio_text(added.ratio), "whole": ratio_text(whole)}
    return Reason(f"study_checks.lacking_{SIDES[filled.side]}", missing=filled.missing, **ratios)


def _by_people(found: ClusterRobust) -> ByPeople:
    interval = found.intervals[0]
    few = FEW_CLUSTERS if found.clusters < LEAST_CLUSTERS else found.reasons[0]
    return ByPeople(
        clusters=found.clusters,
        result=None if interval is None else ratio_interval(float(found.coefficients[0]), interval),
        standard_error=None if interval is None else published(found.standard_errors[0]),
        df=None if interval is None else published(found.df[0]),
        **reasoned("" if interval is not None else few),
    )
