"""The files that people sent in, byte for byte, as they are handed out beside the results; and lists of hashes."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping

from edgehold.errors import RepositoryError
from edgehold.records.canonical import Repository

SUMS = "SHA256SUMS"


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
    content = (repository.root / path).read_bytes()
    if hashlib.sha256(content).hexdigest() != sha256:
        raise RepositoryError(f"{path} changed while it was being read; build again")
    text = content.decode(errors="replace")
    return None if repository.names.text(text) != text else content


def sums(files: Mapping[str, bytes]) -> bytes:
    """Lines of hash and name as ``sha256sum`` writes and checks them, by name."""
    return "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files)).encode()
