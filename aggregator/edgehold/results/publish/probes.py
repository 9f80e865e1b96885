"""What the probes find, as published; and how much of it chance would bring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.probes.probes import CHANCE, ProbeAnswer, found_something
from edgehold.pooling.probes.register import AGREEMENT, SPREAD, STEELS_AT_EQUAL
from edgehold.pooling.probes.runs import ANSWERED, NOT_FITTED, TOO_LITTLE
from edgehold.results.model.analyses import ProbeResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.words.sentences import amount, compared, ratio_text

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
    probe, result = answer.probe, answer.result
    return ProbeResult(
        id=probe.id,
        question=probe.question,
        endpoint=answer.endpoint,
        estimand=probe.estimand,
        state=one_of(answer.state, PROBE_STATES),
        **reasoned(answer.reason),
        result=ratio_interval(result.estimate, result.interval) if result else None,
        p=published(answer.p),
        runs=answer.runs,
        submissions=answer.submissions,
        sentence=_sentence(answer, kind),
        does_not_show=probe.does_not_show,
    )


def _sentence(answer: ProbeAnswer, kind: str) -> str:
    told = _answered(answer, needed(answer.result), kind) if answer.state == ANSWERED else _not_answered(answer)
    return f"{told}. {answer.remark[:1].upper()}{answer.remark[1:]}." if answer.remark else f"{told}."


def _not_answered(answer: ProbeAnswer) -> str:
    if answer.state == NOT_FITTED:
        return f"The question was {answer.reason}"
    return f"{'Too little to say' if answer.state == TOO_LITTLE else 'It cannot be told'}: {answer.reason}"


def _answered(answer: ProbeAnswer, result: Difference, kind: str) -> str:
    probe, interval = answer.probe, result.interval
    value, low, high = (math.exp(part) for part in (result.estimate, interval.low, interval.high))
    shown = f"ratio {ratio_text(value)}, {100 * interval.level:g} % interval {amount(low)} to {amount(high)}"
    first, second = answer.pair or (probe.subject, probe.other)
    told = f"{first} {compared(kind, value)} {second} ({shown})"
    if probe.measures == STEELS_AT_EQUAL:
        return f"{probe.subject}, {told}"
    if probe.measures == SPREAD:
        told = f"{probe.subject} typically differ by {shown.removeprefix('ratio ')}"
    elif probe.measures == AGREEMENT:
        told = f"{probe.subject} multiplies the ratio of {first} to {second} by {shown.removeprefix('ratio ')}"
    return f"{told}; {'more than chance would bring in one probe of twenty' if needed(answer.p) < CHANCE else 'that could well be chance'}"


def probes_sentence(answers: Sequence[ProbeAnswer]) -> str:
    """How many probes of an effect find something, and how many would by chance; empty without probes.

    That an edge keener at the start is keener later goes without saying: that probe is not among them.
    """
    found, told = found_something(answers)
    if not answers:
        return ""
    if told == 0:
        return "Not one of these probes can be answered yet."
    probes = f"{told} probe" if told == 1 else f"{told} probes"
    return (
        f"{found} of {probes} {'finds' if found == 1 else 'find'} something at the {100 * CHANCE:g} % level; "
        f"{amount(CHANCE * told)} would by chance alone."
    )
