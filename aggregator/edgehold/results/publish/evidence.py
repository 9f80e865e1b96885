"""Whose evidence stands behind an answer, and what hangs on whose results, as published."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypedDict

from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.answer import Compared, Estimated
from edgehold.pooling.bounded import Weighed
from edgehold.pooling.hierarchical import ContrastPosterior
from edgehold.pooling.left_out import Hanging, WithoutEach, invented_to_reverse
from edgehold.pooling.posterior_verdict import SAME, UNDECIDED, PosteriorVerdict
from edgehold.results.model.answers import HangsOn, StandsOn
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.words.evidence import evidence_sentence, hanging_sentence


def evidence(found: Weighed | None, answer: Estimated) -> StandsOn | None:
    """What stands behind an answer; None where nobody asked whose evidence it is."""
    if found is None:
        return None
    mixed = 0 < found.linked_files < found.files
    made = StandsOn(
        files=found.files,
        linked_files=found.linked_files,
        senders=found.senders,
        linked_senders=found.linked_senders,
        counted_percent=None if found.power is None else published(100 * found.power),
        alone=ratio_of(found.linked) if mixed and found.linked else None,
        everything=ratio_of(found.everything) if mixed and found.everything else None,
        evidence_sentence="",
    )
    return made.model_copy(update={"evidence_sentence": evidence_sentence(made, answer.verdict is not None)})


class Judged(TypedDict):
    """A verdict and the probabilities behind it, as published."""

    verdict: str
    probability_better: float | None
    probability_within: float | None
    probability_worse: float | None
    ruled_out_beyond: float | None


def judged(verdict: PosteriorVerdict | None) -> Judged:
    """What is published of a verdict; nothing where there is none."""
    if verdict is None:
        return Judged(verdict="", probability_better=None, probability_within=None, probability_worse=None, ruled_out_beyond=None)
    return Judged(
        verdict=verdict.kind,
        probability_better=published(verdict.better),
        probability_within=published(verdict.within),
        probability_worse=published(verdict.worse),
        ruled_out_beyond=published(verdict.excludes),
    )


def ratio_of(posterior: ContrastPosterior) -> RatioInterval:
    """Posterior median and interval of a ratio."""
    return ratio_interval(posterior.quantile(0.5), posterior.interval)


def hanging(
    all_of: Mapping[Compared, Hanging] | NotFitted, answer: Estimated, worthwhile: float, stands_on: StandsOn | None
) -> HangsOn | None:
    """What hangs on whose results; None where it was not worked out, or its numbers failed.

    Parameters
    ----------
    all_of : by what is compared.
    worthwhile : smallest ratio worth acting on.
    stands_on : of the same answer.
    """
    found = None if isinstance(all_of, NotFitted) else all_of.get(answer.compared)
    if found is None:
        return None
    senders, months = (_without(one, answer.estimate) for one in (found.by_sender, found.by_month))
    tails = None if found.tails is None else ratio_interval(found.tails.middle, found.tails.interval)
    counted = found.by_sender.groups if stands_on is None or not stands_on.linked_senders else stands_on.linked_senders
    verdict = None if answer.verdict is None or answer.verdict.kind == UNDECIDED else answer.verdict.kind
    step = math.log(worthwhile) if verdict == SAME else None
    made = HangsOn(
        senders_met=found.by_sender.groups,
        without_sender_low=senders[0],
        without_sender_high=senders[1],
        senders_needed=len(found.by_sender.needed),
        months_met=found.by_month.groups,
        without_month_low=months[0],
        without_month_high=months[1],
        months_needed=len(found.by_month.needed),
        heavy_tails=tails,
        heavy_tails_senders=found.alone,
        invented_to_reverse=None if verdict is None else invented_to_reverse(answer.estimate, counted, step),
        hanging_sentence="",
    )
    against = 2.0 if (answer.estimate > 0) == (step is not None) else 0.5
    return made.model_copy(update={"hanging_sentence": hanging_sentence(made, against)})


def _without(found: WithoutEach, estimate: float) -> tuple[float, float]:
    return needed(ratio(estimate + found.low)), needed(ratio(estimate + found.high))
