"""Numbers in plain English. Every sentence that a page, the ledger or a terminal prints about a result is made here."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from edgehold.estimates.codes import moves_together
from edgehold.numerics.interval import Interval
from edgehold.records.units import UNITS_IN_SENTENCES as UNITS_IN_SENTENCES  # the browser's page fills these in as well
from edgehold.records.units import plural
from edgehold.results.model.numbers import PUBLISHED_DIGITS

if TYPE_CHECKING:
    from edgehold.results.model.answers import Answer
    from edgehold.results.model.results import EndpointResult

NOTHING_TO_COMPARE = "There is nothing to compare yet."


def amount(value: float) -> str:
    """A number with three significant digits, no exponent for everyday sizes.

    Examples
    --------
    >>> amount(12.345), amount(1234.5), amount(2e-5)
    ('12.3', '1230', '2.00e-05')
    """
    value = settled(value)
    if abs(value) >= 999.5 and abs(value) < 1e5:
        return f"{float(f'{value:.3g}'):.0f}"
    return f"{value:.3g}" if value == 0 or 1e-3 <= abs(value) < 1e5 else f"{value:.2e}"


def settled(value: float) -> float:
    """A value to the published digits, so that the last bits of two machines do not decide how it is rounded further."""
    return float(f"{value:.{PUBLISHED_DIGITS}g}")


def ratio_text(ratio: float | None) -> str:
    """A ratio such as "×1.32"; "unbounded" for a missing one."""
    words = PATTERNS["words"]
    return words["unbounded"] if ratio is None or math.isinf(ratio) else words["ratio"].format(figure=amount(ratio))


PATTERNS: dict[str, dict[str, str]] = {
    "opening": {
        "level": "After {at} {unit}",
        "window": "Averaged between {start} and {end} {unit}",
        "loss": "Counting only what is lost between {start} and {end} {unit}",
        "life": "Until the edge is dull",
    },
    "compared": {
        "life more": "lasted {figure} % longer than",
        "life less": "lasted {figure} % less long than",
        "life same": "lasted as long as",
        "life times": "lasted {figure} times as long as",
        "other more": "was {figure} % sharper than",
        "other less": "was {figure} % less sharp than",
        "other same": "was as sharp as",
        "other times": "was {figure} times as sharp as",
    },
    "bound": {
        "life": "lasted {side} {figure} times as long as {second}",
        "other": "was {side} {figure} times as sharp as {second}",
    },
    "one submission": {
        "ratio": "{opening}, {first} {compared} {second}; between {low} and {high}.",
        "ruled out": " These runs rule out a difference larger than {ratio} either way.",
        "bound": "{opening}, {first} {told}: every run of one of them ended before a figure could be had.",
        "no ratio": "{opening}, {first} and {second}: no ratio, because {reason}.",
    },
    "words": {
        "without limit": "without limit",
        "unbounded": "unbounded",
        "ratio": "×{figure}",
    },
    "named": {
        "practice": "the edge of a {name} sharpener",
        "sharpener": "the edge that {name} sharpened",
    },
}
"""What the page that answers in the browser fills in as well (site/pages/assets/form/sentences.js)."""
LEAST_TIMES = 100  # per cent: from this difference on "times as", below it per cent


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
    topic, percent = "life" if kind == "life" else "other", round(settled(abs(ratio - 1) * 100))
    if percent == 0:
        return PATTERNS["compared"][f"{topic} same"]
    if ratio > 1 and percent >= LEAST_TIMES:
        return PATTERNS["compared"][f"{topic} times"].format(figure=amount(ratio))
    return PATTERNS["compared"][f"{topic} {'more' if ratio > 1 else 'less'}"].format(figure=percent)


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
        return PATTERNS["words"]["without limit"]
    return compared(kind, ratio).split(" ", 1)[1].removesuffix(" than").removesuffix(" as")


def named(factor: str, name: str) -> str:
    """How one side of a comparison is called in a sentence."""
    return PATTERNS["named"].get(factor, "{name}").format(name=name)


def when(kind: str, unit: str, at: float | None, start: float | None, end: float | None) -> str:
    """Which part of the dulling an endpoint speaks of, to open a sentence with."""
    figures = {name: "" if value is None else f"{value:g}" for name, value in (("at", at), ("start", start), ("end", end))}
    return PATTERNS["opening"][kind].format(unit=plural(unit), **figures)


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


def listed_sentence(opening: str, first: str, second: str, submissions: int, studies: int) -> str:
    """Fewer than three studies are listed, not pooled."""
    return (
        f"{opening}, {submissions} submissions compare {first} with {second}; {studies_joined(submissions, studies)}: "
        "they are listed, three studies are needed to pool."
    )


def studies_joined(submissions: int, studies: int) -> str:
    """How many studies some submissions are, where people and blades in common join them."""
    if studies == submissions:
        return f"they are {studies} studies"
    return f"people and blades in common make them {'one study' if studies == 1 else f'{studies} studies'}"


def single_sentence(opening: str, first: str, second: str) -> str:
    """One submission stands alone."""
    return f"{opening}, only one submission compares {first} with {second}: it stands for its own blades and people only."


def not_fitted_sentence(opening: str, first: str, second: str, reason: str) -> str:
    """Numbers failed."""
    return f"{opening}, {first} and {second} were compared, but the ratio was {reason}."


def not_estimable_sentence(opening: str, first: str, second: str, reasons: list[str], one_sided: int) -> str:
    """No ratio, and why."""
    if one_sided:
        where = "one submission that gives" if one_sided == 1 else f"{one_sided} submissions that give"
        return f"{opening}, {first} and {second} meet only in {where} a bound, not a ratio."
    why = (moves_together(reasons[0]) or reasons[0]) if reasons else "no submission has readings of both"
    return f"{opening}, {first} and {second} cannot be told apart: {why}."


def own_sentence(opening: str, first: str, second: str, kind: str, ratio: float, interval: Interval, excludes: float) -> str:
    """What one submission says by itself."""
    low, high = difference(kind, math.exp(interval.low)), difference(kind, math.exp(interval.high))
    patterns = PATTERNS["one submission"]
    told = patterns["ratio"].format(opening=opening, first=first, compared=compared(kind, ratio), second=second, low=low, high=high)
    return told + ("" if math.isinf(excludes) else patterns["ruled out"].format(ratio=ratio_text(excludes)))


def bound_sentence(opening: str, first: str, second: str, kind: str, side: str, bound: float) -> str:
    """What is left when every run of an arm is censored."""
    verb = PATTERNS["bound"]["life" if kind == "life" else "other"]
    told = verb.format(side=side, figure=amount(bound), second=second)
    return PATTERNS["one submission"]["bound"].format(opening=opening, first=first, told=told)


def no_ratio_sentence(opening: str, first: str, second: str, reason: str) -> str:
    """What one submission cannot say by itself, and why."""
    return PATTERNS["one submission"]["no ratio"].format(opening=opening, first=first, second=second, reason=reason)


def sharpening_sentence(practice: Answer | None) -> str:
    """How much sharpening mattered, or why that is not known."""
    return "Only one class of sharpeners is met here, so this cannot be said." if practice is None else practice.sentence


def lead_answer(answers: Iterable[Answer]) -> Answer | None:
    """The answer that is quoted: on steels or classes rather than on single blades, from most submissions, the last by name of equals."""
    estimated = [one for one in answers if one.state == "estimated"]
    return max(estimated, key=lambda one: (one.general is None, one.direct_submissions, one.first, one.second), default=None)


def headline(submissions: int, quoted: Answer | None) -> str:
    """One sentence for a pool: the answer that is quoted, and how few submissions it rests on where they are few."""
    if submissions == 0:
        return "Nobody has sent in a result yet."
    few = {1: "One submission so far. ", 2: "Two submissions so far. "}.get(submissions, "")
    return f"{few}{quoted.sentence if quoted else NOTHING_TO_COMPARE}"


def quoted_answer(factor: str, primary: EndpointResult) -> Answer | None:
    """The leading answer of a pool's primary endpoint, the first where none has a ratio; None where nothing is asked."""
    asked = [primary.practice] if factor == "sharpener" and primary.practice else list(primary.steels)
    return lead_answer(asked) or next(iter(asked), None)
