"""Protocols: the newest version under its id, every version under its own address for good."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from aggregator.bundle.model import Pool, ProtocolResult, Results

from . import addresses, text
from .page import Page, render
from .tonight_pages import Forms


def protocol_pages(results: Results, forms: Forms) -> Iterator[Page]:
    """The index and everything below it; a version that has a form leads to it."""
    ids = sorted({p.id for p in results.protocols})
    groups = [(_newest(versions), versions) for versions in (_versions(results, i) for i in ids)]
    html = render("protocols.html", groups=groups)
    yield Page("/protocols/", "Protocols", html, "Protocols", "Versioned test methods for one evening")
    for newest, versions in groups:
        pools = [p for p in results.pools if p.protocol == newest.id]
        yield _protocol(newest, newest, versions, pools, forms, addresses.protocol(newest.id), record=False)
        for version in versions:
            yield _protocol(version, newest, versions, pools, forms, addresses.version(version), record=True)


def _versions(results: Results, protocol: str) -> list[ProtocolResult]:
    """All versions, the newest number first."""
    return sorted((p for p in results.protocols if p.id == protocol), key=_number, reverse=True)


def _number(protocol: ProtocolResult) -> tuple[int, ...]:
    return tuple(int(part) for part in protocol.version.split("."))


def _newest(versions: list[ProtocolResult]) -> ProtocolResult:
    return next((v for v in versions if v.newest), versions[0])


def _protocol(
    shown: ProtocolResult,
    newest: ProtocolResult,
    versions: list[ProtocolResult],
    pools: list[Pool],
    forms: Forms,
    address: str,
    *,
    record: bool,
) -> Page:
    drawings = {f.file: _figure(f.svg, f.caption, number) for number, f in enumerate(shown.figures, 1)}
    body = text.protocol_body(shown.body, drawings)
    html = render(
        "protocol.html",
        protocol=shown,
        front=shown.front,
        newest=newest,
        versions=versions,
        pools=pools,
        body=body,
        left_over=[drawing for drawing in drawings.values() if drawing not in body],
        permanent=record,
        has_form=(shown.id, shown.version) in forms,
    )
    name = f"{shown.front.get('title', shown.id)} {shown.version}"
    return Page(address, name, html, "Protocols", str(shown.front.get("title", "")), record=record, contents=True)


def _figure(svg: str, caption: str, number: int) -> Markup:
    drawn = text.drawing(svg, f"drawing-{number}-", caption)
    return Markup(f'<figure class="drawing">{drawn}<figcaption>{text.plain(caption)}</figcaption></figure>')
