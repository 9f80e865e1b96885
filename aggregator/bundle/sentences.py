"""Numbers in plain English. Every sentence that a page, the ledger or a terminal prints about a result is made here."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from aggregator.numerics.interval import Interval

if TYPE_CHECKING:
    from aggregator.records.model.protocol import EndpointRule

    from .model import Comparison, EndpointResult


def amount(value: float) -> str:
    """A number with three significant digits, no exponent for everyday sizes."""
    return f"{value:.3g}" if value == 0 or 1e-3 <= abs(value) < 1e5 else f"{value:.2e}"


def ratio_text(ratio: float | None) -> str:
    """A ratio such as "×1.32"; "unbounded" for a missing one."""
    return "unbounded" if ratio is None or math.isinf(ratio) else f"×{amount(ratio)}"


PHRASES = {
    "life": ("lasted {} % longer than", "lasted {} % less long than", "lasted as long as", "lasted {} times as long as"),
    "other": ("was {} % sharper than", "was {} % less sharp than", "was as sharp as", "was {} times as sharp as"),
}


def compared(kind: str, ratio: float) -> str:
    """A ratio as people say it, to stand between two names.

    Parameters
    ----------
    kind : of the endpoint; a life is told in "longer", all others in "sharper".
    ratio : positive.

    Examples
    --------
    >>> compared("level", 1.12)
    'was 12 % sharper than'
    >>> compared("level", 0.9)
    'was 10 % less sharp than'
    >>> compared("life", 2.6)
    'lasted 2.6 times as long as'
    """
    more, less, same, times = PHRASES.get(kind, PHRASES["other"])
    percent = round(abs(ratio - 1) * 100)
    if percent == 0:
        return same
    if ratio >= 2:
        return times.format(amount(ratio))
    return (more if ratio > 1 else less).format(percent)


def difference(kind: str, ratio: float) -> str:
    """One end of an interval as people say it.

    Examples
    --------
    >>> difference("level", 0.95)
    '5 % less sharp'
    >>> difference("life", math.inf)
    'without limit'
    """
    if math.isinf(ratio):
        return "without limit"
    return compared(kind, ratio).split(" ", 1)[1].removesuffix(" than").removesuffix(" as")


def named(factor: str, name: str) -> str:
    """How one side of a comparison is called in a sentence."""
    return f"the edge of a {name} sharpener" if factor == "practice" else name


def plural(unit: str) -> str:
    """A unit of work as it stands behind a number."""
    return {"cut": "cuts"}.get(unit, unit)


def when(kind: str, unit: str, at: float | None, start: float | None, end: float | None) -> str:
    """Which part of the dulling an endpoint speaks of, to open a sentence with."""
    unit = plural(unit)
    if kind == "level":
        return f"After {at:g} {unit}"
    if kind == "window":
        return f"Averaged between {start:g} and {end:g} {unit}"
    if kind == "loss":
        return f"Counting only what is lost between {start:g} and {end:g} {unit}"
    return "Until the edge is dull"


VERDICT_ENDINGS = {
    "better": "That is beyond the smallest difference worth acting on.",
    "worse": "That is beyond the smallest difference worth acting on.",
    "no difference worth having": "A difference worth acting on is ruled out.",
    "different, size undecided": "They differ; whether by enough to act on is undecided.",
    "undecided": "Which of the two is better is undecided.",
}


def pooled_sentence(opening: str, first: str, second: str, kind: str, interval: Interval, ratio: float, studies: int, verdict: str) -> str:
    """The answer of a pooled comparison, with how sure it is and what that comes to."""
    low, high = math.exp(interval.low), math.exp(interval.high)
    return (
        f"{opening}, {first} {compared(kind, ratio)} {second} (ratio {ratio_text(ratio)}, "
        f"{100 * interval.level:g} % interval {amount(low)} to {amount(high)}, {studies} studies). {VERDICT_ENDINGS.get(verdict, '')}"
    ).rstrip()


def listed_sentence(opening: str, first: str, second: str) -> str:
    """Two studies are listed, not pooled."""
    return f"{opening}, two studies compare {first} with {second}: both are listed, two are too few to pool."


def single_sentence(opening: str, first: str, second: str) -> str:
    """One study stands alone."""
    return f"{opening}, only one study compares {first} with {second}: it stands for its own blades and people only."


def not_estimable_sentence(opening: str, first: str, second: str, reasons: list[str], one_sided: int) -> str:
    """No ratio, and why."""
    if one_sided:
        where = "one submission that gives" if one_sided == 1 else f"{one_sided} submissions that give"
        return f"{opening}, {first} and {second} meet only in {where} a bound, not a ratio."
    why = reasons[0].removeprefix("cannot be told apart: ") if reasons else "no submission has readings of both"
    return f"{opening}, {first} and {second} cannot be told apart: {why}."


def own_sentence(opening: str, first: str, second: str, kind: str, ratio: float, interval: Interval, excludes: float) -> str:
    """What one submission says by itself."""
    between = f"between {difference(kind, math.exp(interval.low))} and {difference(kind, math.exp(interval.high))}"
    ruled = f" These runs rule out a difference larger than {ratio_text(excludes)} either way."
    return f"{opening}, {first} {compared(kind, ratio)} {second}; {between}.{'' if math.isinf(excludes) else ruled}"


def bound_sentence(opening: str, first: str, second: str, kind: str, side: str, bound: float) -> str:
    """What is left when every run of an arm is censored."""
    verb = "lasted {} {} times as long as {}" if kind == "life" else "was {} {} times as sharp as {}"
    told = verb.format(side, amount(bound), second)
    return f"{opening}, {first} {told}: every run of one of them ended before a figure could be had."


def sharpening_sentence(practice: Comparison | None, rule: EndpointRule, unit: str) -> str:
    """How much sharpening mattered, or why that is not known."""
    if practice is None:
        return "No submission has edges of both novice and practised sharpeners, so this cannot be said."
    return practice.sentence


def headline(factor: str, submissions: int, endpoints: tuple[EndpointResult, ...]) -> str:
    """One sentence for a pool: from its primary endpoint, the comparison with the most studies."""
    if submissions == 0:
        return "Nobody has sent in a result yet."
    primary = next(e for e in endpoints if e.primary)
    comparisons = [primary.practice] if factor == "sharpener" and primary.practice else list(primary.steels)
    pooled = [c for c in comparisons if c is not None and c.state == "pooled"]
    if pooled:
        return max(pooled, key=lambda c: (c.studies, c.first, c.second)).sentence
    if submissions == 1:
        return "One submission so far: it stands for its own blades and people, and is not pooled."
    if submissions == 2:
        return "Two submissions so far: both are listed; two are too few to pool."
    return "No comparison has three studies yet: what there is, is listed."
