"""Objections: what is open across protocols, and a page for each with its thread and its probes."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from edgehold.results.model.analyses import ProbeResult
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import EndpointResult, Pool, Results, SubmissionResult
from edgehold.results.model.versions import ProtocolResult
from edgehold.words import Reason

from . import addresses, safe_text
from .formatting import OBJECTION_STATES, endpoints_in_order, objection_state
from .page import Findable, Page, render

BEHIND_PROBES = (("probes.csv", Reason("pages.data_probes")), ("runs.csv", Reason("pages.data_runs")))
"""Files with the figures of probes, and what each holds."""


@dataclass(frozen=True)
class AskedProbe:
    """What all runs say to a probe that an objection or a response names.

    Attributes
    ----------
    name : the probe's name.
    question : in plain English; empty where it was asked nowhere.
    answers : at every endpoint where it was asked, by pool.
    """

    name: str
    question: str
    answers: tuple[tuple[Pool, EndpointResult, ProbeResult], ...]


def objection_pages(results: Results, downloads: Collection[str] = ()) -> Iterator[Page]:
    """The list of all objections, and each by itself; ``downloads`` are names of files to download."""
    html = render("objections.html", groups=by_state(results.objections), number=len(results.objections), titles=_titles(results))
    yield Page("/objections/", "Objections", html, "Protocols", Reason("pages.objections_told"))
    for objection in results.objections:
        yield _objection(results, objection, [(name, holds) for name, holds in BEHIND_PROBES if name in downloads])


def by_state(objections: Iterable[ObjectionResult]) -> list[tuple[str, list[ObjectionResult]]]:
    """Objections by their state, the unsettled first; states that none is in are left out."""
    kept = list(objections)
    groups = [(state, [o for o in kept if o.state == state]) for state in OBJECTION_STATES]
    return [(state, group) for state, group in groups if group]


def waiting(results: Results, protocol: ProtocolResult) -> list[ObjectionResult]:
    """Objections that call a version dangerous and close nothing yet: their objector is not known here, and a maintainer has to look."""
    unheard = set(protocol.blocking) - set(protocol.closed_by)
    return [o for o in results.objections if o.protocol == protocol.id and o.number in unheard and o.threat == "safety"]


def _titles(results: Results) -> dict[str, str]:
    """What each protocol is called, by id."""
    return {p.id: str(p.front.get("title", p.id)) for p in results.protocols if p.newest}


def _objection(results: Results, objection: ObjectionResult, files: list[tuple[str, str]]) -> Page:
    read = _version(results, objection, objection.version)
    html = render(
        "objection.html",
        o=objection,
        title=_titles(results).get(objection.protocol, objection.protocol),
        read=read,
        known={v.version for v in results.protocols if v.id == objection.protocol},
        steps=safe_text.headings(read.body) if read else frozenset(),
        cured=_version(results, objection, objection.revised_in),
        submissions=submissions_by_id(results),
        probes=[asked(results, objection, name) for name in objection.probes],
        files=files,
        pools=_pools(results, objection),
        waits=any(objection in waiting(results, version) for version in results.protocols if version.id == objection.protocol),
        file=addresses.repository_file(results.provenance.repository_url, objection.path) if objection.path else "",
    )
    address = addresses.objection(objection.protocol, objection.number)
    name = f"{objection.title or 'struck'}: objection {objection.number} to {objection.protocol or 'the analysis'}"
    names = (Reason("search.numbered_objection", number=objection.number), objection.step, objection.endpoint, objection.threat)
    told = f"{objection_state(objection).capitalize()}, {objection.severity}. {objection.statement}"
    return Page(address, name, html, "Protocols", record=True, found=Findable("objection", tuple(filter(None, names)), told))


def _version(results: Results, objection: ObjectionResult, version: str) -> ProtocolResult | None:
    return next((p for p in results.protocols if (p.id, p.version) == (objection.protocol, version)), None)


def submissions_by_id(results: Results) -> dict[str, SubmissionResult]:
    """Every submission that has a page."""
    return {s.id: s for s in (*results.submissions, *results.retracted)}


def asked(results: Results, objection: ObjectionResult, name: str) -> AskedProbe:
    """One probe in every pool of the protocol objected to; of all protocols, where the objection is to the analysis."""
    answers = [
        (pool, e, probe) for pool in _pools(results, objection) for e in endpoints_in_order(pool) for probe in e.probes if probe.id == name
    ]
    return AskedProbe(name, answers[0][2].question if answers else "", tuple(answers))


def _pools(results: Results, objection: ObjectionResult) -> list[Pool]:
    return [p for p in results.pools if objection.protocol in ("", p.protocol)]
