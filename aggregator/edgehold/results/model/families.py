"""Families of steels as published: a further level of the model, above the steels."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .answers import HowMuchResult, PriorResult
from .arguments import Arguments
from .ratio import RatioInterval


class FamilyMembers(Record):
    """The steels of one family that are compared with each other."""

    family: str
    """The alloy group."""
    steels: tuple[str, ...]
    """Register ids."""


class FamilyAnswer(Record):
    """One family of steels against another: the mean of all its steels, not only of those tested."""

    first: str
    """The family in the numerator."""
    second: str
    """The family in the denominator."""
    state: Literal["estimated", "not estimable"]
    """Whether there is a ratio."""
    about: Literal["families", "steels"]
    """What it is about: families, or steels where a single steel represents one of them; then there is no verdict."""
    sentence: str
    """The answer in plain English."""
    verdict: str
    """better, worse, no difference worth having, different (size undecided), undecided; empty where a single steel represents a family and
    where there is no ratio."""
    reason: str
    """Why there is no ratio; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    result: RatioInterval | None
    """Posterior median and central interval of the ratio."""
    probability_better: float | None
    """Posterior probability that the ratio lies above the worthwhile one; null where there is no verdict."""
    probability_within: float | None
    """Between one over the worthwhile ratio and it."""
    probability_worse: float | None
    """Below one over the worthwhile ratio."""
    ruled_out_beyond: float | None
    """A difference larger than this ratio either way is ruled out; null where there is no verdict."""
    another: RatioInterval | None
    """The same for one more steel of each family, which nobody has tested."""
    steels_first: tuple[str, ...]
    """Steels of the first that were tested."""
    steels_second: tuple[str, ...]
    """Steels of the second that were tested."""


class FamiliesResult(Record):
    """What all runs of one endpoint say about families of steels."""

    state: Literal["estimated", "not estimable", "not fitted"]
    """Whether any two are compared."""
    reason: str
    """Why not; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    members: tuple[FamilyMembers, ...]
    """Families with their steels, from the largest group of steels that are compared with each other."""
    apart: tuple[str, ...]
    """Steels that are not compared with those."""
    prior: PriorResult | None
    """Prior of the spread between steels of one family; null where there is no fit."""
    spread: HowMuchResult | None
    """How much two steels of one family differ; null where that is not estimable."""
    answers: tuple[FamilyAnswer, ...]
    """Every two families, by name."""
