"""All that the path reads of a repository, as one hash, so that a build knows that there is nothing new without reading any of it."""

from __future__ import annotations

import os
import stat
from hashlib import blake2b
from pathlib import Path
from typing import NoReturn

from .disk import LARGEST_BUILT_BYTES, Unread, bounded
from .pages.contents import SETTINGS
from .results.publish.state import commit_of

READ = ("protocols", "submissions", "aggregator/registers", "schemas", SETTINGS)
"""Files and folders of a repository from which results and pages are made. What the shell around the pages is made from is none of them."""


def state_of(root: Path, settings: Path) -> tuple[str, bytes] | None:
    """The commit that the results name, and the hash over path and content of every file that is read.

    Parameters
    ----------
    root : the repository.
    settings : the file with the addresses of site and repository.

    Returns
    -------
    None where something there is no ordinary file or folder, or cannot be read: nobody knows what will be made of it.
    """
    hashed = blake2b(digest_size=32)
    try:
        for path in inputs_of(root, settings):
            content = b"" if _is_folder(path) else bounded(path, LARGEST_BUILT_BYTES, links=False)
            if isinstance(content, Unread):
                return None
            name = os.fsencode(os.path.relpath(path, root)) + (b"/" if _is_folder(path) else b"")
            hashed.update(b"%d %d " % (len(name), len(content)) + name + content)
    except OSError:
        return None
    return commit_of(root), hashed.digest()


def inputs_of(root: Path, settings: Path) -> list[Path]:
    """Every file and folder of them.

    Raises
    ------
    OSError : a folder cannot be looked into.
    """
    return sorted({path for place in (*(root / part for part in READ), settings) for path in _below(place)})


def _below(place: Path) -> list[Path]:
    """A place and everything below it; nothing where it is not there."""

    def refuse(error: OSError) -> NoReturn:
        raise error

    if not os.path.lexists(place):
        return []
    if not _is_folder(place):
        return [place]
    return [place, *(Path(folder, name) for folder, folders, names in os.walk(place, onerror=refuse) for name in (*folders, *names))]


def _is_folder(path: Path) -> bool:
    return stat.S_ISDIR(path.lstat().st_mode)
