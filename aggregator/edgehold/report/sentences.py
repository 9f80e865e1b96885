"""What a report says that no other page does: the owner's sentence, and what a verdict comes to."""

from __future__ import annotations

import math

from edgehold.estimates import Contrast
from edgehold.estimates.verdict import NONE, ONE_SIDED
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.results.words.sentences import (
    VERDICT_ENDINGS,
    amount,
    bound_sentence,
    named,
    no_ratio_sentence,
    own_sentence,
    ratio_text,
    settled,
    when,
)

MOST_PERCENT = 200  # from this difference on "times as much"


def medium_word(protocol: Protocol) -> str:
    """What is cut, in a word: the medium's name up to its first comma."""
    return protocol.medium.name.split(",")[0].strip()


def share(ratio: float) -> str:
    """A ratio of amounts as people say it.

    Examples
    --------
    >>> share(1.4), share(0.95), share(2.1), share(3.46), share(1.0)
    ('40 % more', '5 % less', '110 % more', '3.46 times as much', 'as much')
    """
    percent = round(settled(abs(ratio - 1) * 100))
    if percent == 0:
        return "as much"
    if ratio > 1 and percent >= MOST_PERCENT:
        return f"{amount(ratio)} times as much"
    return f"{percent} % {'more' if ratio > 1 else 'less'}"


def owner_sentence(contrast: Contrast, rule: EndpointRule, protocol: Protocol) -> str:
    """How much more can be cut before the edge is as dull, from the ratio of two lives.

    The work to a common threshold is a ratio of work at the same sharpness; with a threshold relative to the start it is not, and the
    sentence says "has lost as much".
    """
    first, second = named(contrast.factor, contrast.first), named(contrast.factor, contrast.second)
    medium = medium_word(protocol)
    goal = "has lost as much of its sharpness" if rule.threshold is not None and rule.threshold.relative else "is as dull"
    if contrast.estimate is not None and contrast.interval is not None:
        low, high = _end(contrast.interval.low), _end(contrast.interval.high)
        told = f"about {share(math.exp(contrast.estimate))} {medium} before it {goal}; between {low} and {high}"
        return f"Beside {second}, {first} cuts {told}."
    if contrast.bound is not None:
        figure = amount(math.exp(contrast.bound.ratio))
        return f"Beside {second}, {first} cuts {contrast.bound.kind} {figure} times as much {medium} before it {goal}."
    return ""


def _end(ln_ratio: float) -> str:
    if math.isinf(ln_ratio):
        return "without limit" if ln_ratio > 0 else "nothing"
    return share(math.exp(min(ln_ratio, 700)))


def figure_sentence(contrast: Contrast, rule: EndpointRule, unit: str) -> str:
    """One figure of one comparison, without what it rules out."""
    opening = when(rule.kind, unit, rule.at, rule.start, rule.end)
    first, second = named(contrast.factor, contrast.first), named(contrast.factor, contrast.second)
    if contrast.estimate is not None and contrast.interval is not None:
        return own_sentence(opening, first, second, rule.kind, math.exp(contrast.estimate), contrast.interval, math.inf)
    if contrast.bound is not None:
        return bound_sentence(opening, first, second, rule.kind, contrast.bound.kind, math.exp(contrast.bound.ratio))
    return no_ratio_sentence(opening, first, second, contrast.reason)


def verdict_sentence(contrast: Contrast, rule: EndpointRule) -> str:
    """The verdict, and what it comes to."""
    held = f"{rule.title}, held against {ratio_text(rule.worthwhile_ratio)}"
    if contrast.verdict is None:
        return f"{held}: no verdict, because there is no ratio."
    kind = contrast.verdict.kind
    if kind in (ONE_SIDED, NONE):
        return f"{held}: no verdict, because only a bound is known." if kind == ONE_SIDED else f"{held}: no verdict, anything is possible."
    ending = VERDICT_ENDINGS[kind]
    if kind in ("better", "worse"):
        winner = contrast.first if kind == "better" else contrast.second
        return f"{held}: {named(contrast.factor, winner)} is better. {ending}"
    return f"{held}: {kind}. {ending}"
