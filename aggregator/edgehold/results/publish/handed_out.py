"""The files that people sent in, byte for byte, as they are handed out beside the results."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

from edgehold.disk import LARGEST_BUILT_BYTES, read_file, there
from edgehold.errors import RepositoryError
from edgehold.records.canonical import Repository

PROGRAM = (
    "aggregator",
    "schemas",
    "site/pages",
    "site/overrides",
    "pyproject.toml",
    "mkdocs.yml",
    "README.md",
    "LICENSE",
    "LICENSES",
    "CITATION.cff",
)
"""The program with its registers, and what its installation asks for; no file of them names anybody."""
PARTS = ("protocols", "submissions", *PROGRAM)
PEOPLE = "submissions/people/"


def sent_in(repository: Repository) -> dict[str, bytes]:
    """Submissions with their corrections and retractions by path, each as it was sent in.

    One that names a handle with an alias is left out, for the alias stands in the handle's place in everything that is built; it lies in
    the repository, and its hash stands on its page. One that was taken out is not there to be handed out.

    Raises
    ------
    RepositoryError
        A file changed while the build was running.
    """
    return {path: content for path, sha256 in _files(repository) if (content := _read(repository, path, sha256)) is not None}


def _files(repository: Repository) -> Iterator[tuple[str, str]]:
    for submission in (*repository.submissions, *repository.retracted):
        yield submission.path, submission.sha256
        yield from ((change.path, change.sha256) for change in submission.changes)


def _read(repository: Repository, path: str, sha256: str) -> bytes | None:
    content = read_file(repository.root / path)
    if hashlib.sha256(content).hexdigest() != sha256:
        raise RepositoryError(f"{path} changed while it was being read; build again")
    return content if _free(repository, content) else None


def sources(repository: Repository) -> dict[str, bytes]:
    """The repository's own files by path, for whoever wants to make the results again: all that is in `PARTS`.

    As in `sent_in`, what names a handle with an alias is left out, and so is the file that says whose alias it is.
    """
    found = (path for part in PARTS for path in _below(repository.root / part))
    files = {path.relative_to(repository.root).as_posix(): read_file(path, LARGEST_BUILT_BYTES) for path in found}
    return {
        name: content
        for name, content in files.items()
        if not name.startswith(PEOPLE) and (name.startswith(PROGRAM) or _free(repository, content))
    }


def _below(place: Path) -> list[Path]:
    """Ordinary files at or below a place; nothing hidden, compiled or linked."""
    if place.is_file() and not place.is_symlink():
        return [place]
    return [
        path
        for path in _all_below(place)
        if path.is_file() and not path.is_symlink() and not any(part.startswith((".", "__")) for part in path.relative_to(place).parts[:-1])
    ]


def _all_below(place: Path) -> list[Path]:
    """Every file below a folder, sorted; a folder that cannot be read stops the build."""

    def refuse(error: OSError) -> NoReturn:
        raise error

    if not there(place):
        return []
    found = [Path(folder, name) for folder, _, names in os.walk(place, onerror=refuse) for name in names]
    return sorted(found)


def _free(repository: Repository, content: bytes) -> bool:
    """Whether no handle stands in a file that an alias stands for."""
    text = content.decode(errors="replace")
    return repository.names.text(text) == text
