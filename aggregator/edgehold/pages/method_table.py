"""Methods side by side: all of them in one table, and every pair threat by threat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import get_args

from edgehold.forms.usual import UsualEvening, usual_evening
from edgehold.records.model.protocol import Protocol, ThreatKind
from edgehold.records.units import plural, quantity_text
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results
from edgehold.results.model.versions import ProtocolResult, ThreatResult
from edgehold.words import Reason, listed

from . import addresses
from .hands import settings_of
from .page import Findable, Page, render
from .safe_text import headings

THREATS: tuple[str, ...] = get_args(ThreatKind)


@dataclass(frozen=True)
class Method:
    """One method as tables show it.

    Attributes
    ----------
    version : as published.
    settings : its settings.
    evening : what the usual evening holds and tells; None where it cannot be planned.
    submissions : results that followed any of its versions.
    standing : objections that stand against it.
    """

    version: ProtocolResult
    settings: Protocol
    evening: UsualEvening | None
    submissions: int
    standing: tuple[ObjectionResult, ...]

    @property
    def linked_to(self) -> frozenset[str]:
        """Ids of the headings of its page."""
        return headings(self.version.body)

    @property
    def compared(self) -> str:
        """What it compares: an open kind, or its levels."""
        question = self.settings.question
        return listed([level.word for level in question.levels]) if question.levels else Reason(f"pages.compares_{question.factor}")

    @property
    def tells(self) -> str:
        """The half-width that the usual evening buys."""
        if self.evening is None:
            return Reason("pages.evening_unplanned")
        if not math.isfinite(self.evening.half_width):
            return Reason("pages.evening_alone", runs=self.evening.runs)
        return Reason("pages.evening_tells", width=math.exp(self.evening.half_width), runs=self.evening.runs)

    @property
    def built(self) -> int:
        """Things that have to be made first."""
        return sum(need.where == "made" for need in self.settings.needs)


@dataclass(frozen=True)
class Handling:
    """What one method does about one kind of threat.

    Attributes
    ----------
    threats : those of the kind that it names.
    standing : objections of the kind that stand against it.
    """

    threats: tuple[ThreatResult, ...]
    standing: tuple[ObjectionResult, ...]

    @property
    def open(self) -> bool:
        """Whether something of the kind is not dealt with: not named, left open, or under an objection."""
        return not self.threats or any(not threat.steps for threat in self.threats) or bool(self.standing)


def methods(results: Results, newest: Sequence[ProtocolResult]) -> list[Method]:
    """Every method whose settings are whole, by its newest version."""
    return [_method(results, version, settings) for version in newest if (settings := settings_of(version)) is not None]


def _method(results: Results, version: ProtocolResult, settings: Protocol) -> Method:
    objections = {o.number: o for o in results.objections if o.protocol == version.id}
    return Method(
        version=version,
        settings=settings,
        evening=usual_evening(settings),
        submissions=sum(s.protocol == version.id for s in results.submissions),
        standing=tuple(objections[number] for number in version.standing if number in objections),
    )


def handling(method: Method, kind: str) -> Handling:
    """What a method does about a kind of threat."""
    threats = tuple(threat for threat in method.version.threats if threat.kind == kind and threat.text)
    return Handling(threats, tuple(objection for objection in method.standing if objection.threat == kind))


def pair_pages(found: Sequence[Method]) -> Iterator[Page]:
    """A page for every two methods."""
    for one, other in combinations(found, 2):
        html = render(
            "methods_pair.html",
            both=(one, other),
            settings_rows=list(settings_rows(one, other)),
            threats=[(kind, (handling(one, kind), handling(other, kind))) for kind in THREATS],
            only=[(method, _only(method, beside)) for method, beside in ((one, other), (other, one))],
        )
        name = Reason("pages.methods_pair_title", first=one.version.id, second=other.version.id)
        yield Page(addresses.methods(one.version.id, other.version.id), name, html, "Protocols", record=True, found=Findable("method"))


def _only(method: Method, beside: Method) -> list[str]:
    """Kinds of threat that one leaves open and the other does not."""
    return [kind for kind in THREATS if handling(method, kind).open and not handling(beside, kind).open]


def settings_rows(*both: Method) -> Iterator[tuple[str, list[str]]]:
    """Rows of settings: head and both cells."""
    yield Reason("pages.method_question"), [method.settings.question.text for method in both]
    yield Reason("pages.method_what_is_compared"), [method.compared for method in both]
    yield Reason("pages.method_what_is_cut"), [method.settings.medium.name for method in both]
    yield Reason("pages.method_work"), [_work(method.settings) for method in both]
    yield Reason("pages.method_reading"), [method.settings.reading.description for method in both]
    yield (
        Reason("pages.method_cut_side_by_side"),
        [Reason(f"pages.side_by_side_{method.settings.design.side_by_side or 'none'}") for method in both],
    )
    yield Reason("pages.method_order"), [method.settings.design.order for method in both]
    yield Reason("pages.method_who_knows_what"), [method.settings.design.blinding for method in both]
    yield Reason("pages.method_alone_tonight"), [method.settings.people.alone for method in both]
    yield Reason("pages.method_least_runs"), [str(method.settings.design.least_runs) for method in both]
    yield Reason("pages.method_minutes_for_them"), [str(method.settings.minutes.whole) for method in both]
    yield Reason("pages.method_to_build_first"), [_listed_needs(method.settings, "made") for method in both]
    yield Reason("pages.method_to_buy"), [_listed_needs(method.settings, "cheap") for method in both]
    yield Reason("pages.method_what_an_evening_tells"), [method.tells for method in both]
    yield Reason("pages.method_reference_edge"), [_reference(method.settings) for method in both]


def _work(settings: Protocol) -> str:
    points = ", ".join(f"{point:g}" for point in settings.work.checkpoints)
    return Reason("pages.checkpoints", points=points, units=plural(settings.work.unit))


def _listed_needs(settings: Protocol, where: str) -> str:
    return "; ".join(need.item for need in settings.needs if need.where == where) or Reason("pages.nothing")


def _reference(settings: Protocol) -> str:
    if settings.reference is None:
        return Reason("pages.reference_none")
    return Reason("pages.reference_asked", edge=settings.reference.edge, work=quantity_text(settings.reference.work, settings.work.unit))
