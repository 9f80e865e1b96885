"""Every page of a build that is not kept, as the site generator gets it."""

from __future__ import annotations

from typing import Any

from edgehold.pages.citing import Cited
from edgehold.pages.generate import cited_pages, files_of, made_pages
from edgehold.results.model.results import Results


def generate_pages(results: Results, downloads: tuple[str, ...] = (), **more: Any) -> tuple[tuple[str, str], ...]:
    """(path, text) in the order of the path; what is named ``more`` is as `made_pages` takes it."""
    made = made_pages(results, downloads, **more)
    return files_of(cited_pages(made, results, downloads, Cited("", more.get("base_url", ""), results.provenance), ()))
