"""What the probes find, as published; and how much of it chance would bring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from edgehold.pooling.probes.effects import Answered, Unanswered
from edgehold.pooling.probes.probes import CHANCE, ProbeAnswer, found_something
from edgehold.pooling.probes.register import AGREEMENT, SPREAD, STEELS_AT_EQUAL, Probe
from edgehold.pooling.probes.runs import NOT_FITTED, TOO_LITTLE
from edgehold.results.model.analyses import ProbeResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.words.sentences import amount, compared, ratio_text
from edgehold.words import Reason, capital, together

from .fields import one_of
from .reasons import reasoned

PROBE_STATES: tuple[Literal["answered", "too little", "not told apart", "not fitted"], ...] = (
    "answered",
    "too little",
    "not told apart",
    "not fitted",
)


def probe_result(answer: ProbeAnswer, kind: str) -> ProbeResult:
    """One probe with its sentence.

    Parameters
    ----------
    answer : what pooling found.
    kind : of the endpoint; a life is told in "longer", all others in "sharper".
    """
    probe, found = answer.probe, answer.found
    told = found if isinstance(found, Answered) else None
    return ProbeResult(
        id=probe.id,
        question=probe.question,
        endpoint=answer.endpoint,
        estimand=probe.estimand,
        state=one_of("answered" if isinstance(found, Answered) else found.state, PROBE_STATES),
        **reasoned("" if isinstance(found, Answered) else found.reason),
        result=ratio_interval(told.result.estimate, told.result.interval) if told else None,
        p=published(told.p) if told else None,
        runs=found.runs,
        submissions=found.submissions,
        sentence=_sentence(answer, kind),
        does_not_show=probe.does_not_show,
    )


def _sentence(answer: ProbeAnswer, kind: str) -> str:
    found = answer.found
    told = _answered(answer.probe, found, kind) if isinstance(found, Answered) else _not_answered(found)
    return together(told, f"{capital(answer.remark)}." if answer.remark else "")


def _not_answered(found: Unanswered) -> Reason:
    how = {NOT_FITTED: "not_fitted", TOO_LITTLE: "too_little"}.get(found.state, "not")
    return Reason(f"probes.told_{how}", reason=found.reason)


def _answered(probe: Probe, found: Answered, kind: str) -> Reason:
    interval = found.result.interval
    value, low, high = (math.exp(part) for part in (found.result.estimate, interval.low, interval.high))
    first, second = found.pair or (probe.subject, probe.other)
    told = {STEELS_AT_EQUAL: "equal", SPREAD: "spread", AGREEMENT: "agreement"}.get(probe.measures, "effect")
    chance = "" if told == "equal" or needed(found.p) < CHANCE else "_by_chance"
    return Reason(
        f"probes.told_{told}{chance}",
        subject=probe.subject,
        first=first,
        second=second,
        compared=compared(kind, value),
        ratio=ratio_text(value),
        level=f"{100 * interval.level:g}",
        low=amount(low),
        high=amount(high),
    )


def probes_sentence(answers: Sequence[ProbeAnswer]) -> str:
    """How many probes of an effect find something, and how many would by chance; empty without probes.

    That an edge keener at the start is keener later goes without saying: that probe is not among them.
    """
    found, told = found_something(answers)
    if not answers:
        return ""
    if told == 0:
        return Reason("probes.none_answered")
    how = {0: "none", 1: "one"}.get(found, "some")
    return Reason(f"probes.found_{how}", found=found, probes=told, level=f"{100 * CHANCE:g}", by_chance=amount(CHANCE * told))
