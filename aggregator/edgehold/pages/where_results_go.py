"""Where results go and what it takes to send one in: said before the evening, on every page that speaks of sending."""

from __future__ import annotations

from markupsafe import Markup

from edgehold.words import group

from .addresses import REPOSITORY
from .contents import MARK
from .page import render

__all__ = ["MARK", "where_results_go"]


def where_results_go(repository_url: str) -> Markup:
    """Paragraphs about sending results in; where no address is set, they say so.

    Parameters
    ----------
    repository_url : where pull requests go; empty, or anything that is more than an address: nowhere yet.
    """
    address = repository_url if REPOSITORY.fullmatch(repository_url) else ""
    says = group("sending")
    before, _, after = str(says["somewhere"]).partition("{where}")
    return render("_where_results_go.html", address=address, before=before, after=after, says=says)
