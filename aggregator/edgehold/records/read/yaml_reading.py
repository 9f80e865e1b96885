"""YAML text to a tree of plain values with the line of each, or the problems that stand in its way.

YAML 1.2's core schema, cut to what JSON can say: null, true, false, numbers, text. No anchors, aliases or tags, so no
text can grow when read; a date, a month or "yes" stays text. The tree is built from parser events without recursion.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import lru_cache

import yaml

from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.whole_numbers import LARGEST_EXACT_INTEGER
from edgehold.words import Reason

from .json_reading import DEEPEST
from .opening import unfit_characters

LARGEST_YAML_CHARACTERS = 60_000
MOST_VALUES = 5_000

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INTEGER = re.compile(r"[-+]?[0-9]+")
_NUMBER = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")  # YAML 1.2.2, section 10.3.2
_WORDS = {"": None, "~": None, "null": None, "true": True, "false": False}


@dataclass
class YamlTree:
    """A tree, the line of each value by pointer, and the problems; the tree counts only without problems."""

    tree: object = None
    lines: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


class _Refused(Exception):
    """Reading stops here; the problem is its only argument."""


@dataclass
class _Mapping:
    """A mapping not closed yet; ``name`` is None while it waits for a key."""

    place: str
    value: dict[str, object] = field(default_factory=dict)
    name: str | None = None


@dataclass
class _Sequence:
    """A sequence not closed yet."""

    place: str
    value: list[object] = field(default_factory=list)


_Open = _Mapping | _Sequence


@lru_cache(maxsize=512)  # one command may read a repository twice
def parse_yaml(text: str, first_line: int = 1) -> YamlTree:
    """Read a YAML text; lines count from ``first_line``. Who asks for the same text again gets the same tree and changes nothing in it."""
    found = YamlTree()
    if len(text) > LARGEST_YAML_CHARACTERS:
        message = Reason("reading.yaml_characters", count=len(text), most=LARGEST_YAML_CHARACTERS)
        found.problems.append(Problem("", "file-too-large", message, line=first_line))
        return found
    try:
        _build(text, first_line, found)
    except _Refused as refused:
        found.problems.append(refused.args[0])
    except yaml.YAMLError as error:
        found.problems.append(_not_yaml(error, first_line))
    except (ValueError, UnicodeError) as error:
        found.problems.append(Problem("", "not-yaml", Reason("reading.unreadable_because", error=shown(str(error))), line=first_line))
    return found


def _build(text: str, first_line: int, found: YamlTree) -> None:
    stack: list[_Open] = []
    documents = 0
    for event in yaml.parse(text, Loader=_LOADER):
        line = first_line + (event.start_mark.line if event.start_mark else 0)
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                raise _Refused(Problem("", "yaml-feature", "a second document begins", line=line))
        elif isinstance(event, yaml.CollectionEndEvent):
            stack.pop()
        elif isinstance(event, yaml.NodeEvent):
            _refuse_features(event, line)
            _take(event, line, stack, found)


def _refuse_features(event: yaml.NodeEvent, line: int) -> None:
    if isinstance(event, yaml.AliasEvent) or event.anchor:
        raise _Refused(Problem("", "yaml-feature", f"an anchor or alias {shown(event.anchor)}", line=line))
    if isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent) and event.tag is not None:
        raise _Refused(Problem("", "yaml-feature", f"a tag {shown(event.tag)}", line=line))


def _take(event: yaml.NodeEvent, line: int, stack: list[_Open], found: YamlTree) -> None:
    top = stack[-1] if stack else None
    if isinstance(top, _Mapping) and top.name is None:
        _take_name(event, line, top, found)
        return
    place = _next_place(top)
    found.lines.setdefault(place, line)
    if len(stack) >= DEEPEST:
        raise _Refused(Problem(place, "nested-too-deep", f"nested more than {DEEPEST} deep", line=line))
    if len(found.lines) > MOST_VALUES:
        raise _Refused(Problem(place, "too-many-values", f"more than {MOST_VALUES} values", line=line))
    if isinstance(event, yaml.ScalarEvent):
        _attach(_scalar(event, place, line, found), top, found)
        return
    begun = _Mapping(place) if isinstance(event, yaml.MappingStartEvent) else _Sequence(place)
    _attach(begun.value, top, found)
    stack.append(begun)


def _next_place(top: _Open | None) -> str:
    """Where the next value stands."""
    if isinstance(top, _Sequence):
        return top.place + pointer(len(top.value))
    return "" if top is None or top.name is None else top.place + pointer(top.name)


def _take_name(event: yaml.NodeEvent, line: int, top: _Mapping, found: YamlTree) -> None:
    if not isinstance(event, yaml.ScalarEvent):
        raise _Refused(Problem(top.place, "yaml-feature", "a key that is not plain text", line=line))
    name: str = event.value
    top.name = name
    place = top.place + pointer(name)
    found.problems += unfit_characters(name, place, line)
    if name in top.value:
        message = Reason("reading.yaml_name_twice", name=shown(name))
        found.problems.append(Problem(place, "duplicate-key", message, line=line))


def _attach(value: object, top: _Open | None, found: YamlTree) -> None:
    if top is None:
        found.tree = value
    elif isinstance(top, _Sequence):
        top.value.append(value)
    elif top.name is not None:
        top.value[top.name] = value
        top.name = None


def _scalar(event: yaml.ScalarEvent, place: str, line: int, found: YamlTree) -> object:
    text = event.value
    if not event.implicit[0]:  # quoted or block: text
        found.problems += unfit_characters(text, place, line)
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        return _whole(text, place, line, found)
    if _NUMBER.fullmatch(text):
        return _fraction(text, place, line, found)
    found.problems += unfit_characters(text, place, line)
    return text


def _whole(text: str, place: str, line: int, found: YamlTree) -> int:
    if len(text) > 17 or abs(int(text)) > LARGEST_EXACT_INTEGER:
        found.problems.append(Problem(place, "number-too-large", f"{shown(text, 20)} is beyond 2^53", line=line))
        return 0
    return int(text)


def _fraction(text: str, place: str, line: int, found: YamlTree) -> float:
    value = float(text)
    if not math.isfinite(value):
        message = Reason("reading.yaml_beyond_double", text=shown(text, 20))
        found.problems.append(Problem(place, "number-too-large", message, line=line))
        return 0.0
    return value


def _not_yaml(error: yaml.YAMLError, first_line: int) -> Problem:
    mark = getattr(error, "problem_mark", None)
    line = first_line + (mark.line if mark else 0)
    what = getattr(error, "problem", None) or Reason("reading.unreadable")
    code = "nested-too-deep" if "nesting depth" in what else "not-yaml"  # libyaml looks ahead and stops at its own limit
    return Problem("", code, shown(what, 100).strip("'"), line=line)


def split_front_matter(text: str) -> tuple[str, str] | None:
    """Front matter and body of a Markdown text: between two lines of three hyphens, and after; None without them."""
    match = re.match(r"---[ \t]*\r?\n(.*?^)---[ \t]*(?:\r?\n|\Z)(.*)\Z", text, re.DOTALL | re.MULTILINE)
    return (match[1], match[2]) if match else None
