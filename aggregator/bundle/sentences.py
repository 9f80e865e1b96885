"""Numbers in plain English. Every sentence that a page, the ledger or a terminal prints about a result is made here."""

from __future__ import annotations

import math

from aggregator.numerics.interval import Interval


def amount(value: float) -> str:
    """A number with three significant digits, no exponent for everyday sizes."""
    return f"{value:.3g}" if 1e-3 <= abs(value) < 1e5 else f"{value:.2e}"


def ratio_text(ratio: float | None) -> str:
    """A ratio such as "×1.32"; "unbounded" for a missing one."""
    return "unbounded" if ratio is None or math.isinf(ratio) else f"×{amount(ratio)}"


def difference(ratio: float, more: str, less: str) -> str:
    """A ratio as people say it.

    Parameters
    ----------
    ratio : positive.
    more, less : words for above and below 1, such as "sharper" and "less sharp".

    Examples
    --------
    >>> difference(1.12, "sharper", "less sharp")
    '12 % sharper'
    >>> difference(0.9, "sharper", "less sharp")
    '10 % less sharp'
    >>> difference(2.6, "longer", "shorter")
    '2.6 times over, longer'
    """
    percent = round(abs(ratio - 1) * 100)
    if percent == 0:
        return f"neither {more} nor {less}"
    if ratio >= 2:
        return f"{amount(ratio)} times over, {more}"
    return f"{percent} % {more if ratio > 1 else less}"


def words_for(kind: str) -> tuple[str, str]:
    """The pair of words in which an endpoint's ratios are told."""
    return ("longer lasting", "shorter lived") if kind == "life" else ("sharper", "less sharp")


def when(kind: str, unit: str, at: float | None, start: float | None, end: float | None) -> str:
    """Which part of the dulling an endpoint speaks of, to open a sentence with."""
    plural = {"cut": "cuts"}.get(unit, unit)
    if kind == "level":
        return f"After {at:g} {plural}"
    if kind == "window":
        return f"Averaged between {start:g} and {end:g} {plural}"
    if kind == "loss":
        return f"Counting only what is lost between {start:g} and {end:g} {plural}"
    return "Until the edge is dull"


def pooled_sentence(opening: str, first: str, second: str, kind: str, interval: Interval, ratio: float, studies: int) -> str:
    """The answer of a pooled comparison, with how sure it is."""
    more, less = words_for(kind)
    low, high = math.exp(interval.low), math.exp(interval.high)
    return (
        f"{opening}, {first} was {difference(ratio, more, less)} than {second} "
        f"(ratio {ratio_text(ratio)}, {interval.level:.0%} interval {amount(low)} to {amount(high)}, {studies} studies)."
    ).replace("%)", "%)").replace("95%", "95 %")


def listed_sentence(opening: str, first: str, second: str) -> str:
    """Two studies are listed, not pooled."""
    return f"{opening}, two studies compare {first} with {second}: both are listed, two are too few to pool."


def single_sentence(opening: str, first: str, second: str) -> str:
    """One study stands alone."""
    return f"{opening}, only one study compares {first} with {second}: it stands for its own blades and people only."


def not_estimable_sentence(opening: str, first: str, second: str, reasons: list[str], one_sided: int) -> str:
    """No ratio, and why."""
    if one_sided:
        return (
            f"{opening}, {first} and {second} meet only in {one_sided} submission{'s' if one_sided > 1 else ''} that "
            "give a bound, not a ratio."
        )
    why = reasons[0] if reasons else "no submission has readings of both"
    return f"{opening}, {first} and {second} cannot be told apart: {why}."
