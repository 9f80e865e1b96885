"""Who an edge is by: a person, a person in a stated condition, or whoever made the blade."""

from __future__ import annotations

import re
from typing import Final

from .model.plan import PlannedRun
from .model.submission import Preparation

FACTORY: Final = "factory"
"""Stands for the sharpener of an edge that nobody has sharpened since it was delivered; no person's handle."""

_WITH_CONDITION = re.compile(r"([^ ()]+) \(([^()]+)\)")


def edge_by(preparation: Preparation) -> str:
    """What two edges have alike that are by one sharpener: the handle, with the condition where one is stated.

    Factory edges are each blade's own: makers differ, and nobody says who they were.
    """
    return in_condition(preparation.sharpener, preparation.blade if preparation.sharpener == FACTORY else preparation.condition)


def hand_of(preparation: Preparation) -> str | None:
    """The person behind an edge; None behind a factory's."""
    return None if preparation.sharpener == FACTORY else preparation.sharpener


def planned_by(run: PlannedRun) -> str:
    """Who makes the edge of a planned run, with the condition or level where one is stated: ``wren (before the course)``."""
    return in_condition(run.sharpener, run.condition or run.level)


def in_condition(sharpener: str, what: str | None) -> str:
    """A sharpener with what tells two edges of theirs apart, if anything does."""
    return sharpener if what is None else f"{sharpener} ({what})"


def taken_apart(name: str) -> tuple[str, str | None]:
    """The handle, and the condition or level, in what ``planned_by`` gives."""
    found = _WITH_CONDITION.fullmatch(name)
    return (found[1], found[2]) if found else (name, None)
