"""JSON text to a tree of plain values, or the problems that stand in its way.

Stricter than the standard library where RFC 8259 and RFC 7493 (I-JSON) leave room for surprises: no repeated names,
no NaN or Infinity, no integer that binary64 cannot hold exactly, no half of a surrogate pair.
"""

from __future__ import annotations

import itertools
import json
import math
import re

from pydantic import JsonValue

from edgehold.records.json_places import TOKEN, JsonPlaces, json_places
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.whole_numbers import LARGEST_EXACT_INTEGER
from edgehold.words import Reason

from .opening import SURROGATE, unfit_characters

DEEPEST = 32
MOST_CONTAINERS = 20_000  # objects and lists; 500 runs with eight readings of three values have about 20,000

_ALL_BUT_BRACKETS = bytes(set(range(256)) - set(b"{}[]"))
_ONE_KIND = bytes.maketrans(b"[]", b"{}")
_OPEN = frozenset("{[")
_BRACKETS = frozenset("{}[]")
_BETWEEN_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*+(?:"|\\?\Z)|[^{}\[\]"]++', re.DOTALL)
_ESCAPED_UNFIT = re.compile(r"\\u(?:00[01789][0-9a-f]|20(?:2[a-e]|6[6-9])|d[89a-f])")


def parse_json(text: str) -> tuple[JsonValue, list[Problem]]:
    """The tree of a JSON text and no problem, or None and at least one."""
    problem = _too_much(text)
    if problem:
        return None, [problem]
    suspects: list[str] = []
    try:
        tree = _decoder(suspects).decode(text)
    except json.JSONDecodeError as error:
        return None, [_not_json(text, error)]
    problems = _named_problems(json_places(text)) if suspects else []
    problems += _unfit_texts(tree) if "\\u" in text else []
    return (None, problems) if problems else (tree, [])


def _too_much(text: str) -> Problem | None:
    """Nesting and number of objects and lists, counted before anything is built."""
    if _shallow(text):
        return None
    brackets = _BETWEEN_BRACKETS.sub("", text)
    depth = 0
    for count, bracket in enumerate(brackets):
        depth += 1 if bracket in _OPEN else -1
        if depth > DEEPEST or count >= 2 * MOST_CONTAINERS:
            return _limit_problem(depth, text, count)
    return None


def _shallow(text: str) -> bool:
    """Whether a text without escapes holds few objects and lists, all closed and none too deep, found a hundred times faster than by
    going from bracket to bracket: what stands between quotation marks is left out, and each round takes the innermost away."""
    if "\\" in text:
        return False
    brackets = "".join(text.split('"')[::2]).encode(errors="surrogatepass").translate(_ONE_KIND, _ALL_BUT_BRACKETS)
    if len(brackets) > 2 * MOST_CONTAINERS:
        return False
    for _ in range(DEEPEST):
        brackets = brackets.replace(b"{}", b"")
    return not brackets


def _limit_problem(depth: int, text: str, count: int) -> Problem:
    """The problem at the bracket number ``count``, counted from 0."""
    brackets = (match for match in TOKEN.finditer(text) if match[0] in _BRACKETS)
    place = next(itertools.islice(brackets, count, None)).start()
    line = text.count("\n", 0, place) + 1
    if depth > DEEPEST:
        return Problem("", "nested-too-deep", Reason("reading.nested_too_deep", deepest=DEEPEST), line=line)
    return Problem("", "too-many-values", Reason("reading.too_many_containers", most=MOST_CONTAINERS), line=line)


def _decoder(suspects: list[str]) -> json.JSONDecoder:
    def whole(digits: str) -> int:
        if len(digits) < 16:
            return int(digits)
        if len(digits) > 17 or abs(int(digits)) > LARGEST_EXACT_INTEGER:
            suspects.append(digits)
            return 0
        return int(digits)

    def fraction(digits: str) -> float:
        value = float(digits)
        if not math.isfinite(value):
            suspects.append(digits)
        return value

    def members(pairs: list[tuple[str, object]]) -> dict[str, object]:
        found = dict(pairs)
        if len(found) != len(pairs):
            suspects.append("repeated name")
        return found

    def constant(word: str) -> float:
        suspects.append(word)
        return 0.0

    return json.JSONDecoder(object_pairs_hook=members, parse_int=whole, parse_float=fraction, parse_constant=constant)


def _named_problems(places: JsonPlaces) -> list[Problem]:
    problems = [
        Problem(place, "duplicate-key", Reason("reading.name_twice", place=shown(place.rpartition("/")[2])), line=line)
        for place, line in places.repeated
    ]
    for place, line, token in places.scalars:
        if token in ("NaN", "Infinity", "-Infinity"):
            problems.append(Problem(place, "not-finite", Reason("reading.not_number", token=token), line=line))
        elif re.fullmatch(r"-?[0-9]+", token) and (len(token) > 17 or abs(int(token)) > LARGEST_EXACT_INTEGER):
            problems.append(Problem(place, "number-too-large", f"{shown(token, 20)} is beyond 2^53", line=line))
        elif re.fullmatch(r"-?[0-9]+[.eE][0-9.eE+-]*", token) and not math.isfinite(float(token)):
            problems.append(Problem(place, "number-too-large", Reason("reading.beyond_double", token=shown(token, 20)), line=line))
    return problems


def _unfit_texts(tree: object) -> list[Problem]:
    """Characters hidden behind escapes; the tree is walked only where the text might hold one."""
    if not _ESCAPED_UNFIT.search(json.dumps(tree)):
        return []
    problems, waiting = [], [("", tree)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, dict):
            for name in value:
                problems += _unfit_text(place, name)
            waiting += [(place + pointer(name), item) for name, item in value.items()]
        elif isinstance(value, list):
            waiting += [(place + pointer(i), item) for i, item in enumerate(value)]
        elif isinstance(value, str):
            problems += _unfit_text(place, value)
    return problems


def _unfit_text(place: str, text: str) -> list[Problem]:
    problems = unfit_characters(text, place, 0)
    if found := SURROGATE.search(text):
        problems.append(Problem(place, "lone-surrogate", Reason("reading.half_a_surrogate", found=f"{ord(found[0]):04X}")))
    return problems


def _not_json(text: str, error: json.JSONDecodeError) -> Problem:
    what = {
        "Expecting value": Reason("reading.value_missing"),
        "Expecting property name enclosed in double quotes": Reason("reading.name_expected"),
        "Expecting ',' delimiter": Reason("reading.comma_missing"),
        "Expecting ':' delimiter": Reason("reading.colon_missing"),
        "Extra data": Reason("reading.text_after_end"),
    }.get(error.msg, error.msg[:1].lower() + error.msg[1:])
    if not text.strip():
        return Problem("", "not-json", Reason("reading.file_empty"), line=1)
    return Problem("", "not-json", f"column {error.colno}: {what}", line=error.lineno)
