"""What a report says that no other page does: the owner's sentence, and what a verdict comes to."""

from __future__ import annotations

import math

from edgehold.cards.told import MOST_PERCENT
from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated
from edgehold.estimates.verdict import BETTER, NONE, ONE_SIDED, WORSE
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.results.words.sentences import amount, named, ratio_text, settled, sides, verdict_ending
from edgehold.results.words.verdicts import CLEAR, kind_of, verdict_words
from edgehold.words import Reason, together

HELD = {BETTER: "better", WORSE: "better", ONE_SIDED: "one_sided", NONE: "none", "": "no_ratio"}


def medium_word(protocol: Protocol) -> str:
    """What is cut, in a word: the medium's name up to its first comma."""
    return protocol.medium.name.split(",")[0].strip()


def share(ratio: float) -> Reason:
    """A ratio of amounts as people say it.

    Examples
    --------
    >>> [str(share(ratio)) for ratio in (1.4, 0.95, 2.1, 3.46, 1.0)]
    ['40 % more', '5 % less', '110 % more', '3.46 times as much', 'as much']
    """
    percent = round(settled(abs(ratio - 1) * 100))
    how = "same" if percent == 0 else "less" if ratio < 1 else "times" if percent >= MOST_PERCENT else "more"
    return Reason(f"report.share_{how}", figure=amount(ratio) if how == "times" else percent)


def owner_sentence(contrast: Contrast, rule: EndpointRule, protocol: Protocol) -> str:
    """The verdict on two lives, then how much more can be cut before the edge is as dull, from their ratio.

    The work to a common threshold is a ratio of work at the same sharpness; with a threshold relative to the start it is not, and the
    sentence says "has lost as much".
    """
    verdict, medium = verdict_words(contrast, rule), medium_word(protocol)
    names = {"verdict": verdict, "medium": medium, **sides(contrast.factor, contrast.first, contrast.second)}
    relative = "_relative" if rule.threshold is not None and rule.threshold.relative else ""
    if isinstance(contrast, ContrastEstimated):
        low, high = _end(contrast.interval.low), _end(contrast.interval.high)
        figures = {"medium": medium, "ratio": share(math.exp(contrast.estimate)), "low": low, "high": high}
        if kind_of(contrast) in CLEAR:
            return Reason(f"report.owner_clear{relative}", verdict=verdict, **figures)
        return Reason(f"report.owner{relative}", **(names | figures))
    if isinstance(contrast, ContrastBounded):
        figure = amount(math.exp(contrast.bound.ratio))
        return Reason(f"report.owner_bound{relative}", **names, side=contrast.bound.kind, figure=figure)
    return ""


def _end(ln_ratio: float) -> Reason:
    if math.isinf(ln_ratio):
        return Reason("own_answer.without_limit" if ln_ratio > 0 else "report.share_nothing")
    return share(math.exp(min(ln_ratio, 700)))


def verdict_sentence(contrast: Contrast, rule: EndpointRule) -> str:
    """The verdict, and what it comes to."""
    kind = kind_of(contrast)
    winner = named(contrast.factor, contrast.second if kind == WORSE else contrast.first)
    held = Reason(
        f"report.held_{HELD.get(kind, 'other')}", title=rule.title, ratio=ratio_text(rule.worthwhile_ratio), kind=kind, winner=winner
    )
    return together(held, verdict_ending(kind))
