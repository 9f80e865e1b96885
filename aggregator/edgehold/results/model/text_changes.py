"""Lines of a method that changed, as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Record


class TextChangeResult(Record):
    """Successive lines of the method's text within one step."""

    step: str
    """The step's id; empty outside all steps. A folded stretch may reach into further ones."""
    kind: Literal["same", "removed", "added"]
    """Whether they stand in both versions, in the older or in the newer alone."""
    lines: tuple[str, ...]
    """The lines, as Markdown; empty where an unchanged stretch is folded."""
    folded: int
    """How many unchanged lines are not shown; 0 otherwise."""
