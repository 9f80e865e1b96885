"""Base and proposal together, where the base has moved on: what the repository would be after the merge."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from .additions import is_data
from .git_reading import ask
from .proposal import EXECUTABLE, Proposal

_AT_ONCE = 500  # ids asked for in one go: fewer bytes than a pipe holds, so that nobody waits for the other


def write_union(proposal: Proposal, folder: Path) -> None:
    """Write the data files of the base into an empty folder, and what the proposal changes over them.

    What neither side changed is taken from the working tree. Where both changed a file the proposal's stands, and that is a finding of
    its own.
    """
    for top in ("protocols", "submissions"):
        (folder / top).mkdir()
    touched = {path for change in proposal.changes for path in (change.path, change.before)}
    kept = [path for path in _ordinary(proposal) if path not in touched]
    alike = {path for path in kept if path not in proposal.moved and (proposal.root / path).is_file()}
    for parent in sorted({path.rpartition("/")[0] for path in kept}):
        (folder / parent).mkdir(parents=True, exist_ok=True)
    for path in alike:
        _copy(f"{proposal.root}/{path}", f"{folder}/{path}")
    for path, data in _base_data(proposal, [path for path in kept if path not in alike]):
        (folder / path).write_bytes(data)
    for change in proposal.changes:
        if change.before and change.before != change.path and is_data(change.before):
            _remove(folder / change.before)
        if is_data(change.path):
            _overlay(proposal.root, folder, change.path)


def _ordinary(proposal: Proposal) -> list[str]:
    """Data files of the base; links and the like, which the base's own check refuses, are left out."""
    return [
        path
        for path, file in proposal.base_files.items()
        if is_data(path) and ".." not in path.split("/") and file.mode in ("100644", EXECUTABLE)
    ]


def _copy(source: str, goal: str) -> None:
    """The same file under another name where the file system can do that, a copy elsewhere; neither is written to."""
    try:
        os.link(source, goal, follow_symlinks=False)
    except OSError:
        shutil.copyfile(source, goal, follow_symlinks=False)


def _base_data(proposal: Proposal, paths: list[str]) -> Iterator[tuple[str, bytes]]:
    """Files as the base has them (git's batch format: id, kind and size on a line, the bytes, a line break)."""
    for start in range(0, len(paths), _AT_ONCE):
        part = paths[start : start + _AT_ONCE]
        wanted = "".join(f"{proposal.base_files[path].object_id}\n" for path in part).encode()
        answer, place = ask(proposal.root, "cat-file", "--batch", given=wanted), 0
        for path in part:
            head_end = answer.index(b"\n", place)
            size = int(answer[place:head_end].split(b" ")[2])
            yield path, answer[head_end + 1 : head_end + 1 + size]
            place = head_end + size + 2


def _overlay(root: Path, folder: Path, path: str) -> None:
    source = root / path
    _remove(folder / path)
    if source.is_symlink():
        _place(folder, path).symlink_to(os.readlink(source))
    elif source.is_file():
        shutil.copyfile(source, _place(folder, path))


def _place(folder: Path, path: str) -> Path:
    place = folder / path
    place.parent.mkdir(parents=True, exist_ok=True)
    return place


def _remove(path: Path) -> None:
    if path.is_symlink() or path.is_file():
        path.unlink()
