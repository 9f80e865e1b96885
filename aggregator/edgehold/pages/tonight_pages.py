"""Do it tonight: from a question to a form, and the form of every protocol version that takes submissions."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping

from markupsafe import Markup

from edgehold.forms.planner import newest_of, planner_rules
from edgehold.forms.submission import OPEN
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results
from edgehold.results.model.versions import ProtocolResult
from edgehold.words import Reason
from edgehold.words.cautions import CAUTIONS

from . import addresses
from .hands import Hands, hands_of_result
from .objection_pages import waiting
from .page import Findable, Page, render
from .where_results_go import where_results_go

Forms = Mapping[tuple[str, str], dict[str, object]]
"""The rules of every form (``edgehold.forms.submission``), by protocol id and version."""

INERT = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
"""What could end a block of data, or begin another one; JSON may write any character as an escape."""

PLANNED = ("plan", "planner", "sample size", "power")  # what people call it who search


def tonight_pages(results: Results, forms: Forms, sheets: Collection[tuple[str, str]] = ()) -> Iterator[Page]:
    """The index, and a page for each form; ``sheets`` are the versions that have one ready-drawn.

    Where an objection about safety closes a form, it stands at the addresses of form and sheet in their place.
    """
    closed = [(p, _closing(results, p)) for p in results.protocols if p.closed_by and p.status in OPEN]
    known = {(p.id, p.version) for p in results.protocols}
    planner, newest = planner_rules(forms) if forms else None, newest_of(forms)
    html = render(
        "tonight.html",
        newest=[forms[key] for key in newest],
        older=any(key not in newest for key in forms),
        hands=_hands(results, newest),
        cautions=CAUTIONS,
        known=known,
        sheets=sheets,
        closed=closed,
        planner=planner,
        planner_data=inert_json(planner),
        where=where_results_go(results.provenance.repository_url),
    )
    yield Page(
        "/tonight/",
        Reason("pages.tonight_title"),
        html,
        Reason("pages.tonight_title"),
        Reason("pages.tonight_told"),
        found=Findable(names=PLANNED),
    )
    for key, rules in forms.items():
        yield _form(key, rules, sheets, results)
    for protocol, objections in closed:
        yield from _closed(protocol, objections)


def _hands(results: Results, keys: Collection[tuple[str, str]]) -> dict[str, Hands]:
    """What the hands need of the version that is planned by, by protocol: the planner's sheet carries it."""
    return {p.id: hands_of_result(p, f"plan-{p.id}-") for p in results.protocols if (p.id, p.version) in keys}


def _closing(results: Results, protocol: ProtocolResult) -> list[ObjectionResult]:
    return [o for o in results.objections if o.protocol == protocol.id and o.number in protocol.closed_by]


def _closed(protocol: ProtocolResult, objections: list[ObjectionResult]) -> Iterator[Page]:
    """What stands where the form and the sheet of a closed version were."""
    title = f"{protocol.front.get('title', protocol.id)} {protocol.version}"
    for what, address in (("form", addresses.form), ("sheet", addresses.sheet)):
        html = render("tonight_closed.html", protocol=protocol, objections=objections, what=what)
        yield Page(
            address(protocol.id, protocol.version),
            Reason("pages.closed_title", title=title, what=what),
            html,
            Reason("pages.tonight_title"),
            record=True,
            found=Findable(what),
        )


def _form(key: tuple[str, str], rules: dict[str, object], sheets: Collection[tuple[str, str]], results: Results) -> Page:
    front, (protocol, version) = rules["protocol"], key
    title = front["title"] if isinstance(front, dict) else protocol
    html = render(
        "tonight_form.html",
        front=front,
        rules=rules,
        to_fill=rules["to_fill"],
        data=inert_json(rules),
        drawn=key in sheets,
        where=where_results_go(results.provenance.repository_url),
        waiting=[o for p in results.protocols if (p.id, p.version) == key for o in waiting(results, p)],
    )
    address = addresses.form(protocol, version)
    told = Reason("pages.form_told", title=title)
    name = f"{title} {version}: the form"
    return Page(address, name, html, Reason("pages.tonight_title"), told, record=True, found=Findable("form", (protocol,)))


def inert_json(value: object) -> Markup:
    """JSON that nothing in it can lead out of its block."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    for character, escape in INERT.items():
        text = text.replace(character, escape)
    return Markup(text)
