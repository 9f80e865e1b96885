"""Kinds of rules about a composition without a designation; ``site/pages/assets/form/steel_kinds.js`` says the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from edgehold.records.compositions import distance, limits_of, outside
from edgehold.records.steel_search import called, class_of, named_fits, nearest
from edgehold.words import Reason

from .sight import Around, Kind, Sight, places
from .table import Entry

MOST_NAMED = 3  # designations that one message names

Told = Callable[[Mapping[str, float], Around], str]


def _composed(told: Told) -> Kind:
    """A kind that looks at every blade with a composition and no designation."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        for stars, composition in places(around.record, entry["at"]):
            steel = around.record.blades[stars[0]].steel
            if composition and steel is not None and steel.designation is None:
                message = told(composition, around)
                if message:
                    yield Sight(stars, composition, told=message)

    return kind


def _no_class(composition: Mapping[str, float], around: Around) -> str:
    origin = around.record.origin
    if class_of(around.steels, composition, origin) or named_fits(around.steels, composition, origin):
        return ""
    near = nearest(around.steels, composition, origin)
    if near is None:
        return Reason("questions.no_steel_class", composition=_text(composition))
    apart = outside(limits_of(near), composition)
    away = {"distance": distance(apart)}
    return Reason("questions.no_steel_class_near", composition=_text(composition), nearest=called(near), apart=_apart(apart), **away)


def _named_fits(composition: Mapping[str, float], around: Around) -> str:
    origin = around.record.origin
    fits = named_fits(around.steels, composition, origin)[:MOST_NAMED]
    code = "questions.named_steel_fits" if class_of(around.steels, composition, origin) else "questions.only_named_steel_fits"
    return Reason(code, composition=_text(composition), names=" and ".join(map(called, fits))) if fits else ""


def _text(composition: Mapping[str, float]) -> str:
    """A composition as in a label, in the file's order."""
    return " ".join(f"{element} {share:g}" for element, share in composition.items())


def _apart(apart: Mapping[str, float]) -> str:
    sides = {True: "questions.element_above", False: "questions.element_below"}
    return ", ".join(Reason(sides[by > 0], element=element, by=abs(by)) for element, by in apart.items())


STEEL_KINDS: dict[str, Kind] = {
    "no class": _composed(_no_class),
    "named steel": _composed(_named_fits),
}
