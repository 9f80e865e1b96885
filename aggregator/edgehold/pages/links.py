"""A check of the finished site: every link inside it leads to a page, and to an id where it names one."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from html import unescape
from pathlib import Path
from urllib.parse import unquote

TAG = re.compile(r"""<[a-zA-Z](?:[^>"']|"[^"]*"|'[^']*')*>""")
ATTRIBUTE = re.compile(r"""\s([a-zA-Z][\w:.-]*)(?:=(?:"([^"]*)"|'([^']*)'|([^\s>"']+)))?""")  # whole ones: a value may say href= too
ASKED = frozenset({"id", "href", "src"})
MAY_HOLD = re.compile(r"\s(?:id|href|src)", re.IGNORECASE)  # a tag without it has none of them
KEPT = re.compile(r"archive/[^/]+/")
ELSEWHERE = re.compile(r"(?:[a-z][a-z0-9+.-]*:|//|\?)", re.IGNORECASE)


@dataclass(frozen=True)
class Found:
    """Ids of a page, and where it leads."""

    ids: tuple[str, ...]
    links: tuple[str, ...]

    def changed(self, change: Callable[[str], str]) -> Found:
        """The same with every text changed."""
        return Found(tuple(map(change, self.ids)), tuple(map(change, self.links)))


def found_in(html: str) -> Found:
    """What a finished page holds of both."""
    values: dict[str, set[str]] = {name: set() for name in ASKED}
    for tag in TAG.findall(html):
        if MAY_HOLD.search(tag):
            for name, value in _told(tag):
                values[name].add(value)
    return Found(tuple(sorted(values["id"])), tuple(sorted(values["href"] | values["src"])))


@lru_cache(maxsize=20_000)
def _told(tag: str) -> tuple[tuple[str, str], ...]:
    """Names and values of what is asked of a tag; menus repeat theirs on every page."""
    return tuple((name.lower(), unescape("".join(written))) for name, *written in ATTRIBUTE.findall(tag) if name.lower() in ASKED)


def broken_links(site: Path) -> list[str]:
    """Links of the pages in a folder that lead nowhere, each as "page: link"; see `broken_among`."""
    paths = {path.relative_to(site).as_posix(): path for path in sorted(site.rglob("*")) if path.is_file()}
    looked_at = {name: path for name, path in paths.items() if name.endswith(".html") and not KEPT.match(name)}
    return broken_among({name: found_in(path.read_text(encoding="utf-8")) for name, path in looked_at.items()}, paths)


def broken_among(pages: Mapping[str, Found], files: Collection[str]) -> list[str]:
    """Links that lead nowhere, each as "page: link".

    The error page is not looked at, whose links start at the server's root; nor are kept builds, whose links to the live site lead to what
    was there then.

    Parameters
    ----------
    pages : what the pages hold, by path.
    files : paths of all files of the site.
    """
    names = {page: frozenset(found.ids) for page, found in pages.items()}
    return [
        f"{page}: {link}"
        for page, found in sorted(pages.items())
        if page != "404.html"
        for link in found.links
        if not _leads_somewhere(page, link, names, files)
    ]


def _leads_somewhere(page: str, link: str, names: Mapping[str, Collection[str]], files: Collection[str]) -> bool:
    if ELSEWHERE.match(link):
        return True
    path, _, fragment = link.partition("#")
    path = path.partition("?")[0]
    target = page if not path else posixpath.normpath(posixpath.join(posixpath.dirname(page), unquote(path)))
    if path.endswith("/") or path in (".", "..") or target == ".":
        target = posixpath.normpath(f"{target}/index.html")
    if target not in files:
        return False
    return not fragment or target not in names or fragment in names[target] or fragment == "__skip"
