"""The steels as published: what they are called, what they may hold, their family, and which are near and not pooled with them."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.records.canonical import Repository
from edgehold.records.compositions import UNTOLD, limits_of
from edgehold.records.model.registers import ElementLimits, SteelClass, SteelEntry
from edgehold.records.registers import Steels
from edgehold.records.steel_search import called, designations
from edgehold.results.model.results import ElementLimit, NearSteel, SteelResult
from edgehold.results.words.steels import share_range
from edgehold.words import Reason

ENOUGH = 4  # elements that one sentence names


def steel_results(repository: Repository) -> tuple[SteelResult, ...]:
    """The steels, and the classes of steels, that blades of submissions are of."""
    used = sorted({run.steel for s in repository.submissions for run in s.runs if run.steel})
    return tuple(_steel(repository.steels.by_id[name], repository.steels) for name in used)


def _steel(entry: SteelEntry | SteelClass, steels: Steels) -> SteelResult:
    named = isinstance(entry, SteelEntry)
    return SteelResult(
        id=entry.id,
        names=designations(entry),
        simulated=entry.origin == "simulated",
        note=entry.note or "",
        kind="named" if named else "class",
        family=entry.family,
        composition=tuple(map(_limits, entry.composition if isinstance(entry, SteelEntry) else entry.windows)),
        source=_source(entry) if isinstance(entry, SteelEntry) else entry.source,
        near=tuple(NearSteel(id=other.id, sentence=_near(entry, other)) for other in _near_steels(entry, steels)),
    )


def _source(entry: SteelEntry) -> str:
    if not entry.standard:
        return ""
    return Reason("steels.from_memory", standard=entry.standard) if entry.from_memory else entry.standard


def _near_steels(entry: SteelEntry | SteelClass, steels: Steels) -> Iterator[SteelEntry]:
    """By id; a pair is stated in one of its two entries."""
    for other in steels.by_id.values():
        if isinstance(entry, SteelEntry) and isinstance(other, SteelEntry) and (other.id in entry.near or entry.id in other.near):
            yield other


def _near(entry: SteelEntry | SteelClass, other: SteelEntry) -> str:
    mine, theirs = limits_of(entry), limits_of(other)
    apart = [element for element in {**mine, **theirs} if mine.get(element) != theirs.get(element)]
    apart.sort(key=lambda element: element in UNTOLD)  # silicon and manganese last: other elements make the steel
    told = ", ".join(
        Reason("steels.limits_apart", element=element, own=_range(mine.get(element)), other=_range(theirs.get(element)))
        for element in apart[:ENOUGH]
    )
    names = {"steel": called(entry), "other": called(other)}
    if not apart:
        return Reason("steels.near_alike", **names)
    if len(apart) > ENOUGH:
        return Reason("steels.near_more", told=told, more=len(apart) - ENOUGH, **names)
    return Reason("steels.near", told=told, **names)


def _limits(one: ElementLimits) -> ElementLimit:
    return ElementLimit(element=one.element, least=one.min, most=one.max)


def _range(limits: tuple[float, float] | None) -> str:
    """Limits of one element in words."""
    if limits is None:
        return Reason("steels.not_limited")
    low, high = limits
    return share_range(low or None, None if high >= 100 else high)
