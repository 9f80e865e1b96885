"""What a field of the published record wants, out of the plain words that the stages give."""

from __future__ import annotations

from typing import Literal, TypeVar

Word = TypeVar("Word", bound=str)

ORIGINS: tuple[Literal["measured", "simulated"], ...] = ("measured", "simulated")
"""Where runs come from."""
STATES: tuple[Literal["pooled", "listed", "single", "not estimable", "not fitted"], ...] = (
    "pooled",
    "listed",
    "single",
    "not estimable",
    "not fitted",
)
"""How far a comparison by studies comes."""
FITTED: tuple[Literal["fitted", "not fitted"], ...] = ("fitted", "not fitted")
"""Whether there is a fit."""
ANSWERED: tuple[Literal["steel", "practice", "level"], ...] = ("steel", "practice", "level")
"""What the model of all runs compares."""
CURVES_OF: tuple[Literal["steel", "level"], ...] = ("steel", "level")
"""What curves are of."""
TOLD: tuple[Literal["yes", "weak", "no"], ...] = ("yes", "weak", "no")
"""Whether runs can tell a thing."""


def one_of(word: str, words: tuple[Word, ...]) -> Word:
    """The word as one of those that a field may hold.

    Raises
    ------
    ValueError
        It is none of them.
    """
    for known in words:
        if word == known:
            return known
    raise ValueError(f"got {word!r}, wanted one of {words}")
