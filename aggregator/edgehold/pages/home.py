"""The first page: the answer first, for none, one, two and more measured submissions."""

from __future__ import annotations

from collections.abc import Callable

from edgehold.results.model.results import Pool, Results, SubmissionResult
from edgehold.words import Reason, together

from . import addresses, analyses, bars, choose
from .curves import curves
from .page import Page, render


def home(results: Results) -> Page:
    """The landing page."""
    pools = choose.shown_first(results)
    lead = choose.pool_about(pools, "steel") or (pools[0] if pools else None)
    sharpening = choose.with_practice(pools)
    quoted = choose.headline_pair(lead) if lead else []
    html = render(
        "home.html",
        answer=_answer(results, lead),
        look_up=addresses.COMPARE,
        is_simulated=bool(pools) and pools[0].origin == "simulated",
        lead=lead,
        quoted=quoted,
        quoted_axis=bars.axis([c.result for _, c in quoted], min(e.worthwhile_ratio for e, _ in quoted)) if quoted else None,
        chart=curves(lead, lead.headline) if lead else "",
        matters=_matters(lead),
        sharpening=sharpening,
        practice=choose.practice(sharpening) if sharpening else [],
        demonstration=choose.simulated(results),
        counts=_counts(results),
        protocols=[p for p in results.protocols if p.newest],
    )
    return Page("/", "Edgehold", html, "Home", Reason("pages.home_told"), record=True)


def _answer(results: Results, lead: Pool | None) -> str:
    """One sentence for 0, 1, 2 and more measured submissions each."""
    number = choose.measured_submissions(results)
    if number == 0:
        return Reason("pages.no_measured")
    few = {1: Reason("pages.one_measured"), 2: Reason("pages.two_measured")}.get(number, "")
    if lead is None:
        return few
    return together(few, choose.quoted_sentence(lead)) if few else lead.headline


def _matters(lead: Pool | None) -> str:
    """Steel, sharpening, tester or blade, early and late, in a sentence each; empty where no model was fitted."""
    if lead is None:
        return ""
    return " ".join(e.model.matters_sentence for e in analyses.answered(lead) if e.model is not None and e.role != "overall")


def _counts(results: Results) -> list[tuple[str, int, int]]:
    """What is in the repository: noun, measured, simulated."""
    measured, simulated = ([s for s in results.submissions if s.origin == origin] for origin in ("measured", "simulated"))
    counted: dict[str, Callable[[list[SubmissionResult]], int]] = {
        "submissions": len,
        "runs": lambda group: sum(len(s.runs) for s in group),
        "people": lambda group: len({p for s in group for p in s.people}),
        "blades": lambda group: len({r.blade for s in group for r in s.runs}),
    }
    return [(noun, count(measured), count(simulated)) for noun, count in counted.items()]
