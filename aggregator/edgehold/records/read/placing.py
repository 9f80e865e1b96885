"""Put a file where it belongs, read everything with it, and take it away again if it does not fit."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from edgehold.disk import write_files
from edgehold.errors import ERROR, Finding, InputError

from .loading import load_repository


def put_if_sound(root: Path, place: str, text: str, *, chosen: Collection[str] | None = None) -> tuple[Finding, ...]:
    """Put a new file there; take it away again when that brings an error, or anything else goes wrong.

    Parameters
    ----------
    root : the repository's folder.
    place : the file, relative to the root, with forward slashes.
    text : what shall stand in it.
    chosen : as in `load_repository`: the submissions to read with it.

    Returns
    -------
    The errors it would bring, and then it does not stand; else the warnings in it.

    Raises
    ------
    InputError : something is there already.
    RepositoryError : as `load_repository`.
    """
    before = {(f.file, f.pointer, f.code) for f in load_repository(root, chosen=chosen).errors}
    target, sound = root / place, False
    if target.exists() or target.is_symlink():
        raise InputError(f"{place} is there already: numbers do not run on; run 'edgehold check' and put that right first")
    try:
        write_files({target: text.encode()}, new=True, folders=True)
        found = load_repository(root, chosen=chosen).findings
        brought = tuple(f for f in found if f.severity == ERROR and (f.file, f.pointer, f.code) not in before)
        sound = not brought
        return brought or tuple(f for f in found if f.file == place)
    finally:
        if not sound:
            target.unlink(missing_ok=True)
            if target.parent.exists():
                _prune(target.parent, root)


def _prune(folder: Path, root: Path) -> None:
    """Take empty folders away again that were made for the file."""
    while folder != root and not any(folder.iterdir()):
        folder.rmdir()
        folder = folder.parent
