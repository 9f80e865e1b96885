"""Two runs cut in turn: which run is whose partner, and which half of the edge each has."""

from __future__ import annotations

from typing import Final

from .model.base import EdgePart

HALVES: Final[tuple[EdgePart, EdgePart]] = ("heel", "tip")


def partner_of(order: int) -> int:
    """Place of the partner where runs go in twos: 2 of 1, 1 of 2, 4 of 3 …"""
    return order + 1 if order % 2 else order - 1


def half_of(order: int, first: int = 0) -> EdgePart:
    """The half of a run by its place; ``first`` is the number in ``HALVES`` that run 1 has. Halves alternate from run to run."""
    return HALVES[(order - 1 + first) % 2]


def pair_label(run: str, partner: str | None) -> str:
    """What both runs of a pair are called alike, by their ids; a run without a partner is a pair of its own."""
    return " and ".join(sorted({run, partner or run}))
