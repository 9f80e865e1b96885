"""Writing a folder so that only what changed is written: a file that is in the earlier folder with the same bytes is that file."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Mapping
from pathlib import Path


def lay(files: Mapping[str, bytes], target: Path, before: Path | None = None) -> list[str]:
    """Lay files into a folder.

    What the earlier folder has with these very bytes becomes a second name of the same file, with the time at which it was written,
    where the file system can do that. The earlier folder is no source: what differs in it, or is no ordinary file, is not used.

    Parameters
    ----------
    files : bytes by path.
    target : the folder, made where missing; files of these paths are not there yet.
    before : the folder that was laid last.

    Returns
    -------
    Paths of what was written.
    """
    written = []
    for folder in sorted({os.path.dirname(path) for path in files}):
        os.makedirs(target / folder, exist_ok=True)
    for path, content in files.items():
        if before is None or not _linked(before / path, content, target / path):
            (target / path).write_bytes(content)
            written.append(path)
    return written


def _linked(earlier: Path, content: bytes, place: Path) -> bool:
    """Whether an earlier file has this content, and has got a second name."""
    with contextlib.suppress(OSError):
        found = earlier.lstat()
        if stat.S_ISREG(found.st_mode) and found.st_size == len(content) and earlier.read_bytes() == content:
            os.link(earlier, place, follow_symlinks=False)
            return True
    return False
