"""The first page: the answer first, for none, one, two and more measured submissions."""

from __future__ import annotations

from aggregator.bundle.model import Pool, Results

from . import choose
from .curves import curves
from .page import Page, render
from .words import primary


def home(results: Results) -> Page:
    """The landing page."""
    pools = choose.shown_first(results)
    lead = choose.pool_about(pools, "steel") or (pools[0] if pools else None)
    sharpening = choose.with_practice(pools)
    html = render(
        "home.html",
        answer=_answer(results, lead),
        is_simulated=bool(pools) and pools[0].origin == "simulated",
        lead=lead,
        lead_endpoint=primary(lead) if lead else None,
        quoted=choose.headline_comparison(lead) if lead else None,
        chart=curves(lead, lead.headline) if lead else "",
        sharpening=sharpening,
        practice=choose.practice(sharpening) if sharpening else [],
        demonstration=choose.simulated(results),
        counts=_counts(results),
        protocols=[p for p in results.protocols if p.newest],
    )
    return Page("/", "Edgehold", html, "Home", "Was it the steel, the sharpening, or the tester? Cutting tests, pooled.")


def _answer(results: Results, lead: Pool | None) -> str:
    """One sentence for 0, 1, 2 and more measured submissions each."""
    number = choose.measured_submissions(results)
    if number == 0:
        return "Nobody has sent in a measured result yet, so nothing can be said about any real steel."
    if number == 1:
        return "One measured submission so far: it stands for its own blades and people, and nothing is pooled yet."
    if number == 2:
        return "Two measured submissions so far: they stand side by side, because two are too few to pool."
    return lead.headline if lead else ""


def _counts(results: Results) -> list[tuple[int, int, str]]:
    """Measured and simulated counts, live."""
    groups = {"measured": choose.measured(results), "simulated": choose.simulated(results)}
    return [
        (
            sum(s.origin == "measured" for s in results.submissions),
            sum(s.origin == "simulated" for s in results.submissions),
            "submissions",
        ),
        *(
            (
                sum(getattr(p.counts, noun) for p in groups["measured"]),
                sum(getattr(p.counts, noun) for p in groups["simulated"]),
                noun,
            )
            for noun in ("runs",)
        ),
        (len({(p.id) for p in results.protocols}),) * 2 + ("protocols",),
    ]
