"""Pages about all results at once: for analysts, the data to download, objections."""

from __future__ import annotations

from aggregator.bundle.model import Results

from . import choose
from .page import Page, render

DESCRIBED = {
    "results.json": "everything below in one file: the results bundle",
    "datapackage.json": "describes the CSV files, column by column (Frictionless Data)",
}


def objections(results: Results) -> Page:
    """What an objection is, and that none is recorded."""
    html = render("objections.html", protocols=[p for p in results.protocols if p.newest])
    return Page("/objections/", "Objections", html, "Protocols", "Recorded flaws of methods, with answers")


def analysts(results: Results) -> Page:
    """Heterogeneity, repeatability and the interlaboratory view of every pool."""
    pools = [*choose.measured(results), *choose.simulated(results)]
    html = render("analysts.html", pools=pools)
    return Page("/analysts/", "For analysts", html, "Results", "Heterogeneity, repeatability, h and k", contents=True)


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
