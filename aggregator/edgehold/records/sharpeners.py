"""Who an edge is by: a person, a person in a stated condition, or whoever made the blade."""

from __future__ import annotations

from typing import Final

from .model.submission import Preparation

FACTORY: Final = "factory"
"""Stands for the sharpener of an edge that nobody has sharpened since it was delivered; no person's handle."""


def edge_by(preparation: Preparation) -> str:
    """What two edges have alike that are by one sharpener: the handle, with the condition where one is stated.

    Factory edges are each blade's own: makers differ, and nobody says who they were.
    """
    beside = preparation.blade if preparation.sharpener == FACTORY else preparation.condition
    return preparation.sharpener if beside is None else f"{preparation.sharpener} ({beside})"


def hand_of(preparation: Preparation) -> str | None:
    """The person behind an edge; None behind a factory's."""
    return None if preparation.sharpener == FACTORY else preparation.sharpener
