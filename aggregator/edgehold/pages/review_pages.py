"""Forms for what is published about methods: an objection, a response, an outcome, a protocol's draft."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import get_args

from edgehold.records.model.base import Interest
from edgehold.records.model.protocol import ThreatKind
from edgehold.records.model.review import OBJECTION_FORMAT, Outcome, Response
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import addresses
from .page import Page, render
from .tonight_pages import inert_json

Reviews = Mapping[str, dict[str, object]]
"""The rules of every form (``edgehold.forms.review``), by kind."""

_FORMS = (
    ("objection", addresses.OBJECTION_FORM, Reason("pages.raise_objection"), Reason("pages.raise_objection_told")),
    ("response", addresses.RESPONSE_FORM, Reason("pages.answer_objection"), Reason("pages.answer_objection_told")),
    ("outcome", addresses.OUTCOME_FORM, Reason("pages.decide_objection"), Reason("pages.decide_objection_told")),
    ("protocol", addresses.PROTOCOL_FORM, Reason("pages.draft_protocol"), Reason("pages.draft_protocol_told")),
)
_SECTION = "Protocols"


def review_pages(results: Results, reviews: Reviews) -> Iterator[Page]:
    """A page for each kind of file; without rules it says how to write the file by hand."""
    newest = next((p for p in results.protocols if p.newest and p.steps), None)
    example = {
        "id": newest.id if newest else "the-protocol",
        "version": newest.version if newest else "1.0.0",
        "step": newest.steps[0].id if newest else "s1-prepare",
        "month": newest.events[-1].month if newest and newest.events else "2026-01",
    }
    words = {
        "format": OBJECTION_FORMAT,
        "threats": get_args(ThreatKind),
        "interests": get_args(Interest),
        "responses": get_args(Response.model_fields["response"].annotation),
        "outcomes": get_args(Outcome.model_fields["outcome"].annotation),
    }
    for kind, address, title, description in _FORMS:
        rules = reviews.get(kind)
        data = inert_json(rules) if rules else ""
        html = render("review_form.html", kind=kind, title=title, example=example, data=data, **words)
        yield Page(address, title, html, _SECTION, description)
