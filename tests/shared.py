"""Work done once in a test session, whichever of its processes comes first: builds and crawls."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Callable
from pathlib import Path


def once(folder: Path, name: str, make: Callable[[Path], None]) -> Path:
    """``folder / name``, made by the first process that asks for it; the others wait.

    ``make`` gets the path to write (a file or a folder). When it fails, the next process tries again and fails for itself.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f".{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = folder / f".{name}.done"
        if not done.exists():
            shutil.rmtree(folder / name, ignore_errors=True)  # what a failed attempt left
            make(folder / name)
            done.touch()
    return folder / name
