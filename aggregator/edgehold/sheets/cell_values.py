"""What the text of one cell says: a value, what was converted, and what must be asked. Pure functions of the text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from edgehold.errors import WrittenError
from edgehold.records.problem import shown
from edgehold.records.units import parse_number
from edgehold.words import Reason, nearest

from .cells import Asked, asking, trimmed

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
    asked : the question, if there is one.
    """

    value: object
    said: str = ""
    asked: Asked | None = None


def word(text: str, words: Sequence[str]) -> CellValue:
    """One of the words allowed, whatever its capitals and spaces."""
    return outcome(text, {known.casefold(): known for known in words})


def outcome(text: str, words: Mapping[str, str]) -> CellValue:
    """A word by what may be written for it in small letters, such as pass or fail, or the first letter of either."""
    wanted = folded(text)
    if wanted in words:
        value = words[wanted]
        return CellValue(value, "" if value == text else Reason("sheets.read_as", text=shown(text), value=shown(value)))
    close, allowed = nearest(wanted, words), " or ".join(dict.fromkeys(words.values()))
    cure = "sheets.write_words_near" if close else "sheets.write_words"
    close = shown(words.get(close, ""))
    return CellValue(text, "", asking("unknown-word", "sheets.no_word", cure, text=shown(text), words=allowed, close=close))


def number(text: str, mark: str) -> CellValue:
    """A number for a field that keeps numbers only; ``mark`` is the unit whose sign may stand behind it."""
    if PLAIN_NUMBER.fullmatch(text):
        return CellValue(_plain(text))
    try:
        parsed = parse_number(text)
    except WrittenError as error:
        return CellValue(text, "", Asked("not-a-number", error.problem, error.cure))
    if parsed.uncertainty is not None or parsed.unit not in (None, mark):
        return CellValue(text, "", asking("not-a-number", "sheets.more_than_number", "sheets.number_alone", text=shown(text)))
    value = int(parsed.exact) if parsed.exact.denominator == 1 else parsed.value
    return CellValue(value, Reason("sheets.read_as", text=shown(text), value=f"{parsed.value:g}"))


def written(text: str) -> CellValue:
    """A number kept as written: text stays text unless nothing is lost."""
    if PLAIN_NUMBER.fullmatch(text):
        return CellValue(_plain(text))
    try:
        parsed = parse_number(text)
    except WrittenError as error:
        return CellValue(text, "", Asked("not-a-number", error.problem, error.cure))
    if DECIMAL.fullmatch(text):
        return CellValue(text)
    kept, uncertainty = "sheets.kept" if parsed.uncertainty is None else "sheets.kept_with_uncertainty", parsed.uncertainty or 0
    return CellValue(text, Reason(kept, text=shown(text), value=f"{parsed.value:g}", uncertainty=f"{uncertainty:g}"))


def reading_value(text: str) -> tuple[CellValue, str]:
    """One repeat of a reading, and its limit: ``31 above``, ``> 31`` and ``below 0`` are over or under the scale."""
    match = LIMIT.fullmatch(text)
    if match is None:
        return written(text), ""
    sign, before, first, second, behind = match.groups()
    limit = LIMIT_SIGNS.get(sign or "") or (before or behind).casefold()
    value = trimmed(first or second)
    found = written(value)
    said = Reason("sheets.read_with_limit", text=shown(text), value=value, limit=limit)
    return (found if found.asked else CellValue(found.value, said)), limit


def is_number(text: str) -> bool:
    """Whether a text can be read as a number."""
    return written(text).asked is None


def folded(text: str) -> str:
    """A text as labels and words are compared."""
    return " ".join(text.split()).lower()


def _plain(text: str) -> int | float:
    return float(text) if "." in text else int(text)
