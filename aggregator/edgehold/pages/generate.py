"""All generated pages: a pure function of the results."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from edgehold.archive.folder import Kept
from edgehold.results.model.results import Results

from . import addresses, structured
from .about_pages import analysts, check, data
from .archive_pages import archive_page
from .archived import carries_figures
from .citing import Cited, cite_block
from .compare_pages import compare_pages
from .explorer_pages import explorer
from .home import home
from .log_pages import log_pages
from .objection_pages import objection_pages
from .page import Page
from .protocol_pages import protocol_pages
from .result_pages import result_pages
from .review_pages import Reviews, review_pages
from .sheet_pages import SheetView, sheet_pages
from .steel_pages import steel_pages
from .submission_pages import submission_pages
from .tonight_pages import Forms, tonight_pages
from .waiting_pages import waiting_page

UNCITED = frozenset({"/results/", "/steels/", "/results/log/", "/analysts/"})
"""Pages that lead to figures and are none that somebody cites."""


def files_of(pages: Iterable[Page]) -> tuple[tuple[str, str], ...]:
    """Path and text of every page, in the order of the path."""
    return tuple(sorted(page.file() for page in pages))


def cited_pages(
    pages: Iterable[Page], results: Results, downloads: tuple[str, ...], cited: Cited, builds: Sequence[Kept]
) -> tuple[Page, ...]:
    """The same pages with what is known only once the build has its name: how to cite them, and what they say for machines.

    Parameters
    ----------
    pages : as made.
    results, downloads : as they were made from.
    cited : the build.
    builds : all that are kept, for their list.
    """
    described = {addresses.pool(pool): structured.of_pool(pool, cited) for pool in results.pools}
    described["/data/"] = structured.all_data(results, downloads, cited)
    finished = (
        replace(
            page,
            html=page.html + cite_block(cited, page) if carries_figures(page) and page.address not in UNCITED else page.html,
            structured=described.get(page.address, ""),
        )
        for page in pages
    )
    return (*finished, archive_page(builds, cited, results.provenance.repository_url))


def made_pages(
    results: Results,
    downloads: tuple[str, ...] = (),
    forms: Forms | None = None,
    sheets: Mapping[tuple[str, str], SheetView] | None = None,
    reviews: Reviews | None = None,
    base_url: str = "",
    drawn: Callable[[], object] | None = None,
) -> tuple[Page, ...]:
    """Every page made from the bundle.

    Parameters
    ----------
    results : the bundle.
    downloads : names of the files that will lie under ``data/``.
    forms : rules of the forms, by protocol id and version.
    sheets : ready-drawn sheets, by protocol id and version.
    reviews : rules of the forms about objections and protocols, by kind.
    base_url : address of the published site, for texts that leave it; empty where it has none.
    drawn : waits for curves that are drawn meanwhile; the pages that show them are made last.
    """
    without_curves = (
        *log_pages(results),
        *compare_pages(results, forms or {}, base_url),
        *steel_pages(results),
        *submission_pages(results, downloads),
        *protocol_pages(results, forms or {}, base_url),
        *tonight_pages(results, forms or {}, sheets or {}),
        *sheet_pages(sheets or {}),
        *objection_pages(results, downloads),
        waiting_page(results),
        *review_pages(results, reviews or {}),
        explorer(results),
        analysts(results),
        check(),
        data(results, downloads),
    )
    if drawn is not None:
        drawn()
    return (home(results), *result_pages(results), *without_curves)
