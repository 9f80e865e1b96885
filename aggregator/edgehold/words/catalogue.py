"""Patterns by code, read from the JSON files beside this module.

A pattern is a text with named places, ``"no usable run of {names}"``; a place may carry a format, ``"{df:.1f}"``. Where a number
decides the form of a noun the pattern is three entries: ``{"count": "runs", "one": "1 run …", "other": "{runs} runs …"}``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).with_name("catalogue")

Argument = str | int | float
Pattern = str | dict[str, str]


@cache
def _groups() -> dict[str, dict[str, Pattern]]:
    return {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))}


def group(name: str) -> dict[str, Pattern]:
    """The patterns of one file by their names, for whoever fills them in elsewhere."""
    return dict(_groups()[name])


def pattern_codes() -> tuple[str, ...]:
    """Every code there is, in order."""
    return tuple(f"{name}.{code}" for name, patterns in sorted(_groups().items()) for code in sorted(patterns))


def filled_in(code: str, arguments: Mapping[str, Argument]) -> str:
    """The text of a code with its arguments in their places.

    Raises
    ------
    KeyError : the code, or an argument that its pattern asks for, is not there.
    """
    name, _, entry = code.partition(".")
    pattern = _groups()[name][entry]
    if isinstance(pattern, dict):
        pattern = pattern["one" if arguments[pattern["count"]] == 1 else "other"]
    return pattern.format(**arguments)
