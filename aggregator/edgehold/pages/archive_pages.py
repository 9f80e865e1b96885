"""The list of builds that are kept, newest first, with what was taken out of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from edgehold.archive.folder import Kept, Withdrawn
from edgehold.words import Reason

from .citing import Cited, cite_build, cited_as
from .page import Page, render

MEGABYTE = 1_000_000


def archive_page(builds: Sequence[Kept], cited: Cited, repository_url: str = "") -> Page:
    """``/archive/``.

    Parameters
    ----------
    builds : in the order in which they were published.
    cited : the build that is made now.
    repository_url : where the repository is, whose name whoever verifies an attestation has to give; empty where none is set.
    """
    newest_first = list(reversed(builds))
    rows = [(kept, cited_as(kept, cited.base_url), list(_gaps(kept))) for kept in newest_first]
    html = render(
        "archive.html",
        rows=[(kept, cite_build(of_build, number), gaps, kept.size / MEGABYTE) for number, (kept, of_build, gaps) in enumerate(rows, 1)],
        current=cited.build,
        megabytes=sum(kept.size for kept in builds) / MEGABYTE,
        attested=_in_repository(repository_url),
        says=Reason("citing.kept") if cited.base_url else Reason("citing.kept_nowhere"),
    )
    return Page("/archive/", Reason("archive.title"), html, "Results", Reason("archive.told"))


def _in_repository(url: str) -> str:
    """Owner and name of a repository, as its host's commands take them."""
    parts = [part for part in url.partition("://")[2].split("/")[1:] if part]
    return "/".join(parts[:2]) if len(parts) >= 2 else "OWNER/NAME"


def _gaps(kept: Kept) -> Iterator[tuple[str, list[str]]]:
    """What was withdrawn, in a sentence a month and reason, with the files."""
    counts = Counter((one.month, one.reason) for one in kept.withdrawn)
    for (month, reason), files in sorted(counts.items()):
        yield (
            Reason("archive.withdrawn", files=files, month=month, reason=str(Reason(f"archive.reason_{reason}"))),
            [one.path for one in kept.withdrawn if _key(one) == (month, reason)],
        )


def _key(one: Withdrawn) -> tuple[str, str]:
    return one.month, one.reason
