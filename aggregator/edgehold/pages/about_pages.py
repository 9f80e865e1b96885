"""Pages about all results at once: for analysts, the findings of the check, the data to download."""

from __future__ import annotations

from edgehold.errors import ERROR, WARNING
from edgehold.records.codes import CODES
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import choose
from .page import Findable, Page, render

KINDS = (("Errors", ERROR), ("Warnings", WARNING))
DESCRIBED = {
    "results.json": Reason("pages.data_results"),
    "repeatability.json": Reason("pages.data_repeatability"),
    "datapackage.json": Reason("pages.data_package"),
    "SHA256SUMS": Reason("archive.sums"),
    "answers.ipynb": Reason("pages.data_notebook", language="Python"),
    "answers.Rmd": Reason("pages.data_notebook", language="R"),
    "edgehold-data.zip": Reason("pages.data_kit"),
}


def analysts(results: Results) -> Page:
    """Heterogeneity, repeatability and the interlaboratory view of every pool."""
    pools = [*choose.measured(results), *choose.simulated(results)]
    html = render("analysts.html", pools=pools, plans=results.plans, not_fitted=results.not_fitted)
    return Page("/analysts/", "For analysts", html, "Results", Reason("pages.analysts_told"), contents=True)


def check() -> Page:
    """Every code that the check can print, errors apart from warnings."""
    kinds = [(title, [(name, code) for name, code in sorted(CODES.items()) if code.severity == severity]) for title, severity in KINDS]
    html = render("check.html", kinds=kinds)
    found = Findable(parts=tuple((name, "code", name, code.meaning) for name, code in sorted(CODES.items())))
    return Page("/check/", Reason("pages.findings_title"), html, "Take part", Reason("pages.findings_told"), found=found, contents=True)


def data(results: Results, downloads: tuple[str, ...]) -> Page:
    """Downloads, schemas, licence and where every number comes from."""
    tables = {name: Reason(f"kit.{name.removesuffix('.csv')}") for name in downloads if name.endswith(".csv")}
    tables |= {f"{name.removesuffix('.csv')}.parquet": Reason("kit.parquet", table=told) for name, told in tables.items()}
    html = render(
        "data.html",
        downloads=sorted(downloads, key=lambda name: (name.startswith("schemas/"), not name.endswith((".zip", ".ipynb", ".Rmd")), name)),
        described=DESCRIBED | tables,
        provenance=results.provenance,
        submissions=results.submissions,
        protocols=results.protocols,
    )
    return Page("/data/", Reason("pages.data_title"), html, "Data", Reason("pages.data_told"))
