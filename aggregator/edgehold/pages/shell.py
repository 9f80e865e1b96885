"""The site generator: it puts the theme's shell around every page, and turns hand-written Markdown into pages.

What it makes of a page is kept by everything that decides it (`_Shell._filled`): the theme and its settings, the menus, and the page.
What differs from build to build on every page, such as the hash of the inputs, stands there as a mark while that is looked up, and is
put in afterwards. Nothing is written by the generator itself; what changed is, in the end (``laying``).
"""

from __future__ import annotations

import html as markup
import logging
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urljoin

import jinja2
from mkdocs.commands.build import build
from mkdocs.config import load_config
from mkdocs.config.base import LegacyConfig
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.plugins import BasePlugin
from mkdocs.structure.files import File, Files
from mkdocs.structure.nav import Navigation, Section
from mkdocs.structure.pages import Page
from mkdocs.structure.toc import TableOfContents, get_toc

from edgehold.archive.folder import INDEX, Archive, write_archive
from edgehold.engine.progress import begun
from edgehold.engine.tasks import kept, kept_as
from edgehold.words import Reason

from . import search_index
from .compiled import Compiled
from .contents import MARK, MARKS, SETTINGS, Contents, Ready
from .csp import with_policy
from .laying import lay
from .links import Found, broken_among, found_in
from .search_index import Findable
from .white_space import without_indentation

if TYPE_CHECKING:
    from mkdocs.structure.toc import _TocToken

PAGE, NOT_FOUND = "main.html", "404.html"
OF_NAVIGATION = ("icon", "status", "subtitle")
"""Of the settings of a page, those that the menus of other pages show."""
LINK = re.compile(r'\s(?:href|src)="([^"#?]+)')
ELSEWHERE = re.compile(r"[a-z][a-z0-9+.-]*:|//", re.IGNORECASE)


class BrokenLinks(Exception):
    """The finished site has links that lead nowhere; the message lists them."""


def lay_site(contents: Contents, chosen: Path, target: Path, archive: Archive | None = None, before: Path | None = None) -> None:
    """Put the shell around the pages and lay the site into a folder.

    Parameters
    ----------
    contents : all that goes into it.
    chosen : the folder of the ``mkdocs.yml`` to use.
    target : the folder to build into; emptied first.
    archive : builds that are laid beside the pages.
    before : the site that was laid last, of which files that did not change are taken.

    Raises
    ------
    BrokenLinks : when a link of a finished page leads nowhere.
    mkdocs.exceptions.Abort : on any warning of the site generator.
    """
    with _quiet_and_timeless():
        config = load_config(str(chosen / SETTINGS), site_dir=str(target.resolve()), strict=True)
        shell = _Shell(contents, _theme(chosen))
        config.plugins["edgehold"] = shell
        build(config)
    lay(shell.laid, target, before)
    if archive is not None:
        _lay_archive(archive, target / "archive")
    aside = {path.relative_to(target).as_posix() for path in (target / "archive").rglob("*") if path.is_file()}
    found = {path: shell.found.get(path) or found_in(text.decode()) for path, text in shell.laid.items() if path.endswith(".html")}
    broken = broken_among(found, {*shell.laid, *aside})
    if broken:
        raise BrokenLinks("links that lead nowhere:\n" + "\n".join(broken))


def _theme(chosen: Path) -> tuple[tuple[str, bytes], ...]:
    """The settings of the site generator and all templates that stand before the theme's own, by path."""
    paths = [chosen / SETTINGS, *sorted(path for path in (chosen / "site" / "overrides").rglob("*") if path.is_file())]
    return tuple((path.relative_to(chosen).as_posix(), path.read_bytes()) for path in paths)


def _lay_archive(archive: Archive, place: Path) -> None:
    """Lay the kept builds into the site: all but the index, which is for whoever keeps them."""
    if archive.folder.exists():
        lay({path.relative_to(archive.folder).as_posix(): path.read_bytes() for path in archive.folder.rglob("*") if path.is_file()}, place)
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


class _Marks:
    """Marks for texts that are others in every build."""

    def __init__(self, varying: Sequence[str]) -> None:
        by_length = sorted(filter(None, varying), key=len, reverse=True)  # one may begin another
        self._marks = {text: str(number).join(MARKS) for number, text in enumerate(by_length)}

    def hide(self, text: str) -> str:
        """The text with marks."""
        for varying, mark in self._marks.items():
            text = text.replace(varying, mark)
        return text

    def hide_in(self, value: Any) -> Any:
        """The same in every text of lists and mappings."""
        if isinstance(value, str):
            return self.hide(value)
        if isinstance(value, Mapping):
            return {name: self.hide_in(one) for name, one in value.items()}
        if isinstance(value, list | tuple):
            return type(value)(map(self.hide_in, value))
        return value

    def show(self, text: str) -> str:
        """The text without marks."""
        for varying, mark in self._marks.items():
            text = text.replace(mark, varying)
        return text


class _ReadyPage(Page):
    """A page whose main part is finished."""

    def __init__(self, title: str | None, file: File, config: MkDocsConfig, ready: Ready, marks: _Marks) -> None:
        super().__init__(title, file, config)
        self.ready, self._marks = ready, marks

    def read_source(self, config: MkDocsConfig) -> None:
        self.markdown, self.meta = "", self._marks.hide_in(dict(self.ready.settings))

    def render(self, config: MkDocsConfig, files: Files) -> None:
        self.content = self._marks.hide(self.ready.html)
        self.toc = get_toc(_nested(self._marks.hide_in(self.ready.headings)))
        self.present_anchor_ids, self.links_to_anchors = set(), {}


@dataclass(frozen=True)
class _Rendered:
    """What Markdown became, and what the site generator notes of it."""

    content: str
    toc: TableOfContents
    title: str | None
    anchors: tuple[str, ...]
    to_anchors: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    warned: bool


class _WrittenPage(Page):
    """A hand-written page. What became of its Markdown is kept."""

    def __init__(self, title: str | None, file: File, config: MkDocsConfig, settings: bytes) -> None:
        super().__init__(title, file, config)
        self._settings = settings

    def render(self, config: MkDocsConfig, files: Files) -> None:
        anew = []

        def compute() -> _Rendered:
            anew.append(True)
            return self._rendered(config, files)

        known = kept_as(_WrittenPage, (self._settings, self.file.src_uri, self.markdown), compute)
        if anew:
            return
        if known.warned or not self._leads(known, files):  # whatever there is to warn of is said again
            super().render(config, files)
            return
        self.content, self.toc, self._title_from_render = known.content, known.toc, known.title
        self.present_anchor_ids = set(known.anchors)
        self.links_to_anchors = {files.src_uris[path]: dict(links) for path, links in known.to_anchors}

    def _rendered(self, config: MkDocsConfig, files: Files) -> _Rendered:
        with _Warnings() as warnings:
            super().render(config, files)
        return _Rendered(
            self.content or "",
            self.toc,
            self._title_from_render,
            tuple(sorted(self.present_anchor_ids or ())),
            tuple((file.src_uri, tuple(links.items())) for file, links in (self.links_to_anchors or {}).items()),
            warnings.given,
        )

    def _leads(self, known: _Rendered, files: Files) -> bool:
        """Whether all that it links to is still there."""
        here, there = f"/{self.url}", {urljoin("/", file.url) for file in files}
        links = {link for link in LINK.findall(known.content) if not ELSEWHERE.match(link)}
        return all(path in files.src_uris for path, _ in known.to_anchors) and all(
            not link.startswith("/") and urljoin(here, markup.unescape(link)) in there for link in links
        )


class _Warnings(logging.Handler):
    """Notes whether the site generator warns of something meanwhile."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.given = False

    def emit(self, record: logging.LogRecord) -> None:
        self.given = True

    def __enter__(self) -> _Warnings:
        logging.getLogger("mkdocs").addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("mkdocs").removeHandler(self)


class _Templates:
    """The theme's templates, of which those of pages are filled in only where nothing is kept."""

    def __init__(self, theme: jinja2.Environment, fill: Callable[[str, jinja2.Environment, Mapping[str, Any]], str]) -> None:
        self._theme, self._fill = theme, fill

    def get_template(self, name: str) -> _Template | jinja2.Template:
        if name in (PAGE, NOT_FOUND):
            return _Template(name, self)
        return self._theme.get_template(name)

    def filled(self, name: str, context: Mapping[str, Any]) -> str:
        return self._fill(name, self._theme, context)


@dataclass(frozen=True)
class _Template:
    name: str
    templates: _Templates

    def render(self, context: Mapping[str, Any]) -> str:
        return self.templates.filled(self.name, context)


@dataclass(frozen=True)
class _Common:
    """What the templates of all pages take: the theme's settings and templates, what those are handed, and the menus."""

    theme: tuple[tuple[str, bytes], ...]
    extra: Mapping[str, Any]
    menus: tuple[Any, ...]


class _Shell(BasePlugin[LegacyConfig]):  # type: ignore[no-untyped-call]  # the base class's __init_subclass__ brings no types
    """Brings generated pages and files into the build, keeps what becomes of them, and collects the site.

    Attributes
    ----------
    laid : the site, by path.
    found : ids and links of its pages, by path.
    """

    def __init__(self, contents: Contents, theme: tuple[tuple[str, bytes], ...]) -> None:
        self._contents, self._theme = contents, theme
        self._marks = _Marks(contents.varying)
        self._entries = list(contents.entries)
        self._going = ExitStack()
        self._menu: Sequence[Any] = ()
        self._sections: dict[str, Section] = {}
        self._common: _Common | None = None
        self._provenance = {name: self._marks.hide(text) for name, text in contents.provenance.items()}
        self._search = {name: Reason(f"search.{name}") for name in ("loading", "failed", "nothing", "begin", "one")}
        self._search["other"] = Reason("search.other", number="#")
        self.laid: dict[str, bytes] = {}
        self.found: dict[str, Found] = {}

    def on_config(self, config: MkDocsConfig) -> MkDocsConfig:
        config.extra |= {"provenance": self._provenance, "public": self._contents.public, "search": self._search}
        return config

    def on_files(self, files: Files, *, config: MkDocsConfig) -> Files:
        titles = dict(_titles(config.nav or []))
        for file in files.documentation_pages():
            _WrittenPage(titles.get(file.src_uri), file, config, self._theme[0][1])
        for ready in self._contents.pages:
            file = File.generated(config, ready.path, content=b"")
            files.append(file)
            _ReadyPage(titles.get(ready.path), file, config, ready, self._marks)
        for path, data in sorted(self._contents.files.items()):
            files.append(File.generated(config, path, content=data))
        self._step = self._going.enter_context(begun("progress.laying_out", [1.0] * len(files.documentation_pages())))
        return files

    def on_nav(self, nav: Navigation, *, config: MkDocsConfig, files: Files) -> Navigation:
        self._menu = nav.items
        self._sections = {item.title: item for item in nav.items if isinstance(item, Section)}
        return nav

    def on_page_content(self, html: str, *, page: Page, config: MkDocsConfig, files: Files) -> str:
        self._step(1.0)
        if isinstance(page, _ReadyPage):
            if page.parent is None and not page.is_homepage:
                page.parent = self._sections.get(str(page.ready.settings["section"]))
            self._enter(page, page.ready.settings, page.ready.html)
            return html
        html = html.replace(MARK, self._contents.where)
        self._enter(page, page.meta, html)
        return html.replace("<table>", '<div tabindex="0" class="table"><table>').replace("</table>", "</table></div>")

    def _enter(self, page: Page, settings: Mapping[str, Any], html: str) -> None:
        """Into the search."""
        title, told = str(settings.get("title") or page.title or ""), str(settings.get("description", ""))
        found = dict(settings.get("found", {}))
        record = found.pop("record", False)
        address = "/" + page.url.removeprefix("./")
        if record:
            self._entries += search_index.of_page(address, title, told, Findable(**found), "", record=True)
        else:
            self._entries += kept(_entries, address, title, told, found, html)

    def on_env(self, env: jinja2.Environment, *, config: MkDocsConfig, files: Files) -> jinja2.Environment:
        """All pages are read: what stands in the menus is known."""
        for file in list(files):
            if not file.is_documentation_page() and file.inclusion.is_included():  # type: ignore[no-untyped-call]
                self.laid[file.dest_uri] = file.content_bytes
                files.remove(file)
        self._common = _Common(self._theme, dict(config.extra), tuple(map(_in_menu, self._menu)))
        self._going.close()
        self._step = self._going.enter_context(begun("progress.pages", [1.0] * len(files.documentation_pages())))
        env.bytecode_cache = Compiled()
        return _Templates(env, self._filled)  # type: ignore[return-value]  # it is asked for templates only

    def _filled(self, name: str, theme: jinja2.Environment, context: Mapping[str, Any]) -> str:
        page, base = context.get("page"), context["base_url"]
        path = page.file.dest_uri if page is not None else name

        def compute() -> tuple[str, Found]:
            html = with_policy(without_indentation(theme.get_template(name).render(context)))
            return html, found_in(html)

        html, found = kept_as(_Template, (self._common, name, base, _decided(page) if page is not None else None), compute)
        self.found[path] = found.changed(self._marks.show)
        self.laid[path] = self._marks.show(html).encode("utf-8", errors="xmlcharrefreplace")
        self._step(1.0)
        return ""  # so that the site generator writes nothing

    def on_post_template(self, output_content: str, *, template_name: str, config: MkDocsConfig) -> str:
        if output_content:
            self.laid[template_name] = output_content.encode()
        return ""

    def on_post_build(self, *, config: MkDocsConfig) -> None:
        self._going.close()
        self.laid[search_index.PLACE] = search_index.written(self._entries)


def _entries(address: str, title: str, told: str, found: Mapping[str, Any], html: str) -> list[search_index.Entry]:
    return list(search_index.of_page(address, title, told, Findable(**found), html, record=False))


def _titles(nav: Sequence[Any] | Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Path and title of every page that the navigation names with a title."""
    for title, value in (pair for item in nav if isinstance(item, dict) for pair in item.items()):
        if isinstance(value, str):
            yield value, title
        else:
            yield from _titles(value)


def _in_menu(item: Any) -> tuple[Any, ...]:
    """What menus show of an item of the navigation, and all below it."""
    settings = {name: value for name, value in (getattr(item, "meta", None) or {}).items() if name in OF_NAVIGATION}
    below = tuple(map(_in_menu, item.children or ()))
    return type(item).__name__, item.title, getattr(item, "url", None), getattr(item, "is_homepage", False), settings, below


def _decided(page: Page) -> tuple[Any, ...]:
    """What the theme's templates ask of a page, besides the menus."""
    beside = tuple(None if one is None else (one.title, one.url) for one in (page.previous_page, page.next_page))
    parts: Iterable[Any] = page.ancestors
    above = tuple((item.title, [child.url for child in item.children or () if isinstance(child, Page)]) for item in parts)
    contents = tuple(map(_anchor, page.toc))
    place = (page.url, page.canonical_url, page.abs_url, page.edit_url, page.file.src_uri, page.is_homepage)
    return (*place, page.title, dict(page.meta), page.content, contents, beside, above)


def _anchor(link: Any) -> tuple[Any, ...]:
    return link.title, link.id, link.level, tuple(map(_anchor, link.children))


def _nested(headings: Sequence[tuple[int, str, str]]) -> list[_TocToken]:
    """Headings for the table of contents: second level, third within."""
    top: list[_TocToken] = []
    for level, name, words in headings:
        entry: _TocToken = {"level": level, "id": name, "name": words, "children": []}
        siblings = top[-1]["children"] if level == 3 and top else top
        siblings.append(entry)
    return top
