"""The whole site, built by the site generator from generated pages, hand-written ones and downloads."""

from __future__ import annotations

import hashlib
import logging
import os
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from jinja2 import Environment
from mkdocs.commands.build import build
from mkdocs.config import load_config
from mkdocs.config.base import LegacyConfig
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.plugins import BasePlugin
from mkdocs.structure.files import File, Files
from mkdocs.structure.nav import Navigation, Section
from mkdocs.structure.pages import Page
from mkdocs.structure.toc import get_toc

from edgehold.archive.build import SUMS, Facts, make_build
from edgehold.archive.folder import INDEX, Archive, add_build, asset_name, standing_for, withdraw, write_archive
from edgehold.engine.progress import begun
from edgehold.forms.submission import example_json
from edgehold.records.schemas import FALLBACK_URL, site_url
from edgehold.results.model.results import Results
from edgehold.results.tables.evidence import evidence_files
from edgehold.results.tables.kit import KIT
from edgehold.words import Reason

from . import safe_text, search_index
from .addresses import download_path, example_name, sheet_name
from .archived import PACKED, archived_files, style_sheet
from .citing import Cited, cited_as
from .csp import with_policy
from .feed import PATH as FEED
from .feed import feed
from .generate import cited_pages, files_of, made_pages
from .links import broken_links
from .page import Findable
from .page import Page as Made
from .review_pages import Reviews
from .sheet_pages import SheetView
from .tonight_pages import Forms
from .where_results_go import MARK, where_results_go

if TYPE_CHECKING:
    from mkdocs.structure.toc import _TocToken

Sheets = Mapping[tuple[str, str], tuple[SheetView, Mapping[str, bytes]]]

PROJECT = Path(__file__).resolve().parents[3]
CELL_END = re.compile(r"(</(?:td|th|dt|dd|li|caption)>)(?=<)")  # a space between cells, or search would glue their words
ANCHORED_HEADING = re.compile(r'<h([23])[^>]*\sid="([^"]+)"[^>]*>(.*?)</h\1>', re.DOTALL)


class BrokenLinks(Exception):
    """The finished site has links that lead nowhere; the message lists them."""


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
) -> Archive | None:
    """Build the static site.

    Parameters
    ----------
    results : all that the pages know.
    root : the repository the results come from. It may have a ``mkdocs.yml`` and ``site/`` of its own; without them the
        project's are used.
    target : the folder to build into; emptied first.
    downloads : files to lay under ``data/``, by name; those named ``schemas/…`` lie at that address, which is their ``$id``.
    forms : rules of the forms, by protocol id and version; each gets a page and its worked example.
    sheets : ready-drawn sheets by protocol id and version: the print page, and the same as files by kind (csv, xlsx).
    reviews : rules of the forms about objections and protocols, by kind.
    site_root : the folder of the ``mkdocs.yml`` to use; by default as said under ``root``.
    archive : the builds that are kept; this one becomes the newest of them. None: the site has no archive.
    renamed : handles that are shown as others, which no kept build may name.

    Returns
    -------
    The archive with this build, to be written where it is kept; None where there is none.

    Raises
    ------
    ArchiveError : when a kept file would change.
    BrokenLinks : when a link of a finished page leads nowhere.
    mkdocs.exceptions.Abort : on any warning of the site generator.
    """
    chosen = site_root or (root if (root / "mkdocs.yml").is_file() else PROJECT)
    with _quiet_and_timeless():
        config = load_config(str(chosen / "mkdocs.yml"), site_dir=str(target.resolve()), strict=True)
        drawn = sheets or {}
        address = site_url(chosen)
        base_url = "" if address == FALLBACK_URL else address
        views = {key: view for key, (view, _) in drawn.items()}
        names = tuple(sorted(downloads))
        pages = made_pages(results, names, forms, views, reviews, base_url)
        cited = Cited("", base_url, results.provenance)
        if archive is not None:
            archive, cited = _with_this_build(archive, pages, results, downloads, _harbour(chosen), renamed)
            cited = replace(cited, base_url=base_url)
        finished = files_of(cited_pages(pages, results, names, cited, archive.builds if archive else ()))
        examples = {example_name(*key): example_json(rules) for key, rules in (forms or {}).items()}
        files = {sheet_name(*key, kind): data for key, (_, kinds) in drawn.items() for kind, data in kinds.items()}
        untested = [*search_index.untested(results, forms or {})]
        downloads = downloads | examples | files | evidence_files(results)
        config.plugins["edgehold"] = _Generated(finished, downloads, results, base_url, untested)
        build(config)
    (target / "sitemap.xml.gz").unlink(missing_ok=True)  # holds the time it was made
    if archive is not None:
        _lay_archive(archive, target / "archive")
    broken = broken_links(target)
    if broken:
        raise BrokenLinks("links that lead nowhere:\n" + "\n".join(broken))
    return archive


def _with_this_build(
    archive: Archive, pages: Iterable[Made], results: Results, downloads: Mapping[str, bytes], harbour: bytes, renamed: frozenset[str]
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


def _lay_archive(archive: Archive, place: Path) -> None:
    """Lay the kept builds into the site: all but the index, which is for whoever keeps them."""
    if archive.folder.exists():
        shutil.copytree(archive.folder, place, dirs_exist_ok=True)
    write_archive(archive, place)
    (place / INDEX).unlink(missing_ok=True)


@contextmanager
def _quiet_and_timeless() -> Iterator[None]:
    """No notices on the terminal, and a fixed date wherever the site generator writes one."""
    # The theme's notice about the generator's next major version is for maintainers, who have it in the runbook ("Moving off the
    # site generator"); a reader of `edgehold site` can do nothing about it.
    settings = {"NO_MKDOCS_2_WARNING": "1", "SOURCE_DATE_EPOCH": "0"}
    before = {name: os.environ.get(name) for name in settings}
    os.environ.update(settings)
    logger = logging.getLogger("mkdocs")
    logger_level = logger.level
    logger.setLevel(logging.WARNING)
    try:
        yield
    finally:
        logger.setLevel(logger_level)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


class _Generated(BasePlugin[LegacyConfig]):  # type: ignore[no-untyped-call]  # the base class's __init_subclass__ brings no types
    """Brings the generated pages and downloads into the build, and the policy into every page."""

    def __init__(
        self,
        pages: tuple[tuple[str, str], ...],
        downloads: dict[str, bytes],
        results: Results,
        base_url: str,
        entries: list[search_index.Entry],
    ) -> None:
        self._pages, self._downloads, self._entries = pages, downloads, entries
        self._public, self._feed = bool(base_url), feed(results, base_url)
        self._ready: dict[str, str] = {}
        self._going = ExitStack()
        self._sections: dict[str, Section] = {}
        known = results.provenance
        self._where = where_results_go(known.repository_url)
        self._provenance = {  # the theme's templates escape nothing by themselves
            "program_version": safe_text.plain(known.program_version),
            "inputs_sha256": safe_text.plain(known.inputs_sha256[:12]),
            "input_files": known.input_files,
        }
        self._search = {name: Reason(f"search.{name}") for name in ("loading", "failed", "nothing", "begin", "one")}
        self._search["other"] = Reason("search.other", number="#")

    def on_config(self, config: MkDocsConfig) -> MkDocsConfig:
        config.extra |= {"provenance": self._provenance, "public": self._public, "search": self._search}
        return config

    def on_files(self, files: Files, *, config: MkDocsConfig) -> Files:
        for path, page in self._pages:
            files.append(File.generated(config, path, content=page))
        for name, data in sorted(self._downloads.items()):
            files.append(File.generated(config, download_path(name), content=data))
        files.append(File.generated(config, FEED, content=self._feed))
        self._step = self._going.enter_context(begun("progress.laying_out", [1.0] * len(files.documentation_pages())))
        return files

    def on_env(self, env: Environment, *, config: MkDocsConfig, files: Files) -> Environment:
        self._going.close()
        self._step = self._going.enter_context(begun("progress.pages", [1.0] * len(files.documentation_pages())))
        return env

    def on_nav(self, nav: Navigation, *, config: MkDocsConfig, files: Files) -> Navigation:
        self._sections = {item.title: item for item in nav.items if isinstance(item, Section)}
        return nav

    def on_page_markdown(self, markdown: str, *, page: Page, config: MkDocsConfig, files: Files) -> str:
        if not page.meta.get("ready"):
            return markdown
        self._ready[page.file.src_uri] = CELL_END.sub(r"\1 ", markdown)
        if page.parent is None and not page.is_homepage:
            page.parent = self._sections.get(page.meta["section"])
        return ""

    def on_page_content(self, html: str, *, page: Page, config: MkDocsConfig, files: Files) -> str:
        self._step(1.0)
        ready = self._ready.pop(page.file.src_uri, None)
        if ready is None:
            html = html.replace(MARK, self._where)
            self._enter(page, html)
            return html.replace("<table>", '<div tabindex="0" class="table"><table>').replace("</table>", "</table></div>")
        page.toc = get_toc(_headings(ready))
        self._enter(page, ready)
        return ready

    def _enter(self, page: Page, html: str) -> None:
        """Into the search."""
        title, told = str(page.meta.get("title") or page.title or ""), str(page.meta.get("description", ""))
        settings = dict(page.meta.get("found", {}))
        record = settings.pop("record", False)
        address = "/" + page.url.removeprefix("./")
        self._entries += search_index.of_page(address, title, told, Findable(**settings), html, record=record)

    def on_post_build(self, *, config: MkDocsConfig) -> None:
        self._going.close()
        (Path(config.site_dir) / search_index.PLACE).write_bytes(search_index.written(self._entries))

    def on_post_page(self, output: str, *, page: Page, config: MkDocsConfig) -> str:
        self._step(1.0)
        return with_policy(output)

    def on_post_template(self, output_content: str, *, template_name: str, config: MkDocsConfig) -> str:
        return with_policy(output_content) if template_name.endswith(".html") else output_content


def _headings(html: str) -> list[_TocToken]:
    """Headings with ids, for the table of contents: second level, third within."""
    top: list[_TocToken] = []
    for level, name, inside in ANCHORED_HEADING.findall(html):
        words = re.sub(r"<[^>]*>", "", inside).strip()
        entry: _TocToken = {"level": int(level), "id": name, "name": words, "children": []}
        siblings = top[-1]["children"] if level == "3" and top else top
        siblings.append(entry)
    return top
