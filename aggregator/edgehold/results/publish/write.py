"""Writing a build so that nothing is ever half there.

A build is made aside in ``build/made/<number>/`` and becomes the current one by replacing one symbolic link, which the
operating system does whole or not at all. ``build/results`` and ``build/site`` look through that link. A build that is
killed leaves the last one as it was; its remains are cleared away by the next.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from edgehold.errors import RepositoryError

PARTS = ("results", "site")


@contextlib.contextmanager
def staged_build(root: Path) -> Iterator[Path]:
    """A fresh folder to build in; made current when the block ends well, removed when it does not.

    Parameters
    ----------
    root : the repository; ``root/build`` is made where missing.

    Raises
    ------
    RepositoryError : another build holds the folder, or ``build/results`` or ``build/site`` is not ours to replace.
    """
    build = root / "build"
    made = build / "made"
    made.mkdir(parents=True, exist_ok=True)
    _refuse_foreign(build)
    with _lock(build):
        _clear_remains(build)
        stage = made / str(1 + max((int(p.name) for p in made.iterdir() if p.name.isdigit()), default=0))
        stage.mkdir()
        try:
            yield stage
            _carry_over(build, stage)
            _switch(build, stage)
        except BaseException:
            if _current(build) != stage.name:
                shutil.rmtree(stage, ignore_errors=True)
            raise
        _clear_remains(build)


def _refuse_foreign(build: Path) -> None:
    for name in (*PARTS, "current"):
        path = build / name
        if path.exists() and not path.is_symlink():
            raise RepositoryError(f"{path} was not made by this program; move it away and build again")


@contextlib.contextmanager
def _lock(build: Path) -> Iterator[None]:
    """Hold the build folder; the lock goes with the process, however it ends."""
    try:
        import fcntl
    except ImportError:  # no such lock on this system: two builds at once are the caller's care
        yield
        return
    with open(build / ".lock", "w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise RepositoryError("another build is running in this folder; wait for it and try again") from None
        yield


def _current(build: Path) -> str | None:
    """Name of the made build that is looked at; None where there is none."""
    return (build / "current").resolve().name if (build / "current").exists() else None


def _clear_remains(build: Path) -> None:
    """Remove every made build but the current one."""
    current = _current(build)
    for path in (build / "made").iterdir():
        if path.name != current:
            shutil.rmtree(path, ignore_errors=True)


def _carry_over(build: Path, stage: Path) -> None:
    """Keep a part that this build did not make (results only, without a site) as it was."""
    for name in PARTS:
        before = build / "current" / name
        if not (stage / name).exists() and before.exists():
            shutil.copytree(before, stage / name)


def _switch(build: Path, stage: Path) -> None:
    """Make the stage current: one atomic replacement, then (first time only) the two names that look through it."""
    _sync(stage)
    _link(build / "current", Path("made") / stage.name)
    for name in PARTS:
        if not (build / name).is_symlink():
            _link(build / name, Path("current") / name)


def _link(path: Path, target: Path) -> None:
    aside = path.with_name(f".{path.name}.new")
    aside.unlink(missing_ok=True)
    aside.symlink_to(target, target_is_directory=True)
    os.replace(aside, path)


def _sync(stage: Path) -> None:
    """Ask the system to put everything on the disk before the switch, where it can."""
    if hasattr(os, "sync"):
        os.sync()
