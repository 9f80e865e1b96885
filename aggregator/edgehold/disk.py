"""The one way from the disk and the one way to it.

Read: an ordinary file of bounded size and nothing else, opened without waiting, so that a pipe, a device or a folder under a file's
name is told at once. Write: beside the target under another name, put on the disk, and switched in by one step of the file system, so
that whatever goes wrong on the way, a full disk for one, leaves what was there before.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from errno import ENOENT
from pathlib import Path

from .errors import FileError
from .words import Reason

LARGEST_TEXT_BYTES = 5_000_000
"""Settings, drawings, answers and tables of repeatability; the largest of them that is published takes some 100,000."""
LARGEST_BUILT_BYTES = 500_000_000
"""Files of a build. The results of 10,000 submissions take about a fifth of it."""

_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_ASIDE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
_STEP = 65_536  # bytes
_KINDS = (
    (stat.S_ISDIR, "folder"),
    (stat.S_ISFIFO, "pipe"),
    (stat.S_ISSOCK, "socket"),
    (stat.S_ISCHR, "device"),
    (stat.S_ISBLK, "device"),
)


@dataclass(frozen=True)
class Unread:
    """Why the bytes of a file are not to be had.

    Attributes
    ----------
    code : link, not_ordinary, too_large or unreadable.
    size : bytes that it has, where it is too large.
    told : what it is, where it is no ordinary file; the system's own words, where it cannot be read.
    """

    code: str
    size: int = 0
    told: str = ""


def bounded(path: str | Path, most: int, *, links: bool = True) -> bytes | Unread:
    """The bytes of an ordinary file that has at most so many, or why not.

    Parameters
    ----------
    path : where.
    most : bytes that are read at most.
    links : whether a symbolic link may lead to it.
    """
    try:
        refused = _refused(os.stat(path) if links else os.lstat(path), most)
        if refused is not None:
            return refused
        descriptor = os.open(path, _READ if links else _READ | _NO_LINK)
        try:
            status = os.fstat(descriptor)
            return _refused(status, most) or _read(descriptor, status.st_size, most)
        finally:
            os.close(descriptor)
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte
        return Unread("unreadable", told=told_of(error))


def _refused(status: os.stat_result, most: int) -> Unread | None:
    if stat.S_ISLNK(status.st_mode):
        return Unread("link")
    if not stat.S_ISREG(status.st_mode):
        return Unread("not_ordinary", told=_kind(status.st_mode))
    return Unread("too_large", status.st_size) if status.st_size > most else None


def _kind(mode: int) -> str:
    return next((Reason(f"disk.{kind}") for fits, kind in _KINDS if fits(mode)), Reason("disk.other_kind"))


def _read(descriptor: int, size: int, most: int) -> bytes | Unread:
    """All bytes; a file may grow meanwhile, or have more than it says."""
    parts, left, step = [], most + 1, max(size + 1, _STEP)
    while left and (part := os.read(descriptor, min(left, step))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts) if left else Unread("too_large", most + 1)


def read_file(path: Path, most: int = LARGEST_TEXT_BYTES) -> bytes:
    """The bytes of a file that somebody names.

    Raises
    ------
    FileError
        It is not there, cannot be read, is too large or no ordinary file.
    """
    found = bounded(path, most)
    if isinstance(found, Unread):
        raise FileError(unread(path, found, most))
    return found


def unread(path: Path, why: Unread, most: int) -> str:
    """Why a file is not read, in words."""
    return Reason(f"disk.{why.code}", path=shown_path(path), told=why.told, most=most)


def read_text(path: Path, most: int = LARGEST_TEXT_BYTES) -> str:
    """The same as text.

    Raises
    ------
    FileError
        As `read_file`, or it is not UTF-8.
    """
    try:
        return read_file(path, most).decode("utf-8")
    except UnicodeDecodeError as error:
        raise FileError(Reason("disk.not_text", path=shown_path(path), start=error.start)) from None


def there(path: Path) -> bool:
    """Whether anything has this name, a link to nothing too.

    Raises
    ------
    FileError
        The folder that holds it cannot be looked into: nobody knows.
    """
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except (OSError, ValueError) as error:
        raise FileError(Reason("disk.unreadable", path=shown_path(path), told=told_of(error), most=0)) from None
    return True


def names_in(folder: Path) -> list[str]:
    """Names of what lies in a folder, sorted.

    Raises
    ------
    FileError
        There is no such folder, or it cannot be read: that is not the same as an empty one.
    """
    try:
        return sorted(os.listdir(folder))
    except (OSError, ValueError) as error:
        raise FileError(Reason("disk.folder_unreadable", path=shown_path(folder), told=told_of(error))) from None


def refuse_unwritable(path: Path) -> None:
    """Say before long work that its outcome could not be written there.

    Raises
    ------
    FileError
        There is no such folder, or something other than an ordinary file has this name.
    """
    with _told_as(path):
        target = _target(path, new=False)
        if not target.parent.is_dir():
            raise FileNotFoundError(ENOENT, os.strerror(ENOENT))


def write_file(path: Path, data: bytes, *, new: bool = False) -> None:
    """Write a file so that it is there whole or not at all; see `write_files`."""
    write_files({path: data}, new=new)


def write_files(files: Mapping[Path, bytes], *, new: bool = False, folders: bool = False) -> None:
    """Write some files: all of them aside first, then each switched in, in their order.

    Parameters
    ----------
    files : bytes by target. A link is followed, and what it leads to is replaced.
    new : whether every name must be free.
    folders : whether missing folders are made; those that were are taken away again where nothing could be written.

    Raises
    ------
    FileError
        A file cannot be written, or (``new``) its name is taken. What was there stands then; of new ones none does.
    """
    made: list[Path] = []
    aside: dict[Path, Path] = {}
    try:
        for path, data in files.items():
            with _told_as(path):
                target = _target(path, new)
                if folders:
                    made += _folders(target.parent)
                aside[target] = _written(target, data)
        _switched(aside, new)
    except BaseException:
        for left in aside.values():
            left.unlink(missing_ok=True)
        for folder in reversed(made):
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise


def _target(path: Path, new: bool) -> Path:
    """Where the bytes go."""
    if new:
        if os.path.lexists(path):
            raise FileExistsError
        return path
    target = Path(os.path.realpath(path))
    if os.path.lexists(target) and not target.is_file():
        raise FileError(Reason("disk.not_for_writing", path=shown_path(path), told=_kind(target.stat().st_mode)))
    return target


def _folders(folder: Path) -> list[Path]:
    """Make a folder and those above it; which were missing, outermost first."""
    missing = [folder, *folder.parents]
    missing = missing[: next((place for place, one in enumerate(missing) if one.exists()), len(missing))]
    folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _written(target: Path, data: bytes) -> Path:
    """A file beside the target, on the disk, with the rights that the target has."""
    aside = target.with_name(f".{target.name[:100]}.{os.urandom(4).hex()}.new")
    descriptor = os.open(aside, _ASIDE, 0o666)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            aside.chmod(stat.S_IMODE(target.stat().st_mode))
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
    return aside


def _switched(aside: Mapping[Path, Path], new: bool) -> None:
    """Give every file its name. Of new ones none stays where one name is taken by now."""
    placed: list[Path] = []
    for target, made in aside.items():
        try:
            with _told_as(target):
                _named_anew(made, target) if new else os.replace(made, target)
        except BaseException:
            for one in placed if new else ():
                one.unlink(missing_ok=True)
            raise
        placed.append(target)
    for folder in {target.parent for target in placed}:
        _sync_folder(folder)


def _named_anew(made: Path, target: Path) -> None:
    """A name that nothing has: by a second link, which fails where the name is taken; a file system without links has to be asked."""
    try:
        os.link(made, target, follow_symlinks=False)
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):
        if os.path.lexists(target):
            raise FileExistsError from None
        os.replace(made, target)
    else:
        made.unlink()


def _sync_folder(folder: Path) -> None:
    """Ask the system to keep the names too, where it can."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder of exactly these files, instead of the one that is there.

    Parameters
    ----------
    folder : where.
    files : bytes by path inside it.

    Raises
    ------
    FileError
        It cannot be written. The folder that was there stands.
    """
    fresh, old = (folder.with_name(f".{folder.name}-{name}") for name in ("new", "old"))
    with _told_as(folder):
        for leftover in (fresh, old):
            shutil.rmtree(leftover, ignore_errors=True)
        try:
            fresh.mkdir(parents=True)
            for name, data in files.items():
                (fresh / name).parent.mkdir(parents=True, exist_ok=True)
                _written(fresh / name, data).replace(fresh / name)
            if folder.exists():
                folder.rename(old)
            fresh.rename(folder)
        except BaseException:
            if old.exists() and not folder.exists():
                old.rename(folder)
            shutil.rmtree(fresh, ignore_errors=True)
            raise
        shutil.rmtree(old, ignore_errors=True)


@contextlib.contextmanager
def _told_as(path: Path) -> Iterator[None]:
    """Failures of the file system as this program's own, with the name that somebody gave."""
    try:
        yield
    except FileExistsError:
        raise FileError(Reason("disk.taken", path=shown_path(path))) from None
    except (OSError, ValueError) as error:
        if isinstance(error, FileError):
            raise
        raise FileError(Reason("disk.unwritable", path=shown_path(path), told=told_of(error))) from None


def told_of(error: OSError | ValueError) -> str:
    """What the system says went wrong."""
    return str(getattr(error, "strerror", None) or error or type(error).__name__)


def shown_path(path: str | Path) -> str:
    """A path as a sentence may hold it: on one line, without anything that a terminal would obey."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in os.fspath(path))
