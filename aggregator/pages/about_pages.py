"""Pages about all results at once: for analysts, the data to download, objections."""

from __future__ import annotations

from aggregator.bundle.model import ObjectionResult, Results
from aggregator.errors import ERROR, WARNING
from aggregator.records.codes import CODES

from . import choose
from .page import Page, render

KINDS = (("Errors", ERROR), ("Warnings", WARNING))
DESCRIBED = {
    "results.json": "everything below in one file: the results bundle",
    "repeatability.json": "how much runs differ that should be alike, with its hash: what the form and a report judge one submission by",
    "datapackage.json": "describes the CSV files, column by column (Frictionless Data)",
}


def objections(results: Results) -> Page:
    """Every objection with its thread, and what an objection is."""
    anchored = {(o.protocol, o.number) for o in results.objections if _has_step(results, o)}
    newest = [p for p in results.protocols if p.newest]
    html = render("objections.html", objections=results.objections, anchored=anchored, protocols=newest)
    return Page("/objections/", "Objections", html, "Protocols", "Recorded flaws of methods, with answers")


def _has_step(results: Results, objection: ObjectionResult) -> bool:
    """Whether the version objected to is here and has the step, so that a link can lead to it."""
    target = (objection.protocol, objection.version)
    bodies = (p.body for p in results.protocols if (p.id, p.version) == target)
    return bool(objection.step) and any(f"\n### {objection.step} " in body for body in bodies)


def analysts(results: Results) -> Page:
    """Heterogeneity, repeatability and the interlaboratory view of every pool."""
    pools = [*choose.measured(results), *choose.simulated(results)]
    html = render("analysts.html", pools=pools, plans=results.plans)
    return Page("/analysts/", "For analysts", html, "Results", "Models of all runs, heterogeneity, repeatability, h and k", contents=True)


def check() -> Page:
    """Every code that the check can print, errors apart from warnings."""
    kinds = [(title, [(name, code) for name, code in sorted(CODES.items()) if code.severity == severity]) for title, severity in KINDS]
    html = render("check.html", kinds=kinds)
    return Page("/check/", "What the check finds", html, "Take part", "Every finding, what it means and its usual cure", contents=True)


def data(results: Results, downloads: tuple[str, ...]) -> Page:
    """Downloads, schemas, licence and where every number comes from."""
    html = render(
        "data.html",
        downloads=downloads,
        described=DESCRIBED,
        provenance=results.provenance,
        submissions=results.submissions,
        protocols=results.protocols,
    )
    return Page("/data/", "Data and schemas", html, "Data", "Every number, to download")
