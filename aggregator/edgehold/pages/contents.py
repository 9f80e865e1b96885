"""All that a site holds before the site generator has put its shell around the pages: texts and bytes, and nothing that computes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from .search_index import Entry

PROJECT = Path(__file__).resolve().parents[3]
SETTINGS = "mkdocs.yml"
MARKS = "\ue000", "\ue001"
"""First and last character of what stands in a page for a text that varies: they mean nothing to anybody (Unicode, private use)."""
MARK = "<!-- where results go -->"
"""What stands for that in a hand-written page."""


@dataclass(frozen=True)
class Ready:
    """A generated page, but for its shell.

    Attributes
    ----------
    path : for the site generator, such as ``a/b/index.md``.
    settings : of its head, by name.
    html : its main part, finished.
    headings : level, id and text of those with an id, for its table of contents.
    """

    path: str
    settings: Mapping[str, object]
    html: str
    headings: tuple[tuple[int, str, str], ...]


@dataclass(frozen=True)
class Contents:
    """What goes into a site.

    Attributes
    ----------
    pages : every generated page.
    files : all else that is made, by path in the site.
    entries : of the search, besides those of the pages.
    where : HTML that says where results go, for hand-written pages.
    public : whether the site has an address.
    provenance : program version, hash and number of the inputs, as every page says them.
    varying : texts that are others in every build, such as the hash of the inputs; none where somebody wrote what would stand for them.
    """

    pages: tuple[Ready, ...]
    files: Mapping[str, bytes]
    entries: tuple[Entry, ...]
    where: str
    public: bool
    provenance: Mapping[str, str]
    varying: tuple[str, ...]


@dataclass(frozen=True)
class Whole:
    """All that a build publishes, but for the shell around the pages.

    Attributes
    ----------
    results : files of ``build/results``, by name.
    contents : of the site.
    """

    results: Mapping[str, bytes]
    contents: Contents


def chosen_for(root: Path) -> Path:
    """The folder whose ``mkdocs.yml`` and ``site/`` are used: a repository's own, else the project's."""
    return root if (root / SETTINGS).is_file() else PROJECT
