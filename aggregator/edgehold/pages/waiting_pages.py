"""What waits for a maintainer: every open objection that somebody has to act on, each with the one command that does it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from edgehold.records.layout import ANALYSIS
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import addresses
from .objection_pages import waiting
from .page import Page, render

SETTING = "edgehold.handle"
"""Where git keeps the maintainer's handle, so that every command is ready to copy."""
ORDER = ("danger", "revision", "rebuttal", "unanswered", "asked")
DECIDES = {"revision": "revised", "rebuttal": "rebutted", "unanswered": "upheld and unresolved", "asked": "upheld and unresolved"}


@dataclass(frozen=True)
class Case:
    """One objection that waits.

    Attributes
    ----------
    kind : danger, revision, rebuttal, unanswered or asked; the most urgent first.
    objection : which.
    command : what deals with it. It reads the reason from standard input.
    """

    kind: str
    objection: ObjectionResult
    command: str

    @property
    def told(self) -> str:
        """Why it waits, and when the command is right."""
        if self.kind == "revision":
            return Reason("waiting.revision", version=_revised_in(self.objection))
        return Reason(f"waiting.{self.kind}")


def waiting_page(results: Results) -> Page:
    """``/objections/waiting/``."""
    dangerous = {(o.protocol, o.number) for version in results.protocols for o in waiting(results, version)}
    titles = {p.id: str(p.front.get("title", p.id)) for p in results.protocols if p.newest}
    found = cases(results.objections, dangerous)
    html = render("waiting.html", cases=found, titles=titles, setting=SETTING)
    return Page(addresses.WAITING, Reason("waiting.title"), html, "Protocols", Reason("waiting.lead"))


def cases(objections: Iterable[ObjectionResult], dangerous: Collection[tuple[str, int]]) -> list[Case]:
    """Those that wait, the most urgent first, and what the demonstration invented behind all others.

    One that repeats another is decided there, and one that was upheld waits for a version or for something new.

    Parameters
    ----------
    objections : all of them.
    dangerous : protocol and number of those that call a method dangerous and close no form yet.
    """
    found = [
        _case("danger" if (o.protocol, o.number) in dangerous else kind, o) for o in objections if o.repeats is None and (kind := _kind(o))
    ]
    return sorted(
        found, key=lambda case: (case.objection.simulated, ORDER.index(case.kind), case.objection.protocol, case.objection.number)
    )


def _kind(objection: ObjectionResult) -> str:
    """By what was said since the last outcome; empty where nothing waits."""
    last = max((n for n, entry in enumerate(objection.entries) if entry.kind == "outcome"), default=-1)
    said = {entry.says for entry in objection.entries[last + 1 :]}
    answered = next((kind for kind in ("revision", "rebuttal") if kind in said), "")
    if objection.state not in ("open", "upheld and unresolved") or (objection.state != "open" and not answered):
        return ""
    return answered or ("asked" if said else "unanswered")


def _revised_in(objection: ObjectionResult) -> str:
    return next((entry.revised_in for entry in reversed(objection.entries) if entry.says == "revision"), "")


def _case(kind: str, objection: ObjectionResult) -> Case:
    protocol, number = objection.protocol or ANALYSIS, objection.number
    if kind == "danger":
        return Case(kind, objection, Reason("waiting.ask", protocol=protocol, number=number, setting=SETTING))
    decide = Reason("waiting.decide", protocol=protocol, number=number, outcome=DECIDES[kind], setting=SETTING)
    return Case(kind, objection, decide)
