"""All generated pages: a pure function of the results."""

from __future__ import annotations

from collections.abc import Mapping

from edgehold.results.model.results import Results

from .about_pages import analysts, check, data
from .explorer_pages import explorer
from .home import home
from .log_pages import log_pages
from .objection_pages import objection_pages
from .protocol_pages import protocol_pages
from .result_pages import result_pages
from .review_pages import Reviews, review_pages
from .sheet_pages import SheetView, sheet_pages
from .steel_pages import steel_pages
from .submission_pages import submission_pages
from .tonight_pages import Forms, tonight_pages


def generate_pages(
    results: Results,
    downloads: tuple[str, ...] = (),
    forms: Forms | None = None,
    sheets: Mapping[tuple[str, str], SheetView] | None = None,
    reviews: Reviews | None = None,
    base_url: str = "",
) -> tuple[tuple[str, str], ...]:
    """Every page made from the bundle.

    Parameters
    ----------
    results : the bundle.
    downloads : names of the files that will lie under ``data/``.
    forms : rules of the forms, by protocol id and version.
    sheets : ready-drawn sheets, by protocol id and version.
    reviews : rules of the forms about objections and protocols, by kind.
    base_url : address of the published site, for texts that leave it; empty where it has none.

    Returns
    -------
    (path, text) in the order of the path. A text is settings in YAML between two lines of hyphens, then finished HTML.
    """
    pages = [
        home(results),
        *result_pages(results),
        *log_pages(results),
        *steel_pages(results),
        *submission_pages(results),
        *protocol_pages(results, forms or {}, base_url),
        *tonight_pages(results, forms or {}, sheets or {}),
        *sheet_pages(sheets or {}),
        *objection_pages(results, downloads),
        *review_pages(results, reviews or {}),
        explorer(results),
        analysts(results),
        check(),
        data(results, downloads),
    ]
    return tuple(sorted(page.file() for page in pages))
