"""A page a steel: what every pool says about it, medium by medium."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.results import Pool, Results, SteelResult
from edgehold.words import Reason

from . import addresses, bars, choose
from .formatting import endpoints_in_order
from .page import Found, Page, render


def steel_pages(results: Results) -> Iterator[Page]:
    """The index and a page for every steel that some submission names."""
    rows = [(steel, [p for p in results.pools if _compares(p, steel.id)]) for steel in sorted(results.steels, key=_order)]
    yield Page("/steels/", "Steels", render("steels.html", rows=rows), "Results", Reason("pages.steels_told"))
    known = {steel.id for steel in results.steels}
    yield from (_steel(steel, pools, known) for steel, pools in rows)


def _order(steel: SteelResult) -> tuple[bool, str]:
    return steel.simulated, steel.id


def _compares(pool: Pool, steel: str) -> bool:
    return any(steel in (c.first, c.second) for e in pool.endpoints for c in e.steels)


def _steel(steel: SteelResult, pools: list[Pool], known: set[str]) -> Page:
    sections = [
        (
            pool,
            endpoints_in_order(pool),
            {e.id: bars.axis_of(e, e.steels) for e in pool.endpoints},
            [
                (first, second, {e.id: c for e, c in choose.of_pair(pool, "steel", first, second)})
                for first, second in choose.pairs(pool, "steel")
                if steel.id in (first, second)
            ],
        )
        for pool in pools
    ]
    html = render("steel.html", steel=steel, sections=sections, known=known)
    return Page(
        addresses.steel(steel.id), f"Steel {steel.id}", html, "Results", record=True, found=Found("steel", choose.called(steel), steel.note)
    )
