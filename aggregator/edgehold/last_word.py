"""What the command line says when something went wrong that no stage has a finding or a result for: one sentence, never a traceback."""

from __future__ import annotations

import contextlib
import os
import subprocess
from typing import TextIO

from .disk import shown_path, told_of
from .errors import EdgeholdError
from .words import Reason

TRACEBACK = "EDGEHOLD_TRACEBACK"
"""A variable of the environment: where it is set, a fault of the program shows where it arose."""

_FROM_OUTSIDE = (EdgeholdError, OSError, UnicodeError, RecursionError, MemoryError, KeyboardInterrupt, subprocess.SubprocessError)
"""What a machine, a file or a person can bring about."""


def is_fault(error: BaseException) -> bool:
    """Whether only the program itself can be to blame."""
    return not isinstance(error, _FROM_OUTSIDE)


def last_word(error: BaseException) -> str:
    """An error in one sentence."""
    if isinstance(error, EdgeholdError):
        return str(error)
    if isinstance(error, OSError):
        return _of_system(error)
    if isinstance(error, UnicodeError):
        return Reason("disk.not_encodable", encoding=getattr(error, "encoding", "text"))
    if isinstance(error, RecursionError):
        return Reason("disk.too_deep")
    if isinstance(error, MemoryError):
        return Reason("disk.no_memory")
    if isinstance(error, KeyboardInterrupt):
        return Reason("disk.stopped")
    told = f"{type(error).__name__}: {error}"
    return Reason("disk.fault" if is_fault(error) else "disk.system", told=shown_path(" ".join(told.split())[:300]))


def _of_system(error: OSError) -> str:
    if isinstance(error.filename, str | os.PathLike):
        return Reason("disk.system_at", path=shown_path(os.fspath(error.filename)), told=told_of(error))
    return Reason("disk.system", told=told_of(error))


def let_through(stream: TextIO) -> None:
    """Write what the stream's encoding has no letters for as escapes, instead of failing."""
    with contextlib.suppress(AttributeError, ValueError, OSError):
        stream.reconfigure(errors="backslashreplace")  # type: ignore[attr-defined]


def say_no_more(stream: TextIO) -> None:
    """Let go of what was not written yet: nobody reads it, or it cannot be written (Python's own advice for SIGPIPE)."""
    with contextlib.suppress(AttributeError, ValueError, OSError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
