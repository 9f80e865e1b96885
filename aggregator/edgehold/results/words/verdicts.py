"""A verdict in plain words, and the sentence on one contrast that begins with it.

The browser tells the same from the same patterns (site/pages/assets/form/sentences.js).
"""

from __future__ import annotations

import math

from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable
from edgehold.estimates.verdict import BETTER, NONE, NOTHING_WORTH_HAVING, ONE_SIDED, SIZE_UNDECIDED, UNDECIDED, WORSE
from edgehold.records.model.protocol import EndpointRule
from edgehold.words import Reason

from .sentences import NAMED, amount, compared, difference, inside, ratio_text, sides, topic

OPEN = {UNDECIDED: "undecided", NOTHING_WORTH_HAVING: "nothing", ONE_SIDED: "one_sided", NONE: "none", "": "no_ratio"}
CLEAR = frozenset({BETTER, WORSE, SIZE_UNDECIDED})
"""Verdicts that say which of the two did better: their words name both."""


def kind_of(contrast: Contrast) -> str:
    """The code of a contrast's verdict; empty where it has none."""
    return "" if isinstance(contrast, ContrastNotEstimable) else contrast.verdict.kind


def verdict_words(contrast: Contrast, rule: EndpointRule) -> Reason:
    """What a contrast comes to, to begin a sentence with.

    Parameters
    ----------
    contrast : with its verdict, of ``estimates.verdict``; only its code is asked.
    rule : the endpoint; a life is told in "longer", all others in "sharper".
    """
    kind = kind_of(contrast)
    if kind not in CLEAR:
        return Reason(f"own_answer.verdict_{OPEN[kind]}")
    if kind == SIZE_UNDECIDED:
        how = "less_open" if isinstance(contrast, ContrastEstimated) and contrast.estimate < 0 else "more_open"
    else:
        how = "better" if kind == BETTER else "worse"
    second = sides(contrast.factor, contrast.first, contrast.second)["second"]
    return Reason(f"own_answer.verdict_{topic(rule.kind)}_{how}", first=_first(contrast.factor, contrast.first), second=second)


def _first(factor: str, name: str) -> str:
    """How one side is called where a sentence begins with it."""
    return Reason(f"own_answer.named_{factor}_first", name=name) if factor in NAMED else name


def own_sentence(contrast: Contrast, rule: EndpointRule, unit: str, excluding: bool = True) -> Reason:
    """What one submission says about one contrast, its verdict first: a ratio; a bound, or why there is neither.

    Parameters
    ----------
    contrast, rule : of one endpoint.
    unit : of work.
    excluding : whether the difference that the verdict rules out shall be told, too.
    """
    names = {"opening": inside(rule, unit), **sides(contrast.factor, contrast.first, contrast.second)}
    verdict = verdict_words(contrast, rule)
    if isinstance(contrast, ContrastEstimated):
        return _with_ratio(contrast, rule, verdict, names, excluding)
    if isinstance(contrast, ContrastBounded):
        figure = amount(math.exp(contrast.bound.ratio))
        return Reason(f"own_answer.told_{topic(rule.kind)}_bound", verdict=verdict, **names, side=contrast.bound.kind, figure=figure)
    return Reason("own_answer.told_no_ratio", verdict=verdict, **names, reason=contrast.reason)


def _with_ratio(contrast: ContrastEstimated, rule: EndpointRule, verdict: Reason, names: dict[str, str], excluding: bool) -> Reason:
    """A ratio with its interval; where the verdict names both sides, they are not named again."""
    clear = kind_of(contrast) in CLEAR
    low, high = (difference(rule.kind, math.exp(end)) for end in (contrast.interval.low, contrast.interval.high))
    figures = {"compared": compared(rule.kind, math.exp(contrast.estimate), "_end" if clear else ""), "low": low, "high": high}
    told = {"verdict": verdict, **({"opening": names["opening"]} if clear else names), **figures}
    excludes = contrast.verdict.excludes if excluding else math.inf
    middle = "_clear" if clear else ""
    if math.isinf(excludes):
        return Reason(f"own_answer.told{middle}", **told)
    return Reason(f"own_answer.told{middle}_and_excluded", **told, excluded=ratio_text(excludes))


def side_words(factor: str, name: str, kind: str) -> Reason:
    """What a bar's end means: the side that does better there."""
    short = Reason(f"own_answer.short_{factor}", name=name) if factor in NAMED else name
    return Reason(f"own_answer.side_{topic(kind)}", name=short)


def figures_text(ratio: float | None, low: float | None, high: float | None) -> Reason:
    """A ratio with its interval, or the bound that is known of it, in few signs."""
    end = "" if ratio is not None else "_at_least" if low is not None else "_at_most" if high is not None else "_none"
    return Reason(f"own_answer.cell{end}", ratio=ratio_text(ratio), low=ratio_text(low), high=ratio_text(high))
