"""Numbers as people write them, and exact conversion between the units of the closed list.

Arithmetic is in exact fractions and becomes a binary number once, at the end, so that 3/8 in is 9.525 mm and no
chain of conversions collects rounding. Factors: NIST Special Publication 811 (2008 edition), Appendix B; each unit of
aggregator/registers/units.json names its source.

A kitchen scale reads mass. Its gram, kilogram, pound or ounce under a pull is read as that force (gf, kgf, lbf, ozf).
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache

from edgehold.errors import WrittenError
from edgehold.words import Argument, Reason, group

from .model.registers import UnitEntry
from .registers import load_units

LONGEST_NUMBER = 40  # characters; no reading needs more, and the patterns stay fast
LARGEST_NUMBER = 10**15  # what is below one part of that, and not 0, is a slip of the exponent

UNITS_IN_SENTENCES = {"cut": "cuts"}  # every other unit of the list is a symbol, which has no plural
_ALIKE = str.maketrans({"−": "-", "–": "-", "‐": "-", "‑": "-", "⁄": "/", "∕": "/", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
_GLYPHS = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip

_DECIMAL = re.compile(r"(?P<digits>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE](?P<exponent>[+-]?[0-9]{1,3}))?")
_GROUPED = re.compile(r"[0-9]{1,3}(?:(?:,[0-9]{3})+\.[0-9]+|(?:\.[0-9]{3})+,[0-9]+)")
_AMBIGUOUS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<top>[1-9][0-9]*) */ *(?P<bottom>[1-9][0-9]*)")
_SIGN = re.compile(r"([+-]?) *(.*)")
_PARENTHESES = re.compile(r"(.+?) *\( *([^() ]+) *\)")
_PLUS_MINUS = re.compile(r"(.+?) *(?:±|\+/-) *(.+)")
_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(rf"(?i).*(?:{_MONTH}).*|[0-9]+([-/.])[0-9]+\1[0-9]+|0[1-9]/[0-9]+|[0-9]+/0[1-9]")
_RANGE = re.compile(r"[0-9.,]+ *(?:-|to|\.\.+|…) *[0-9.,]+")
_CURES = (
    (re.compile(""), "empty"),
    (re.compile("[0-9]{1,3}(?:[ ,.'][0-9]{3})+"), "thousands"),
    (_DATE, "date"),
    (re.compile("[<>≤≥].*"), "limit"),
    (_RANGE, "range"),
    (re.compile(".*"), "without_unit"),
)
"""Name of the pattern that says what would be right, by what was written instead of a number; the first that fits is told."""


@dataclass(frozen=True)
class ParsedNumber:
    """A number read from what somebody wrote.

    Attributes
    ----------
    value : the number, nearest binary value of ``exact``.
    uncertainty : what stood in parentheses or after ±, in the same unit; None when nothing did.
    unit : id of the unit whose mark stood behind the number (``3/8"``); None when no mark did.
    exact : the number without rounding.
    """

    value: float
    uncertainty: float | None
    unit: str | None
    exact: Fraction


def parse_number(written: object) -> ParsedNumber:
    """Read a number as a person wrote it: a JSON number or text.

    Text may be a decimal with point or comma (``0.5``, ``0,5``), with an exponent (``1e3``), a fraction (``3 1/8``,
    ``1-5/8``, ``3½``), with thousands marked when point and comma both stand (``1.234,5``, ``1,234.5``), and may
    carry an uncertainty and one mark of a unit (``"``, ``'``, ``°``, ``%``).

    A whole number in parentheses counts in the last place written, as in the Guide to the Expression of Uncertainty in
    Measurement (JCGM 100:2008, 7.2.2): ``1.25(3)`` is 1.25 with uncertainty 0.03, ``25 (5)`` is 25 with 5. One with a
    decimal mark is meant as it stands: ``1.25(0.03)``.

    Nothing is guessed. ``1,234`` may be a thousand or a decimal and is refused; ``1.234`` is read as JSON reads it.

    Raises
    ------
    WrittenError
        It is not one finite number of ordinary size; ``problem`` says what was got, ``cure`` what would be right.
    """
    if isinstance(written, str):
        return _parse_text(written)
    exact = _exact(written)
    return ParsedNumber(float(exact), None, None, exact)


def find_unit(text: str) -> UnitEntry | None:
    """The unit that a symbol, mark or name stands for, or None; capitals matter in symbols (mN), not in names."""
    symbols, names = _index()
    wanted = " ".join(text.split())
    return symbols.get(wanted) or names.get(wanted.casefold().removesuffix("."))


def unit_named(text: str) -> UnitEntry:
    """As `find_unit`, but an unknown unit is a WrittenError that names the nearest ones."""
    unit = find_unit(text)
    if unit is None:
        raise _wrong("no_unit", "use_units", unit=repr(text), units=_nearest(text))
    return unit


def plural(unit: str) -> str:
    """A unit as it stands behind a number other than one: cuts, but mm."""
    return UNITS_IN_SENTENCES.get(unit, unit)


def quantity_text(value: float, unit: str) -> str:
    """A number and its unit in a sentence: 1 cut, 80 cuts, 2.5 m."""
    return f"{value:g} {unit if value == 1 else plural(unit)}"


def convert(value: float | Fraction, unit: str, canonical_unit: str) -> float:
    """A value in another unit of the same kind; exact until the last step.

    A float is taken as the shortest decimal that stands for it, as it is written in JSON: 0.1 is one tenth.

    Raises
    ------
    WrittenError
        A unit is not in the closed list, the two measure different things, or the value is not finite or too large.
    """
    factor, shift, divisor = _line(unit, canonical_unit)
    top, bottom = _exact(value).as_integer_ratio()
    return (top * factor + bottom * shift) / (bottom * divisor)  # whole numbers are divided exactly and rounded once


@lru_cache(maxsize=1024)
def _line(unit: str, canonical_unit: str) -> tuple[int, int, int]:
    """a, b and c of x ↦ (a·x + b)/c, from one unit to another."""
    start, goal = unit_named(unit), unit_named(canonical_unit)
    if start.kind != goal.kind:
        raise _wrong("two_kinds", "use_kind", unit=repr(unit), kind=start.kind, goal=repr(canonical_unit), wanted=goal.kind)
    scale = Fraction(start.factor) / Fraction(goal.factor)
    shift = (Fraction(start.offset) - Fraction(goal.offset)) / Fraction(goal.factor)
    return scale.numerator * shift.denominator, shift.numerator * scale.denominator, scale.denominator * shift.denominator


def canonical_value(written: object, unit: str, canonical_unit: str) -> float:
    """The canonical value of a number as written in its unit.

    Raises
    ------
    WrittenError
        As `parse_number` and `convert`; also where the number carries the mark of a unit other than ``unit``.
    """
    number = parse_number(written)
    if number.unit is not None and number.unit != unit_named(unit).id:
        raise _wrong("other_mark", "leave_mark", text=_shown(written), mark=repr(number.unit), unit=repr(unit))
    return convert(number.exact, unit, canonical_unit)


def grammar() -> dict[str, object]:
    """How written numbers are read, as plain JSON values, for a reader in another language.

    Patterns are Python's and must match the whole text. ``alike`` maps characters to those read in their place, ``glyphs``
    signs to fractions, ``marks`` (longest first) a unit's mark to its id; ``cures`` are (pattern, name of the cure), the first that fits;
    ``says`` has the texts by name.
    """
    patterns = {"decimal": _DECIMAL, "grouped": _GROUPED, "ambiguous": _AMBIGUOUS, "fraction": _FRACTION, "sign": _SIGN}
    patterns |= {"parentheses": _PARENTHESES, "plus_minus": _PLUS_MINUS}
    return {
        "longest": LONGEST_NUMBER,
        "largest": str(LARGEST_NUMBER),
        "alike": {chr(code): text for code, text in _ALIKE.items()},
        "glyphs": dict(_GLYPHS),
        "marks": [list(mark) for mark in _marks()],
        "patterns": {name: pattern.pattern for name, pattern in patterns.items()},
        "cures": [[pattern.pattern, cure] for pattern, cure in _CURES],
        "says": group("numbers"),
    }


def _wrong(problem: str, cure: str, **arguments: Argument) -> WrittenError:
    return WrittenError(Reason(f"numbers.{problem}", **arguments), Reason(f"numbers.{cure}", **arguments))


def _exact(value: object) -> Fraction:
    if isinstance(value, bool) or not isinstance(value, int | float | Fraction):
        raise _wrong("of_other_kind", "write_number", text=_shown(value))
    if isinstance(value, float):
        if not math.isfinite(value):
            raise _wrong("not_finite", "leave_out", text=str(value))
        text = float.__repr__(float(value))
        return _of_ordinary_size(_decimal(text), text)
    return _of_ordinary_size(Fraction(value), value)


def _decimal(text: str) -> Fraction:
    """The number that a decimal stands for; `Fraction` reads the same text in ten times the time."""
    return Fraction(*Decimal(text).as_integer_ratio())


def _of_ordinary_size(exact: Fraction, written: object) -> Fraction:
    top, bottom = abs(exact.numerator), exact.denominator
    if top > LARGEST_NUMBER * bottom or 0 < top * LARGEST_NUMBER < bottom:
        raise _wrong("out_of_range", "ordinary", text=_shown(written))
    return exact


def _parse_text(text: str) -> ParsedNumber:
    if len(text) > LONGEST_NUMBER:
        raise _wrong("too_long", "number_alone", text=_shown(text), longest=LONGEST_NUMBER)
    plain, unit = _without_mark(_plain(text))
    uncertainty = None
    if match := _PARENTHESES.fullmatch(plain):
        plain = match[1]
        uncertainty = _parenthesised(plain, match[2], text)
    elif match := _PLUS_MINUS.fullmatch(plain):
        plain = match[1]
        uncertainty = _unsigned(match[2], text)
    signed = _SIGN.fullmatch(plain)
    assert signed is not None  # the pattern fits every line, and `_plain` leaves one
    sign, digits = signed.groups()
    exact = _unsigned(digits, text) * (-1 if sign == "-" else 1)
    return ParsedNumber(float(exact), None if uncertainty is None else float(uncertainty), unit, exact)


def _plain(text: str) -> str:
    plain = text.translate(_ALIKE)
    for glyph, fraction in _GLYPHS.items():
        plain = plain.replace(glyph, f" {fraction}")
    return " ".join(plain.split())


def _without_mark(plain: str) -> tuple[str, str | None]:
    for mark, unit in _marks():
        if plain.endswith(mark):
            return plain.removesuffix(mark).rstrip(), unit
    return plain, None


def _unsigned(digits: str, text: str) -> Fraction:
    """A number without sign, uncertainty and mark; ``text`` is what messages show."""
    if match := _FRACTION.fullmatch(digits):
        return _of_ordinary_size(_fraction(match, text), text)
    if _AMBIGUOUS.fullmatch(digits):
        whole, rest = digits.split(",")
        raise _wrong("ambiguous", "as_meant", text=_shown(text), whole=whole, rest=rest)
    if _GROUPED.fullmatch(digits):
        thousands = min(",.", key=digits.index)
        digits = digits.replace(thousands, "")
    if match := _DECIMAL.fullmatch(digits):
        exponent = match["exponent"] or "0"
        return _of_ordinary_size(_decimal(match["digits"].replace(",", ".") + "e" + exponent), text)
    raise _wrong("not_a_number", next(cure for pattern, cure in _CURES if pattern.fullmatch(digits)), text=_shown(text))


def _fraction(match: re.Match[str], text: str) -> Fraction:
    part = Fraction(int(match["top"]), int(match["bottom"]))
    if match["whole"] is None:
        return part
    if part >= 1:
        raise _wrong("large_fraction", "like_fraction", text=_shown(text))
    return int(match["whole"]) + part


def _parenthesised(main: str, inside: str, text: str) -> Fraction:
    match = _DECIMAL.fullmatch(main.lstrip("+- "))
    if match is None or match["exponent"]:
        raise _wrong("no_plain_decimal", "like_uncertainty", text=_shown(text))
    stated = _unsigned(inside, text)
    if not inside.isdigit():
        return stated
    places = len(re.split("[.,]", match["digits"])[1]) if re.search("[.,]", match["digits"]) else 0
    return stated / Fraction(10) ** places


def _shown(value: object) -> str:
    try:
        text = repr(value)
    except ValueError:  # an int of over 4300 digits has no text (Python's own limit)
        return Reason("reading.too_many_digits")
    return text if len(text) <= LONGEST_NUMBER + 2 else text[:LONGEST_NUMBER] + "…"


def _nearest(text: str) -> str:
    symbols, names = _index()
    known = {spelling.casefold(): unit.id for spelling, unit in (names | symbols).items()}
    close = difflib.get_close_matches(text.strip().casefold()[:LONGEST_NUMBER], known, n=3, cutoff=0.6)
    wanted = list(dict.fromkeys(known[spelling] for spelling in close)) or [unit.id for unit in load_units().units]
    return ", ".join(wanted[:-1]) + (" or " if wanted[:-1] else "") + wanted[-1]


@cache
def _index() -> tuple[dict[str, UnitEntry], dict[str, UnitEntry]]:
    """Units by symbol, and by name without capitals."""
    units = load_units().units
    symbols = {symbol: unit for unit in units for symbol in (unit.id, *unit.symbols)}
    names = {name.casefold(): unit for unit in units for name in unit.names}
    return symbols, names


@cache
def _marks() -> tuple[tuple[str, str], ...]:
    """Symbols without any letter or digit, longest first, with their unit's id."""
    found = [(symbol, unit.id) for symbol, unit in _index()[0].items() if not any(map(str.isalnum, symbol))]
    return tuple(sorted(found, key=lambda pair: -len(pair[0])))
