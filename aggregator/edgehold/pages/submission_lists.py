"""The list of submissions: one page where they are few; else a page that leads to one list a protocol, in parts, the newest first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from edgehold.results.model.results import Results, SubmissionResult
from edgehold.words import Reason

from . import addresses, formatting
from .page import Page, render

LISTED = 500  # submissions on one page: some 300 kB, which a phone still sorts at once


@dataclass(frozen=True)
class Folder:
    """The submissions of one protocol and origin.

    Attributes
    ----------
    origin, protocol : whose they are.
    title : of the protocol's newest version among them.
    address : of the first part of its list.
    rows : newest first.
    """

    origin: str
    protocol: str
    title: str
    address: str
    rows: Sequence[SubmissionResult]


def in_order(results: Results) -> list[SubmissionResult]:
    """All that have a page: measured ones first, then by protocol and id."""
    return sorted((*results.submissions, *results.retracted), key=lambda s: (s.origin != "measured", s.protocol, s.id))


def submission_lists(results: Results) -> Iterator[Page]:
    """The page of all submissions, and where there are more than ``LISTED`` the lists that it leads to."""
    rows = in_order(results)
    titles = {(p.id, p.version): str(p.front.get("title", p.id)) for p in results.protocols}
    folders = list(_folders(rows, titles)) if len(rows) > LISTED else []
    html = render(
        "submissions.html",
        rows=rows,
        folders=folders,
        folder=None,
        counts={origin: sum(s.origin == origin for s in results.submissions) for origin in ("measured", "simulated")},
        gone={"retracted": len(results.retracted), "removed": len(results.removed)},
        removed=results.removed,
        titles=titles,
        reason=retraction,
    )
    yield Page("/submissions/", "Submissions", html, "Results", Reason("pages.submissions_told"))
    for folder in folders:
        yield from _parts(folder, titles)


def retraction(submission: SubmissionResult) -> str:
    """Why a submission was retracted; empty where it was not."""
    return next((change.why for change in submission.changes if change.kind == "retraction"), "")


def _folders(rows: Sequence[SubmissionResult], titles: dict[tuple[str, str], str]) -> Iterator[Folder]:
    for (origin, protocol), met in groupby(rows, key=lambda s: (s.origin, s.protocol)):
        mine = sorted(met, key=lambda s: (s.month, s.id), reverse=True)
        title = titles.get((protocol, mine[0].version), protocol)
        yield Folder(origin, protocol, title, addresses.submissions_of(origin, protocol), mine)


def _parts(folder: Folder, titles: dict[tuple[str, str], str]) -> Iterator[Page]:
    """The list of one protocol, ``LISTED`` a page."""
    starts = range(0, len(folder.rows), LISTED)
    turns = [addresses.submissions_of(folder.origin, folder.protocol, start // LISTED) for start in starts]
    for part, start in enumerate(starts):
        rows = folder.rows[start : start + LISTED]
        heading = Reason("pages.submissions_of", title=folder.title)
        html = render(
            "submissions.html",
            rows=rows,
            folders=(),
            folder=folder,
            removed=(),
            heading=heading,
            begin=start + 1,
            end=start + len(rows),
            newer=turns[part - 1] if part else "",
            older=turns[part + 1] if part + 1 < len(turns) else "",
            titles=titles,
            reason=retraction,
        )
        span = f"{formatting.month(rows[-1].month)} to {formatting.month(rows[0].month)}"
        yield Page(turns[part], f"{heading}, {span}", html, "Results", record=True)
