"""A build: what the path makes is made aside, with what earlier builds kept, and switched in when it is whole.

Where nothing that the path reads has changed, the path is not even imported: all that it made is kept under one hash (``inputs``).
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from .archive.folder import Archive, read_archive, write_archive
from .cycles import seldom_looking_for_cycles
from .disk import refuse_unwritable, write_file
from .engine.tasks import kept_in, kept_in_parts, on_cluster
from .errors import RepositoryError
from .inputs import state_of
from .pages.contents import SETTINGS, Whole, chosen_for
from .pages.drawings import fonts
from .pages.laying import lay
from .records.code_owners import strange_teams
from .records.schemas import repository_url
from .results.publish.write import staged_build
from .words import Reason

Progress = Callable[[str], None]
LARGE_MEGABYTES = 700
"""Above this the maintainer is warned of the archive's size: many hosts take no site above a gigabyte."""


def pool(root: Path, say: Progress = lambda _: None, cluster: str | None = None) -> Path:
    """Check and pool, and write ``build/results``; the site, if there was one, stays as it was.

    Parameters
    ----------
    root : the repository.
    say : told of what is begun.
    cluster : the address of a cluster whose workers are to compute; None: this machine.

    Returns
    -------
    The folder of the results.
    """
    from .pipeline import results_files

    with staged_build(root) as stage, _computing(root, say, cluster):
        lay(results_files(root, say), stage / "results", root / "build" / "results")
    return root / "build" / "results"


def site(
    root: Path,
    say: Progress = lambda _: None,
    warn: Progress = lambda _: None,
    archive: Path | None = None,
    cache: Path | None = None,
    cluster: str | None = None,
) -> Path:
    """Check, pool and build the pages: ``build/results`` and ``build/site``.

    Parameters
    ----------
    root : the repository.
    say : told of what is begun.
    warn : told of what the maintainer has left unset.
    archive : the folder in which every published build is kept; this one is added to it, and all of them to the site. None: the site
        has no archive.
    cache : the folder in which parts that were computed are kept; None: ``build/cache`` of the repository.
    cluster : as in `pool`.

    Returns
    -------
    The site's first page.

    Raises
    ------
    ArchiveError
        A kept file is not what was published, or would change. Nothing is built then.
    """
    from .pages.shell import lay_site

    kept = read_archive(archive) if archive is not None else None
    with staged_build(root) as stage, _computing(root, say, cluster, cache):
        made, after = _whole(root, say, kept)
        if not repository_url(root):
            warn(Reason("sending.no_repository"))
        for team in strange_teams(root):
            warn(Reason("sending.strange_team", team=team))
        lay(made.results, stage / "results", root / "build" / "results")
        lay_site(made.contents, chosen_for(root), stage / "site", after, root / "build" / "site")
    if archive is not None and kept is not None and after is not None:
        write_archive(after, archive)
        _tell_of_archive(kept, after, say, warn)
    return root / "build" / "site" / "index.html"


def deposit(root: Path, target: Path, say: Progress = lambda _: None, cluster: str | None = None) -> None:
    """Check and pool, and write one file for a depositor: data, what they were made from, hashes and metadata.

    Parameters
    ----------
    root : the repository.
    target : the ZIP file to write; an older one is replaced once the new one is whole.
    say : told of what is begun.
    cluster : as in `pool`.
    """
    from .pipeline import deposited

    refuse_unwritable(target)
    with _computing(root, say, cluster):
        made = deposited(root, say)
    write_file(target, made)


def _whole(root: Path, say: Progress, archive: Archive | None) -> tuple[Whole, Archive | None]:
    """All that is published; as it was made before, where nothing that it is made from has changed."""
    read = (root, chosen_for(root) / SETTINGS)
    before = state_of(*read) if archive is None else None

    anew = []

    def compute() -> tuple[Whole, Archive | None]:
        from .pipeline import whole

        anew.append(True)
        made = whole(root, say, archive)
        if before is not None and state_of(*read) != before:
            raise RepositoryError(f"files of {root} changed while they were being read; build again")
        return made

    if before is None:
        return compute()
    made = kept_in_parts(_whole, (before, datetime.date.today().isoformat(), fonts()), compute)
    if not anew:
        say(Reason("cache.nothing_new"))
    return made


@contextmanager
def _computing(root: Path, say: Progress, cluster: str | None = None, cache: Path | None = None) -> Iterator[None]:
    """By this machine or a cluster; parts that an earlier build computed from the same are not computed again."""
    with (
        on_cluster(cluster, say) if cluster is not None else nullcontext(),
        kept_in(cache or root / "build" / "cache", say),
        seldom_looking_for_cycles(),
    ):
        yield


def _tell_of_archive(before: Archive, after: Archive, say: Progress, warn: Progress) -> None:
    added = len(after.builds) > len(before.builds)
    if added:
        say(Reason("archive.kept", build=after.builds[-1].name))
    else:
        say(Reason("archive.kept_already"))
    megabytes = sum(one.size for one in after.builds) // 1_000_000
    if megabytes > LARGE_MEGABYTES:
        warn(Reason("archive.large", megabytes=megabytes))
