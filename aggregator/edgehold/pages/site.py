"""The whole site: everything that it holds (`contents_of`), and the same with the shell around it (`build_site`)."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from edgehold.archive.build import SUMS, Facts, make_build
from edgehold.archive.folder import Archive, add_build, asset_name, standing_for, withdraw
from edgehold.forms.submission import example_json
from edgehold.records.schemas import FALLBACK_URL, site_url
from edgehold.results.model.results import Provenance, Results
from edgehold.results.tables.evidence import evidence_files
from edgehold.results.tables.kit import KIT
from edgehold.words import Reason

from . import addresses, safe_text
from .addresses import download_path, example_name, sheet_name
from .archived import PACKED, archived_files, style_sheet
from .citing import Cited, cited_as
from .contents import MARKS, PROJECT, Contents, Ready, chosen_for
from .feed import PATH as FEED
from .feed import feed
from .generate import cited_pages, files_of, made_pages
from .page import Page
from .review_pages import Reviews
from .search_index import WEIGHTS, Entry
from .sheet_pages import SheetView
from .shell import lay_site
from .tonight_pages import Forms
from .where_results_go import where_results_go

Sheets = Mapping[tuple[str, str], tuple[SheetView, Mapping[str, bytes]]]

__all__ = ["PROJECT", "build_site", "contents_of"]

ITEM_END = re.compile(r"(</(?:dt|dd|li)>)(?=<)")  # a space between items, which may stand on one line
ANCHORED_HEADING = re.compile(r'<h([23])[^>]*\sid="([^"]+)"[^>]*>(.*?)</h\1>', re.DOTALL)


def build_site(
    results: Results,
    root: Path,
    target: Path,
    downloads: dict[str, bytes],
    *,
    forms: Forms | None = None,
    sheets: Sheets | None = None,
    reviews: Reviews | None = None,
    site_root: Path | None = None,
    archive: Archive | None = None,
    renamed: frozenset[str] = frozenset(),
    before: Path | None = None,
) -> Archive | None:
    """Build the static site.

    Parameters
    ----------
    results, downloads, forms, sheets, reviews, archive, renamed : as in `contents_of`.
    root : the repository the results come from. It may have a ``mkdocs.yml`` and ``site/`` of its own; without them the
        project's are used.
    target : the folder to build into; emptied first.
    site_root : the folder of the ``mkdocs.yml`` to use; by default as said under ``root``.
    before : the site that was laid last, of which files that did not change are taken.

    Returns
    -------
    The archive with this build, to be written where it is kept; None where there is none.

    Raises
    ------
    ArchiveError : when a kept file would change.
    BrokenLinks : when a link of a finished page leads nowhere.
    mkdocs.exceptions.Abort : on any warning of the site generator.
    """
    chosen = site_root or chosen_for(root)
    contents, after = contents_of(results, chosen, downloads, forms=forms, sheets=sheets, reviews=reviews, archive=archive, renamed=renamed)
    lay_site(contents, chosen, target, after, before)
    return after


def contents_of(
    results: Results,
    chosen: Path,
    downloads: Mapping[str, bytes],
    *,
    forms: Forms | None = None,
    sheets: Sheets | None = None,
    reviews: Reviews | None = None,
    drawn: Callable[[], object] | None = None,
    archive: Archive | None = None,
    renamed: frozenset[str] = frozenset(),
) -> tuple[Contents, Archive | None]:
    """All that a site holds but for the shell, and the archive with this build where there is one.

    Parameters
    ----------
    results : all that the pages know.
    chosen : the folder of the ``mkdocs.yml`` to use.
    downloads : files to lay under ``data/``, by name; those named ``schemas/…`` lie at that address, which is their ``$id``.
    forms : rules of the forms, by protocol id and version; each gets a page and its worked example.
    sheets : ready-drawn sheets by protocol id and version: the print page, and the same as files by kind (csv, xlsx).
    reviews : rules of the forms about objections and protocols, by kind.
    drawn : waits for the curves that are drawn meanwhile; None: pages draw their own.
    archive : the builds that are kept; this one becomes the newest of them. None: the site has no archive.
    renamed : handles that are shown as others, which no kept build may name.
    """
    ready = sheets or {}
    address = site_url(chosen)
    base_url = "" if address == FALLBACK_URL else address
    names = tuple(sorted(downloads))
    known = results.provenance
    pages = made_pages(results, names, forms, {key: view for key, (view, _) in ready.items()}, reviews, base_url, drawn)
    cited = Cited("", base_url, known)
    if archive is not None:
        archive, cited = _with_this_build(archive, pages, results, downloads, _harbour(chosen), renamed)
        cited = replace(cited, base_url=base_url)
    finished = files_of(cited_pages(pages, results, names, cited, archive.builds if archive else ()))
    examples = {example_name(*key): example_json(rules) for key, rules in (forms or {}).items()}
    files = {sheet_name(*key, kind): data for key, (_, kinds) in ready.items() for kind, data in kinds.items()}
    everything = {**downloads, **examples, **files, **evidence_files(results)}
    contents = Contents(
        pages=tuple(_ready(path, text) for path, text in finished),
        files={**{download_path(name): data for name, data in everything.items()}, FEED: feed(results, base_url)},
        entries=tuple(_untested(results, forms or {})),
        where=str(where_results_go(known.repository_url)),
        public=bool(base_url),
        provenance={  # the theme's templates escape nothing by themselves
            "program_version": str(safe_text.plain(known.program_version)),
            "inputs_sha256": str(safe_text.plain(known.inputs_sha256[:12])),
            "input_files": str(known.input_files),
        },
        varying=_varying(known, cited, finished),
    )
    return contents, archive


def _varying(known: Provenance, cited: Cited, pages: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """What is other in every build; nothing where a page has a character with which that is marked."""
    if any(mark in text for _, text in pages for mark in MARKS):
        return ()
    return tuple(filter(None, (known.inputs_sha256, known.inputs_sha256[:12], known.commit, cited.build)))


def _ready(path: str, text: str) -> Ready:
    """A page's file, taken apart: each line of its head is a name and a value as JSON."""
    _, head, html = text.split("---\n", 2)
    lines = (line.partition(": ") for line in head.removesuffix("\n").split("\n"))
    html = ITEM_END.sub(r"\1 ", html.lstrip("\n"))
    headings = tuple((int(level), name, re.sub(r"<[^>]*>", "", inside).strip()) for level, name, inside in ANCHORED_HEADING.findall(html))
    return Ready(path, {name: json.loads(value) for name, _, value in lines}, html, headings)


def _untested(results: Results, forms: Forms) -> Iterator[Entry]:
    """Steels of the register that no submission names: they have no page, and a line says so."""
    listed = next((rules["designations"] for rules in forms.values()), ())
    known = {name for steel in results.steels for name in steel.names}
    for name in sorted({*listed} - known if isinstance(listed, Sequence) else ()):
        yield Entry(
            addresses.COMPARE.removeprefix("/"),
            Reason("search.steel"),
            name,
            (),
            Reason("search.untested"),
            weight=WEIGHTS["steel"] / 2,
        )


def _with_this_build(
    archive: Archive, pages: Iterable[Page], results: Results, downloads: Mapping[str, bytes], harbour: bytes, renamed: frozenset[str]
) -> tuple[Archive, Cited]:
    """The archive with this build in it, what must not be seen taken out before; and what to cite for it."""
    known = results.provenance
    data = {name: content for name, content in downloads.items() if "/" not in name and name not in (SUMS, KIT)}
    gone = {one.id: (one.month, one.reason) for one in results.removed}
    facts = Facts(
        month=known.data_month,
        program_version=known.program_version,
        commit=known.commit,
        inputs_sha256=known.inputs_sha256,
        input_files=known.input_files,
        removed=tuple(sorted(gone)),
        results_sha256=hashlib.sha256(data[PACKED]).hexdigest(),
    )
    style = style_sheet(harbour)
    made = make_build(facts, archived_files(pages, data, results, style))
    archive = withdraw(archive, gone, renamed, known.data_month)
    after = add_build(archive, made, {asset_name(style): style})
    return after, cited_as(standing_for(archive, made) or after.builds[-1], "")


def _harbour(chosen: Path) -> bytes:
    return (chosen / "site" / "pages" / "assets" / "harbour.css").read_bytes()
