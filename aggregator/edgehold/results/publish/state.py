"""Which state of the data is published: the newest month in the files, and the commit that they are of. No clock is asked."""

from __future__ import annotations

from pathlib import Path

from edgehold.errors import InputError, RepositoryError
from edgehold.records.canonical import Repository
from edgehold.records.request.git_reading import ask

INPUTS = ("protocols", "submissions", "aggregator")
"""What the figures are made from: what people wrote, and the program with its registers where it lies beside that."""


def data_month(repository: Repository) -> str:
    """The newest month that a file names; empty where none does.

    A month is that of a test, a change, a removal, a seal, an event, or of what was said about a method.
    """
    submissions = (*repository.submissions, *repository.retracted)
    months = [
        *(s.record.month for s in submissions),
        *(change.record.month for s in submissions for change in s.changes),
        *(stone.month for stone in repository.tombstones),
        *(seal.month for seal in repository.seals),
        *(event.month for events in repository.events.values() for event in events),
        *(thread.objection.month for thread in repository.objections),
        *(entry.month for thread in repository.objections for entry, _ in thread.entries),
    ]
    return max(months, default="")


def commit_of(root: Path) -> str:
    """The newest commit that changed what the figures are made from; empty where none is known.

    None is known where ``root`` is no git repository of its own, where its history is cut off (a shallow clone), where git is not there,
    and where files differ from what was committed.
    """
    try:
        top, shallow = ask(root, "rev-parse", "--show-toplevel", "--is-shallow-repository").decode(errors="replace").splitlines()
        if Path(top).resolve() != root.resolve() or shallow != "false":
            return ""
        if ask(root, "status", "--porcelain", "--untracked-files=all", "--", *INPUTS):
            return ""
        return ask(root, "log", "-1", "--format=%H", "--", *INPUTS).decode().strip()
    except (InputError, RepositoryError):
        return ""
