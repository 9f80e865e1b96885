"""A method of one's own, opened from a file in the browser, beside a published one: the page, and what its script is handed."""

from __future__ import annotations

from collections.abc import Sequence

from edgehold.forms.method import reading_rules
from edgehold.words import Reason, group

from . import addresses
from .method_table import THREATS, Method, handling, settings_rows
from .page import Page, render
from .tonight_pages import inert_json

_SAYS = ("compares_", "side_by_side_", "checkpoints", "nothing", "reference_", "evening_own")


def own_method_page(found: Sequence[Method]) -> Page:
    """The page with every published method as data."""
    html = render("own_method.html", data=inert_json(own_method_rules(found)))
    return Page(addresses.OWN_METHOD, Reason("pages.own_method_title"), html, "Protocols", Reason("pages.own_method_told"))


def own_method_rules(found: Sequence[Method]) -> dict[str, object]:
    """Rows of every published method as the pages of two methods show them, and what a script needs to make those of another."""
    return {
        **reading_rules(),
        "threats": THREATS,
        "heads": [head for head, _ in settings_rows(found[0])],
        "methods": [_method(method) for method in found],
        "says": {name: text for name, text in group("pages").items() if name.startswith(_SAYS)},
        "names": group("lists")["names"],
    }


def _method(method: Method) -> dict[str, object]:
    version = method.version
    return {
        "id": version.id,
        "version": version.version,
        "title": method.settings.title,
        "at": addresses.version(version),
        "settings": [cell for _, (cell,) in settings_rows(method)],
        "threats": {kind: _handling(method, kind) for kind in THREATS},
    }


def _handling(method: Method, kind: str) -> dict[str, object]:
    handled, page = handling(method, kind), addresses.version(method.version)
    return {
        "threats": [
            {"text": threat.text, "steps": [[step, f"{page}#{addresses.segment(step)}"] for step in threat.steps]}
            for threat in handled.threats
        ],
        "standing": [[o.number, addresses.objection(o.protocol, o.number), o.severity == "blocking"] for o in handled.standing],
    }
