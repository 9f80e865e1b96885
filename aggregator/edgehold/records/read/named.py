"""The check of some files that were named: only what has to do with them is read."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from pathlib import Path

from edgehold.records.canonical import Repository
from edgehold.records.layout import walk

from .loading import Asked, load_repository
from .neighbours import CHANGE, SUBMISSION, fields_of, submission_of, with_neighbours

MOST_NAMED = 200
"""Files; with more of them everything is read."""


def load_for(root: Path, named: Iterable[str], today: datetime.date | None = None) -> tuple[Repository, bool]:
    """What a check of some files has to read.

    Submissions and their changes are read with the protocols that they follow, and with the facts of all that share a blade, batch, lot
    or instrument with them. For any other file, and for folders, everything is read.

    Parameters
    ----------
    root : the repository's folder.
    named : the files, relative to the root.
    today : as in `load_repository`.

    Returns
    -------
    The repository, and whether everything was read. Where it was not, there are only the submissions named in it, with all their
    findings, and their protocols.

    Raises
    ------
    RepositoryError
        As `load_repository`.
    """
    files = list(named)
    if not files or len(files) > MOST_NAMED or not all(SUBMISSION.fullmatch(path) or CHANGE.fullmatch(path) for path in files):
        return load_repository(root, today=today), True
    touched = {submission_of(path) for path in files}
    chosen = with_neighbours(root, walk(root), touched)
    there = frozenset(touched & chosen)
    methods = frozenset().union(*({path.split("/")[2], *stated(root / path)} for path in there))
    return load_repository(root, today=today, chosen=chosen, asked=Asked(there, methods)), False


def stated(file: Path) -> set[str]:
    """The protocol that a submission's file says it follows, which need not be its folder's; none where it cannot be read."""
    protocol = fields_of(file).get("protocol")
    return {name} if isinstance(protocol, dict) and isinstance(name := protocol.get("id"), str) else set()
