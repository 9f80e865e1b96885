"""Base and proposal together, where the base has moved on: what the repository would be after the merge."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from .git_reading import ask
from .proposal import EXECUTABLE, Proposal
from .rules.additions import is_data

_AT_ONCE = 500  # ids asked for in one go: fewer bytes than a pipe holds, so that nobody waits for the other


def write_union(proposal: Proposal, folder: Path) -> None:
    """Write the data files of the base into an empty folder, and what the proposal changes over them.

    Where both changed a file the proposal's stands; a submission or version that both added is a finding of its own.
    """
    for top in ("protocols", "submissions"):
        (folder / top).mkdir()
    for path, data in _base_data(proposal):
        _place(folder, path).write_bytes(data)
    for change in proposal.changes:
        if change.before and change.before != change.path and is_data(change.before):
            _remove(folder / change.before)
        if is_data(change.path):
            _overlay(proposal.root, folder, change.path)


def _base_data(proposal: Proposal) -> Iterator[tuple[str, bytes]]:
    ordinary = [
        (path, file.object_id)
        for path, file in proposal.base_files.items()
        if is_data(path) and ".." not in path.split("/") and file.mode in ("100644", EXECUTABLE)
    ]
    for start in range(0, len(ordinary), _AT_ONCE):
        part = ordinary[start : start + _AT_ONCE]
        wanted = "".join(f"{object_id}\n" for _, object_id in part).encode()
        answer, place = ask(proposal.root, "cat-file", "--batch", given=wanted), 0
        for path, _ in part:
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
