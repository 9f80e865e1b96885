"""A check of the finished site: every link inside it leads to a page, and to an id where it names one."""

from __future__ import annotations

import posixpath
import re
from html import unescape
from pathlib import Path
from urllib.parse import unquote

TAG = re.compile(r"""<[a-zA-Z](?:[^>"']|"[^"]*"|'[^']*')*>""")
ATTRIBUTE = re.compile(r"""\s([a-zA-Z][\w:.-]*)(?:=(?:"([^"]*)"|'([^']*)'|([^\s>"']+)))?""")  # whole ones: a value may say href= too
KEPT = re.compile(r"archive/[^/]+/")
ELSEWHERE = re.compile(r"(?:[a-z][a-z0-9+.-]*:|//|\?)", re.IGNORECASE)


def broken_links(site: Path) -> list[str]:
    """Links that lead nowhere, each as "page: link".

    The error page is not looked at, whose links start at the server's root; nor are kept builds, whose links to the live site lead to what
    was there then.
    """
    looked_at = (p for p in sorted(site.rglob("*.html")) if not KEPT.match(p.relative_to(site).as_posix()))
    pages = {p.relative_to(site).as_posix(): p.read_text(encoding="utf-8") for p in looked_at}
    values = {page: _values(html) for page, html in pages.items()}
    names = {page: own["id"] for page, own in values.items()}
    files = {p.relative_to(site).as_posix() for p in site.rglob("*") if p.is_file()}
    return [
        f"{page}: {link}"
        for page, own in values.items()
        if page != "404.html"
        for link in sorted(own["href"] | own["src"])
        if not _leads_somewhere(page, link, names, files)
    ]


def _values(html: str) -> dict[str, set[str]]:
    """Ids and addresses of a page, by attribute."""
    found: dict[str, set[str]] = {"id": set(), "href": set(), "src": set()}
    for tag in TAG.findall(html):
        for name, *values in ATTRIBUTE.findall(tag):
            if name.lower() in found:
                found[name.lower()].add(unescape("".join(values)))
    return found


def _leads_somewhere(page: str, link: str, names: dict[str, set[str]], files: set[str]) -> bool:
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
