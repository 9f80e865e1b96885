"""Families of steels, arranged for the templates. Nothing is estimated here."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.results.model.families import FamiliesResult, FamilyAnswer
from edgehold.results.model.results import EndpointResult, Pool, Results, SteelResult

from . import bars
from .formatting import endpoints_in_order


@dataclass(frozen=True)
class FamiliesShown:
    """What a pool's page tells of families.

    Attributes
    ----------
    of : the primary endpoint's; else the first that holds families against each other, else the first of all.
    told : its comparisons of families that several steels stand for, or that nothing links, to be told in words.
    single : its families of which one steel was tested.
    found : every two families, early, late and overall.
    axis : one scale for all of them.
    """

    of: FamiliesResult
    told: list[tuple[EndpointResult, FamilyAnswer]]
    single: list[str]
    found: list[tuple[EndpointResult, FamilyAnswer]]
    axis: bars.Axis


def shown(pool: Pool) -> FamiliesShown | None:
    """What there is to tell; None where no two steels are compared with each other."""
    told = [(e, e.families) for e in endpoints_in_order(pool) if e.families is not None and _steels(e.families) > 1]
    if not told:
        return None
    endpoint, of = min(told, key=lambda one: (one[1].state != "estimated", not one[0].primary))
    found = [(e, answer) for e, families in told for answer in families.answers]
    results = [r for _, answer in found for r in (answer.result, answer.another)]
    in_words = [(endpoint, answer) for answer in of.answers if answer.about == "families" or answer.result is None]
    single = [one.family for one in of.members if len(one.steels) == 1]
    return FamiliesShown(of, in_words, single, found, bars.axis(results, endpoint.worthwhile_ratio))


def _steels(families: FamiliesResult) -> int:
    return sum(len(one.steels) for one in families.members)


def by_family(results: Results) -> list[tuple[str, list[SteelResult]]]:
    """Every family of which a submission names a steel, with its steels."""
    names = sorted({steel.family for steel in results.steels if steel.family})
    return [(name, [steel for steel in results.steels if steel.family == name]) for name in names]
