"""Numbers, counts and names as the pages print them. Formatting only: nothing here estimates anything."""

from __future__ import annotations

import re

from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Comparison, EndpointResult, Pool
from edgehold.results.words.sentences import amount, ratio_text

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
APART = {"yes": "yes", "weak": "in part", "no": "no"}
INTERESTS = {
    "none": "no interest in any blade",
    "owner": "owns a blade",
    "maker": "makes blades",
    "seller": "sells blades",
    "not stated": "interest not stated",
}
OBJECTION_STATES = {
    "open": "not decided yet, or opened again on new evidence",
    "upheld and unresolved": "found to hold, and not cured yet",
    "revised": "led to a change of the method",
    "rebutted": "shown not to hold",
    "withdrawn": "taken back",
    "struck": "out of order: the number and the reason stay, the text does not",
}
LEVELS = {
    "major": "Results are never pooled across it.",
    "minor": "Results are pooled across it, with the version as an effect of its own.",
    "patch": "Results are pooled across it as those of one version.",
}
ROLE_ORDER = {"early": 0, "late": 1, "overall": 2}
FIELD = re.compile(r"[a-z]+(?:_[a-z0-9]+)*")
SMALL_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def count(number: int, noun: str) -> str:
    """A count with its noun, such as "3 testers"."""
    plural = noun if number == 1 else noun[:-1] + "ies" if noun.endswith("y") else noun + "s"
    return f"{number:,} {plural}"


def month(written: str) -> str:
    """A month such as "March 2026"; what is not one stays as it is."""
    year, _, number = written.partition("-")
    return f"{MONTHS[int(number) - 1]} {year}" if number.isdecimal() and 1 <= int(number) <= 12 else written


def months(first: str, last: str) -> str:
    """A span of months."""
    return month(first) if first == last else f"{month(first)} to {month(last)}"


def interval(result: RatioInterval | None) -> str:
    """The ends of an interval; "not computed" when there is none."""
    if result is None:
        return "not computed"
    if result.low is None and result.high is None:
        return "unbounded both ways"
    if result.low is None:
        return f"below {ratio_text(result.high)}"
    if result.high is None:
        return f"above {ratio_text(result.low)}"
    return f"{ratio_text(result.low)} to {ratio_text(result.high)}"


def ends(low: float | None, high: float | None) -> str:
    """Two limits of which either may be unbounded."""
    return f"{ratio_text(low)} to {ratio_text(high)}" if low is not None else "unbounded" if high is None else f"below {ratio_text(high)}"


def level(result: RatioInterval) -> str:
    """Coverage, such as "95 %"."""
    return f"{100 * result.level:g} %"


def number(value: float | None) -> str:
    """A number with three significant digits; an en dash for none."""
    return "–" if value is None else "0" if value == 0 else amount(value)


def sentence(text: str) -> str:
    """A phrase made to stand alone: a capital in front, a full stop behind."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def objection_state(objection: ObjectionResult) -> str:
    """Its state, with the version that cures it."""
    return f"{objection.state} in {objection.revised_in}" if objection.revised_in else objection.state


def field_name(names: tuple[str, ...]) -> str:
    """Where a field stands, for a reader."""
    return " › ".join(name.replace("_", " ") if FIELD.fullmatch(name) else name for name in names)


def percent(value: float | None) -> str:
    """A percentage without decimals."""
    return "–" if value is None else f"{value:.0f} %"


def thing(comparison: Comparison, name: str) -> str:
    """What one side of a comparison is called in a table."""
    return f"{name} sharpener" if comparison.factor == "practice" else name


def endpoints_in_order(pool: Pool) -> list[EndpointResult]:
    """Early, late, overall."""
    return sorted(pool.endpoints, key=lambda e: (ROLE_ORDER[e.role], not e.primary, e.id))


def better(endpoint: EndpointResult) -> str:
    """What a ratio above 1 means."""
    return "sharper" if endpoint.quantity == "sharpness" else "longer lasting"


def pool_name(pool: Pool) -> str:
    """A pool in a few words, to tell it from others."""
    return f"{pool.title}, version {pool.major}"


def few(number_of: int) -> str:
    """A small number as a word."""
    return SMALL_NUMBERS[number_of] if number_of < len(SMALL_NUMBERS) else f"{number_of:,}"
