"""What the text of one cell says: a value, what was converted, and what must be asked. Pure functions of the text."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from edgehold.errors import WrittenError
from edgehold.records.problem import shown
from edgehold.records.units import parse_number

from .cells import trimmed

PLAIN_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{0,14}[1-9])?")
"""A number that loses nothing when it is kept as one: no closing zeros, which say how finely it was read."""
DECIMAL = re.compile(r"-?[0-9]+\.[0-9]+")
LIMIT = re.compile(r"(?i)(?:([<>])|(below|above)\b) *(.+)|(.+?) *\b(below|above)")
LIMIT_SIGNS = {"<": "below", ">": "above"}


@dataclass(frozen=True)
class CellValue:
    """What a cell says.

    Attributes
    ----------
    value : the value; the text itself where a question stands.
    said : what was converted and how; empty where nothing was.
    code, message, cure : the question; empty where there is none.
    """

    value: object
    said: str = ""
    code: str = ""
    message: str = ""
    cure: str = ""


def word(text: str, words: Sequence[str]) -> CellValue:
    """One of the words allowed, whatever its capitals and spaces."""
    if text in words:
        return CellValue(text)
    wanted = folded(text)
    alike = next((known for known in words if known.casefold() == wanted), None)
    if alike is not None:
        return CellValue(alike, f"{shown(text)} read as {alike!r}")
    close = difflib.get_close_matches(wanted[:60], words, n=1, cutoff=0.6)
    cure = "write " + " or ".join(words) + (f"; did you mean {close[0]!r}?" if close else "")
    return CellValue(text, "", "unknown-word", f"{shown(text)} is none of the words for this", cure)


def outcome(text: str, outcomes: Mapping[str, str]) -> CellValue:
    """pass or fail, or the first letter of either."""
    found = outcomes.get(text.casefold())
    if found is None:
        return CellValue(text, "", "unknown-word", f"{shown(text)} is neither pass nor fail", "write pass or fail")
    return CellValue(found, "" if found == text else f"{shown(text)} read as {found!r}")


def number(text: str, mark: str) -> CellValue:
    """A number for a field that keeps numbers only; ``mark`` is the unit whose sign may stand behind it."""
    if PLAIN_NUMBER.fullmatch(text):
        return CellValue(_plain(text))
    try:
        parsed = parse_number(text)
    except WrittenError as error:
        return CellValue(text, "", "not-a-number", error.problem, error.cure)
    if parsed.uncertainty is not None or parsed.unit not in (None, mark):
        message = f"{shown(text)} is more than a number"
        return CellValue(text, "", "not-a-number", message, "write the number alone, and the rest into a note")
    value = int(parsed.exact) if parsed.exact.denominator == 1 else parsed.value
    return CellValue(value, f"{shown(text)} read as {parsed.value:g}")


def written(text: str) -> CellValue:
    """A number kept as written: text stays text unless nothing is lost."""
    if PLAIN_NUMBER.fullmatch(text):
        return CellValue(_plain(text))
    try:
        parsed = parse_number(text)
    except WrittenError as error:
        return CellValue(text, "", "not-a-number", error.problem, error.cure)
    if DECIMAL.fullmatch(text):
        return CellValue(text)
    about = "" if parsed.uncertainty is None else f" with uncertainty {parsed.uncertainty:g}"
    return CellValue(text, f"{shown(text)} kept as written, read as {parsed.value:g}{about}")


def reading_value(text: str) -> tuple[CellValue, str]:
    """One repeat of a reading, and its limit: ``31 above``, ``> 31`` and ``below 0`` are over or under the scale."""
    match = LIMIT.fullmatch(text)
    if match is None:
        return written(text), ""
    sign, before, first, second, behind = match.groups()
    limit = LIMIT_SIGNS.get(sign or "") or (before or behind).casefold()
    found = written(trimmed(first or second))
    return (found if found.code else CellValue(found.value, f"{shown(text)} read as {found.value}, limit {limit}")), limit


def is_number(text: str) -> bool:
    """Whether a text can be read as a number."""
    return not written(text).code


def folded(text: str) -> str:
    """A text as labels and words are compared."""
    return " ".join(text.split()).casefold()


def _plain(text: str) -> int | float:
    return float(text) if "." in text else int(text)
