"""The grade of a submission's evidence, as published."""

from __future__ import annotations

from edgehold.records.model.base import Record


class GradeResult(Record):
    """How much would have to be invented, by how many and how long beforehand; of the evidence, and never of a person."""

    grade: int
    """1: readings alone. 2: a check beside them. 3: planned under seal. 4: a blade read by a stranger as well. 5: all of these."""
    name: str
    """The grade in words."""
    kinds: tuple[str, ...]
    """What the file has beside its readings: references, guesses, films, sealed, travelled."""
    read_in: tuple[str, ...]
    """Ids of submissions in which strangers have read one of its blades; three at most."""
    why: tuple[str, ...]
    """What each of these shows, and no more."""
    raised_by: tuple[str, ...]
    """What would raise the grade by one, and what still can."""
