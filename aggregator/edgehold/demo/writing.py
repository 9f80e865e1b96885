"""A value as this person writes it on this instrument: unit, step, and habit of hand."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

NEWTONS = {
    "N": 1.0,
    "gf": 9.80665e-3,
    "kgf": 9.80665,
    "lbf": 4.4482216152605,
    "ozf": 4.4482216152605 / 16,
}
"""Newtons in one unit: exact by definition (NIST SP 811, appendix B.8). Not taken from the register of units, so that
reading the demonstration back checks the register."""
METRES = {"m": 1.0, "cm": 0.01, "ft": 0.3048}
"""Metres in one unit: exact by definition (NIST SP 811, appendix B.8)."""


@dataclass(frozen=True)
class Hand:
    """How somebody writes numbers.

    Attributes
    ----------
    unit : of force, or of length on card.
    step : smallest step shown, in that unit, as decimal text or a fraction such as ``"1/8"``.
    style : ``number`` (a JSON number), ``comma`` (decimal comma, as text), ``fraction`` (as text) or
        ``uncertain`` (text with the reading's uncertainty in parentheses).
    """

    unit: str
    step: str
    style: str = "number"


def in_steps(value: float, step: str) -> Fraction:
    """The nearest multiple of the step, exactly."""
    size = Fraction(step)
    return round(Fraction(value) / size) * size


def written(value: float, hand: Hand) -> int | float | str:
    """A value, already in the hand's unit, as it would stand in the file."""
    exact = in_steps(value, hand.step)
    if hand.style == "fraction":
        return _mixed(exact)
    if hand.style == "comma":
        return _decimal(exact, hand.step).replace(".", ",")
    if hand.style == "uncertain":
        return f"{_decimal(exact, hand.step)} ({_decimal(5 * Fraction(hand.step), hand.step)})"
    return int(exact) if exact.denominator == 1 else float(exact)


def _mixed(value: Fraction) -> str:
    whole, rest = divmod(value, 1)
    if rest == 0:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def _decimal(value: Fraction, step: str) -> str:
    exponent = Decimal(step).as_tuple().exponent
    places = max(0, -exponent) if isinstance(exponent, int) else 0
    return f"{float(value):.{places}f}"
