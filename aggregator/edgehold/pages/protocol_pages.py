"""Protocols: the newest version under its id, every version under its own address for good, and what each one changed."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.cards.method import method_card
from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results
from edgehold.results.model.text_changes import TextChangeResult
from edgehold.results.model.versions import DifferenceResult, ProtocolResult
from edgehold.words import Reason

from . import addresses, safe_text
from .hands import hands_of_result, settings_of
from .method_table import methods, pair_pages
from .objection_pages import by_state, submissions_by_id, waiting
from .own_method import own_method_page
from .page import Findable, Page, render
from .tonight_pages import Forms

Objections = Mapping[int, ObjectionResult]
"""Objections to one protocol by number."""


@dataclass(frozen=True)
class Passage:
    """Successive pieces of a text difference that belong to one step, or to none.

    Attributes
    ----------
    step, title : the step's id and heading; empty outside the steps.
    anchor : the passage's id on the page; empty where the step had a passage before.
    pieces : what stands in one version or in both.
    """

    step: str
    title: str
    anchor: str
    pieces: tuple[TextChangeResult, ...]


def protocol_pages(results: Results, forms: Forms, base_url: str = "") -> Iterator[Page]:
    """The index and everything below it; a version that has a form leads to it. Cards name the site's address where it has one."""
    ids = sorted({p.id for p in results.protocols})
    groups = [(_newest(versions), versions) for versions in (_versions(results, i) for i in ids)]
    told = methods(results, [newest for newest, _ in groups])
    html = render("protocols.html", groups=groups, methods=told)
    yield Page("/protocols/", "Protocols", html, "Protocols", Reason("pages.protocols_told"))
    yield from pair_pages(told)
    if told:
        yield own_method_page(told)
    for newest, versions in groups:
        yield _protocol(results, newest, versions, forms, base_url, record=False)
        for version in versions:
            yield _protocol(results, version, versions, forms, base_url, record=True)
            if version.difference:
                yield _changes(version, version.difference, objections_to(results, version.id))


def objections_to(results: Results, protocol: str) -> Objections:
    """Objections to one protocol by number."""
    return {o.number: o for o in results.objections if o.protocol == protocol}


def _versions(results: Results, protocol: str) -> list[ProtocolResult]:
    """All versions, the newest number first."""
    return sorted((p for p in results.protocols if p.id == protocol), key=_number, reverse=True)


def _number(protocol: ProtocolResult) -> tuple[int, ...]:
    return tuple(int(part) for part in protocol.version.split("."))


def _newest(versions: list[ProtocolResult]) -> ProtocolResult:
    return next((v for v in versions if v.newest), versions[0])


def _protocol(
    results: Results, shown: ProtocolResult, versions: list[ProtocolResult], forms: Forms, base_url: str, *, record: bool
) -> Page:
    address = addresses.version(shown) if record else addresses.protocol(shown.id)
    drawings = {f.file: _figure(f.svg, f.caption, number) for number, f in enumerate(shown.figures, 1)}
    objections = objections_to(results, shown.id)
    body = safe_text.protocol_body(shown.body, drawings, _below_steps(shown, objections))
    card = _card(shown, base_url)
    html = render(
        "protocol.html",
        protocol=shown,
        front=shown.front,
        newest=_newest(versions),
        versions=versions,
        pools=[p for p in results.pools if p.protocol == shown.id],
        body=body,
        hands=hands_of_result(shown, "hands-"),
        linked_to=safe_text.headings(shown.body),
        left_over=[drawing for drawing in drawings.values() if drawing not in body],
        permanent=record,
        has_form=(shown.id, shown.version) in forms,
        card=card,
        card_lines=Markup("&#10;").join(safe_text.plain(line) for line in card.splitlines()),
        objections=objections,
        groups=by_state(objections[n] for n in shown.concerned),
        waiting=waiting(results, shown),
        submissions=submissions_by_id(results),
    )
    name = f"{shown.front.get('title', shown.id)} {shown.version}"
    question = shown.front.get("question")
    found = Findable("method", (shown.id,), str(question.get("text", "")) if isinstance(question, dict) else "", older=record)
    return Page(address, name, html, "Protocols", str(shown.front.get("title", "")), record=record, found=found, contents=True)


def _card(shown: ProtocolResult, base_url: str) -> str:
    """The version in a post; empty where its settings are not whole."""
    settings = settings_of(shown)
    if settings is None:
        return ""
    base = base_url.rstrip("/")
    here, ask = (base and base + path for path in (addresses.version(shown), addresses.objection_form(shown.id, shown.version)))
    return method_card(settings, shown.status, shown.sha256, here, ask)


def _below_steps(shown: ProtocolResult, objections: Objections) -> dict[str, Markup]:
    """What stands below a step's heading: the way to object to it, and what was objected."""
    return {
        step.id: render("_step_note.html", protocol=shown, step=step, found=[objections[n] for n in step.objections])
        for step in shown.steps
    }


def _changes(version: ProtocolResult, difference: DifferenceResult, objections: Objections) -> Page:
    titles = {step.id: step.title for step in (*difference.steps, *version.steps)}
    passages = _passages(difference.text, titles)
    title = version.front.get("title", version.id)
    html = render(
        "changes.html",
        protocol=version,
        title=title,
        difference=difference,
        older_at=f"{addresses.protocol(version.id)}{addresses.segment(difference.older)}/",
        cured=[objections[n] for n in difference.cures],
        by_number=objections,
        touched={step.id for step in difference.steps},
        kept={step.id for step in version.steps},
        linked_to=safe_text.headings(version.body),
        passages=passages,
        in_text={passage.step for passage in passages},
    )
    return Page(
        addresses.changes(version), f"What changed: {title} {version.version}", html, "Protocols", record=True, found=Findable("method")
    )


def _passages(pieces: Iterable[TextChangeResult], titles: Mapping[str, str]) -> list[Passage]:
    found: list[Passage] = []
    for step, group in itertools.groupby(pieces, key=lambda piece: piece.step):
        new = step and all(passage.step != step for passage in found)
        found.append(Passage(step, titles.get(step, ""), f"text-{addresses.segment(step)}" if new else "", tuple(group)))
    return found


def _figure(svg: str, caption: str, number: int) -> Markup:
    drawn = safe_text.drawing(svg, f"drawing-{number}-", caption)
    return Markup(f'<figure class="drawing">{drawn}<figcaption>{safe_text.plain(caption)}</figcaption></figure>')
