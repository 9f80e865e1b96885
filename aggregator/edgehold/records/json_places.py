"""Where each value of a JSON text stands.

A small scanner, one token after the other, no recursion. It runs only for files in which something was found, so it
may assume nothing about them: it never fails, and stops quietly where the text stops being JSON.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field

from .problem import pointer

TOKEN = re.compile(r'"(?:[^"\\]|\\.)*+(?:"|\\?\Z)|[{}\[\],:]|[^\s{}\[\],:"]++', re.DOTALL)
"""A string (one that never ends runs to the end, so that scanning stays linear), a mark, or a run of anything else."""


@dataclass
class JsonPlaces:
    """Places of values.

    Attributes
    ----------
    lines : line by pointer.
    repeated : pointer and line of every member whose name stood before in the same object.
    scalars : (pointer, line, text) of every number-like scalar that is no string.
    """

    lines: dict[str, int] = field(default_factory=dict)
    repeated: list[tuple[str, int]] = field(default_factory=list)
    scalars: list[tuple[str, int, str]] = field(default_factory=list)


@dataclass
class _Object:
    """An object not closed yet."""

    place: str
    names: set[str] = field(default_factory=set)
    name: str = ""
    expects_name: bool = True


@dataclass
class _List:
    """A list not closed yet; ``name`` is the number of its next value."""

    place: str
    name: int = 0


_Open = _Object | _List


def json_places(text: str) -> JsonPlaces:
    """Scan a JSON text; see `JsonPlaces`."""
    places, line, last = JsonPlaces(), 1, 0
    stack: list[_Open] = []
    for match in TOKEN.finditer(text):
        line += text.count("\n", last, match.start())
        last = match.start()
        _take(match[0], line, stack, places)
    return places


def _take(token: str, line: int, stack: list[_Open], places: JsonPlaces) -> None:
    top = stack[-1] if stack else None
    if token in "}]":
        if stack:
            stack.pop()
    elif token == ",":
        _next_member(top)
    elif token == ":":
        return
    elif isinstance(top, _Object) and top.expects_name:
        _take_name(token, line, top, places)
    else:
        _take_value(token, line, top, stack, places)


def _next_member(top: _Open | None) -> None:
    if isinstance(top, _List):
        top.name += 1
    elif isinstance(top, _Object):
        top.expects_name = True


def _take_name(token: str, line: int, top: _Object, places: JsonPlaces) -> None:
    name = token[1:-1] if "\\" not in token else _unescaped(token)
    top.name, top.expects_name = name, False
    if top.name in top.names:
        places.repeated.append((top.place + pointer(top.name), line))
    top.names.add(top.name)


def _unescaped(token: str) -> str:
    try:
        return str(json.loads(token, strict=False))
    except ValueError:
        return token


def _take_value(token: str, line: int, top: _Open | None, stack: list[_Open], places: JsonPlaces) -> None:
    place = "" if top is None else top.place + pointer(top.name)
    places.lines.setdefault(place, line)
    if token == "{":
        stack.append(_Object(place))
    elif token == "[":
        stack.append(_List(place))
    elif token[0] != '"':
        places.scalars.append((place, line, token))


def nearest_line(lines: dict[str, int], place: str) -> int:
    """Line of a value, or of the nearest enclosing one that stands in the text; 1 when none does."""
    while place not in lines and place:
        place = place.rpartition("/")[0]
    return lines.get(place, 1)
