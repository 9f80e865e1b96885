"""Numbers, names and openings in sentences, and the sentences that several parts of the results share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated
from edgehold.estimates.verdict import BETTER, NOTHING_WORTH_HAVING, SIZE_UNDECIDED, UNDECIDED, WORSE
from edgehold.records.model.protocol import EndpointRule
from edgehold.records.units import plural
from edgehold.results.model.numbers import PUBLISHED_DIGITS
from edgehold.words import Reason, together

if TYPE_CHECKING:
    from edgehold.results.model.answers import Answer
    from edgehold.results.model.ratio import RatioInterval
    from edgehold.results.model.results import EndpointResult

LEAST_TIMES = 100  # per cent: from this difference on "times as", below it per cent
NAMED = ("practice", "sharpener", "level")  # factors whose sides are called by more than a name
ENDINGS = {
    BETTER: "beyond",
    WORSE: "beyond",
    NOTHING_WORTH_HAVING: "ruled_out",
    SIZE_UNDECIDED: "size_undecided",
    UNDECIDED: "undecided",
}


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
    return Reason("own_answer.unbounded") if ratio is None or math.isinf(ratio) else Reason("own_answer.times", figure=amount(ratio))


def end_text(ratio: float | None, open_end: str = "unbounded") -> str:
    """One end of an interval; ``open_end`` names the pattern for one that there is not."""
    return Reason(f"own_answer.{open_end}") if ratio is None else amount(ratio)


def figures(result: RatioInterval, open_end: str = "unbounded") -> dict[str, str]:
    """A ratio with its interval, for the places of a pattern."""
    low, high = end_text(result.low, open_end), end_text(result.high, open_end)
    return {"ratio": ratio_text(result.ratio), "level": f"{100 * result.level:g}", "low": low, "high": high}


def compared(kind: str, ratio: float, ending: str = "") -> Reason:
    """A ratio as people say it, to stand between two names.

    Parameters
    ----------
    kind : of the endpoint; a life is told in "longer", all others in "sharper".
    ratio : positive.
    ending : of the pattern's name; ``_end`` for what stands alone.

    Examples
    --------
    >>> str(compared("level", 1.12)), str(compared("level", 0.9)), str(compared("life", 2.6))
    ('was 12 % sharper than', 'was 10 % less sharp than', 'lasted 2.6 times as long as')
    """
    percent = round(settled(abs(ratio - 1) * 100))
    how = "same" if percent == 0 else "less" if ratio < 1 else "times" if percent >= LEAST_TIMES else "more"
    return Reason(f"own_answer.{topic(kind)}_{how}{ending}", figure=amount(ratio) if how == "times" else percent)


def topic(kind: str) -> str:
    """What an endpoint is told in: a life in "longer", all others in "sharper"."""
    return "life" if kind == "life" else "other"


def difference(kind: str, ratio: float) -> Reason:
    """One end of an interval as people say it.

    Examples
    --------
    >>> str(difference("level", 0.95)), str(difference("life", math.inf))
    ('5 % less sharp', 'no upper limit')
    """
    return Reason("own_answer.without_limit") if math.isinf(ratio) else compared(kind, ratio, "_end")


def named(factor: str, name: str) -> str:
    """How one side of a comparison is called in a sentence."""
    return Reason(f"own_answer.named_{factor}", name=name) if factor in NAMED else name


def sides(factor: str, first: str, second: str) -> dict[str, str]:
    """Both sides of a comparison, for the places of a pattern."""
    return {"first": named(factor, first), "second": named(factor, second)}


def when(rule: EndpointRule, unit: str) -> Reason:
    """Which part of the dulling an endpoint speaks of, to open a sentence with."""
    return Reason(f"own_answer.opening_{rule.kind}", **_course(rule, unit))


def inside(rule: EndpointRule, unit: str) -> Reason:
    """The same inside a sentence."""
    return Reason(f"own_answer.inside_{rule.kind}", **_course(rule, unit))


def _course(rule: EndpointRule, unit: str) -> dict[str, str]:
    """The unit of work and where on it an endpoint is read, for the places of a pattern."""
    at, start, end = ("" if value is None else f"{value:g}" for value in (rule.at, rule.start, rule.end))
    return {"unit": plural(unit), "at": at, "start": start, "end": end}


def studies_joined(submissions: int, studies: int) -> Reason:
    """How many studies some submissions are, where people and blades in common join them."""
    return Reason(f"studies_answer.{'each_a_study' if studies == submissions else 'joined'}", studies=studies)


def verdict_ending(kind: str) -> str:
    """What a verdict comes to; empty for one that comes to nothing."""
    return Reason(f"studies_answer.{ENDINGS[kind]}") if kind in ENDINGS else ""


def figure_sentence(contrast: Contrast, rule: EndpointRule, unit: str) -> Reason:
    """What some runs say about one contrast, no verdict: a ratio; a bound, or why there is neither."""
    names = {"opening": when(rule, unit), **sides(contrast.factor, contrast.first, contrast.second)}
    if isinstance(contrast, ContrastEstimated):
        low, high = (difference(rule.kind, math.exp(end)) for end in (contrast.interval.low, contrast.interval.high))
        return Reason("own_answer.ratio", **names, compared=compared(rule.kind, math.exp(contrast.estimate)), low=low, high=high)
    if isinstance(contrast, ContrastBounded):
        figure = amount(math.exp(contrast.bound.ratio))
        return Reason(f"own_answer.{topic(rule.kind)}_bound", **names, side=contrast.bound.kind, figure=figure)
    return Reason("own_answer.no_ratio", **names, reason=contrast.reason)


def lead_answer(answers: Iterable[Answer]) -> Answer | None:
    """The answer that is quoted: on steels or classes rather than on single blades, from most submissions, the last by name of equals."""
    estimated = [one for one in answers if one.state == "estimated"]
    return max(estimated, key=lambda one: (one.general is None, one.direct_submissions, one.first, one.second), default=None)


def headline(submissions: int, quoted: Answer | None) -> str:
    """One sentence for a pool: the answer that is quoted, and how few submissions it rests on where they are few."""
    if submissions == 0:
        return Reason("studies_answer.nobody")
    few = {1: Reason("studies_answer.one_so_far"), 2: Reason("studies_answer.two_so_far")}.get(submissions, "")
    return together(few, quoted.sentence if quoted else Reason("studies_answer.nothing"))


def quoted_answer(factor: str, primary: EndpointResult) -> Answer | None:
    """The leading answer of a pool's primary endpoint, the first where none has a ratio; None where nothing is asked."""
    practice = [primary.practice] if primary.practice else []
    asked = {"sharpener": practice, "level": primary.levels}.get(factor) or primary.steels
    return lead_answer(asked) or next(iter(asked), None)
