"""Numbers, counts and names as the pages print them. Formatting only: nothing here estimates anything."""

from __future__ import annotations

import re

from edgehold.results.model.moves import CourseResult
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Comparison, EndpointResult, Pool, SteelResult
from edgehold.results.words.sentences import amount, ratio_text
from edgehold.results.words.steels import share_range
from edgehold.words import Reason, capital

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
INTERESTS = ("none", "owner", "maker", "seller", "not stated")
OBJECTION_STATES = ("open", "upheld and unresolved", "revised", "rebutted", "withdrawn", "struck")  # the unsettled first
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
        return Reason("pages.not_computed")
    if result.high is None:
        return Reason("pages.unbounded_both_ways") if result.low is None else Reason("pages.above", ratio=ratio_text(result.low))
    return ends(result.low, result.high)


def ends(low: float | None, high: float | None) -> str:
    """Two limits of which either may be unbounded."""
    if low is not None:
        return Reason("pages.between", low=ratio_text(low), high=ratio_text(high))
    return ratio_text(None) if high is None else Reason("pages.below", ratio=ratio_text(high))


def level(result: RatioInterval) -> str:
    """Coverage, such as "95 %"."""
    return f"{100 * result.level:g} %"


def number(value: float | None) -> str:
    """A number with three significant digits; an en dash for none."""
    return "–" if value is None else "0" if value == 0 else amount(value)


def sentence(text: str) -> str:
    """A phrase made to stand alone: a capital in front, a full stop behind."""
    return capital(text) + ("" if text.endswith((".", "?", "!")) else ".")


def objection_state(objection: ObjectionResult) -> str:
    """Its state, with the version that cures it."""
    if not objection.revised_in:
        return objection.state
    return Reason("pages.revised_in", state=objection.state, version=objection.revised_in)


def word(kind: str, name: str) -> Reason:
    """What stands for one of a few words, such as how far two are told apart, or what a state of an objection means."""
    return Reason(f"pages.{kind}_{name.replace(' × ', '_by_').replace(' ', '_')}")


def interest(name: str) -> str:
    """What somebody has to do with blades."""
    return word("interest", name) if name in INTERESTS else name


def field_name(names: tuple[str, ...]) -> str:
    """Where a field stands, for a reader."""
    return " › ".join(name.replace("_", " ") if FIELD.fullmatch(name) else name for name in names)


def percent(value: float | None) -> str:
    """A percentage without decimals."""
    return "–" if value is None else f"{value:.0f} %"


def thing(comparison: Comparison | CourseResult, name: str) -> str:
    """What one side of a comparison is called in a table."""
    return Reason("pages.sharpener", name=name) if comparison.factor == "practice" else name


def endpoints_in_order(pool: Pool) -> list[EndpointResult]:
    """Early, late, overall."""
    return sorted(pool.endpoints, key=lambda e: (ROLE_ORDER[e.role], not e.primary, e.id))


def better(endpoint: EndpointResult) -> str:
    """What a ratio above 1 means."""
    return word("better", endpoint.quantity)


def pool_name(pool: Pool) -> str:
    """A pool in a few words, to tell it from others."""
    return Reason("pages.pool", title=pool.title, major=pool.major)


def few(number_of: int) -> str:
    """A small number as a word."""
    return SMALL_NUMBERS[number_of] if number_of < len(SMALL_NUMBERS) else f"{number_of:,}"


def short_name(steel: SteelResult) -> str:
    """What people call a steel: its first designation without the system; an invented one and a class by id."""
    if steel.simulated or steel.kind == "class" or not steel.names:
        return steel.id
    return designation(steel.names[0])


def designation(written: str) -> str:
    """A designation without its system, such as "D2" of "AISI/SAE D2"."""
    return written.partition(" ")[2] or written


def composition(steel: SteelResult) -> str:
    """Limits of a steel, element by element."""
    limits = (Reason("steels.element", element=one.element, range=share_range(one.least, one.most)) for one in steel.composition)
    return ", ".join(limits)
