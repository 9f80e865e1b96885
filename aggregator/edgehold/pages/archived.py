"""Pages that carry figures, as the archive keeps them: the same content in a shell that needs nothing but one style sheet.

They are made before anything is added that may change later: no menu, no search, no script, no address of their own build, which is a
hash of them. Nothing in them names a submission or a person: links to submissions are left out, so that what is taken out of the
repository seldom takes a page along.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable, Mapping
from functools import partial
from pathlib import Path

from markupsafe import Markup

from edgehold.archive.folder import asset_name
from edgehold.results.model.results import Results

from . import addresses
from .csp import with_policy
from .page import Page, render

CARRYING = ("/results/", "/compare/", "/steels/", "/analysts/")
"""Below these addresses stand figures."""
TOOLS = frozenset({addresses.COMPARE, addresses.EXPLORER})
"""Pages that show nothing without their scripts: they choose and redraw, and what they show is kept as pages and data of its own."""
COVER = "index.html"
PACKED = "results.json"
"""The one file that is kept packed: ten times as large as all pages of a pool together."""
OF_SUBMISSION = re.compile(r'<a href="/submissions/[^"]*"[^>]*>(.*?)</a>', re.DOTALL)
DATA = "/data/"
BASE = Path(__file__).parent / "templates" / "archived.css"


def carries_figures(page: Page) -> bool:
    """Whether a page belongs into the archive."""
    return page.address.startswith(CARRYING) and page.address not in TOOLS


def archived_files(pages: Iterable[Page], data: Mapping[str, bytes], results: Results, style: bytes) -> dict[str, bytes]:
    """Every file of a build by its path: a cover, pages that carry figures, data.

    Parameters
    ----------
    pages : all generated pages.
    data : files with figures, by name.
    results : the results themselves, for their provenance.
    style : the style sheet that the pages share.
    """
    chosen = [page for page in pages if carries_figures(page)]
    own = {page.address for page in chosen}
    kept = {_kept_name(name): (gzip.compress(content, mtime=0) if name == PACKED else content) for name, content in data.items()}
    sheet = f"/archive/{asset_name(style)}"
    made = {page.address.strip("/") + "/index.html": _finished(page, own, set(data), sheet, results) for page in chosen}
    cover = Page("/", "", render("archived_cover.html", pages=chosen, data=sorted(kept), provenance=results.provenance), "")
    return {COVER: _finished(cover, own, set(data), sheet, results)} | made | {f"data/{name}": content for name, content in kept.items()}


def _kept_name(name: str) -> str:
    return f"{name}.gz" if name == PACKED else name


def style_sheet(harbour: bytes) -> bytes:
    """The style sheet of archived pages: the site's own on top of what its theme would give."""
    return BASE.read_bytes() + b"\n" + harbour


def _finished(page: Page, own: set[str], data: set[str], sheet: str, results: Results) -> bytes:
    here = f"/archive/build{page.address}"
    inside = addresses.ROOT_LINK.sub(partial(_led, own, data), OF_SUBMISSION.sub(r"\1", page.html))
    html = render(
        "archived.html",
        title=page.title or "Edgehold",
        live=page.address if page.title else "/results/",
        sheet=sheet,
        inside=Markup(inside),
        provenance=results.provenance,
    )
    return with_policy(addresses.relative_links(str(html), here)).encode()


def _led(own: set[str], data: set[str], found: re.Match[str]) -> str:
    """A link of an archived page: to the same build where that has the target, else to the live site."""
    start, target = found.group(1), found.group(2)
    path, mark, fragment = target.partition("#")
    name = path.removeprefix(DATA)
    if path in own:
        return f'{start}/archive/build{path}{mark}{fragment}"'
    if path.startswith(DATA) and name in data:
        return f'{start}/archive/build{DATA}{_kept_name(name)}"'
    return found.group(0)
