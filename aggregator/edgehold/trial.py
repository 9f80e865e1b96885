"""Beside the path: what is proposed is tried out, made into pages and pooled, in a process of its own with limits on time and memory.

A check that only reads cannot know everything that a later stage stumbles over. Here the stages themselves are asked, where they can do
no harm: what they cannot do in the time and memory given becomes a finding at the file that they were at.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from .disk import read_text
from .errors import ERROR, Finding
from .records.canonical import LoadedProtocol, Repository
from .records.codes import CODES
from .records.read.opening import LARGEST_BYTES
from .records.request.against import CheckedProposal, merged
from .trial_process import Method, Task
from .words import Reason


@dataclass(frozen=True)
class Limits:
    """What a process may take: seconds by the clock and of the processor, megabytes of memory."""

    seconds: int
    megabytes: int


LAYING_OUT = Limits(60, 3_000)
"""The largest method that is taken needs some 10 seconds on a slow machine; what is shared with libraries counts as memory too."""
POOLING = Limits(1_800, 8_000)
"""Half an hour: less than the workflow's own limit, so that its end is a finding."""


@dataclass(frozen=True)
class _Ended:
    """How a process ended: the last thing it began, and why it did not come to its end; empty where it did."""

    last: str
    why: str


def tried(checked: CheckedProposal, pool: bool) -> CheckedProposal:
    """A checked request, and what came of making pages of its methods and (``pool``) of pooling what it touches."""
    found = list(laid_out(checked.repository, frozenset(checked.touched)))
    if pool and not checked.errors and not found:
        with merged(checked.proposal) as folder:
            found += pooled(folder, checked.repository, checked.touched)
    return replace(checked, findings=tuple(sorted([*checked.findings, *found])))


def laid_out(repository: Repository, paths: Collection[str], limits: Limits = LAYING_OUT) -> tuple[Finding, ...]:
    """Methods that cannot be made into pages.

    Parameters
    ----------
    repository : as it was read; methods with errors are not in it.
    paths : the methods that are meant, relative to its root.
    limits : for all of them together.
    """
    found: list[Finding] = []
    left = [_method(repository, loaded) for _, loaded in sorted(repository.protocols.items()) if loaded.path in paths]
    while left:
        ended = _run({"methods": left, "root": "", "pools": []}, limits)
        if not ended.why:
            break
        at = next((place for place, method in enumerate(left) if method["path"] == ended.last), 0)
        found.append(_finding(left[at]["path"], "not-laid-out", Reason("bodies.not_laid_out", told=ended.why)))
        left = left[at + 1 :]
    return tuple(found)


def _method(repository: Repository, loaded: LoadedProtocol) -> Method:
    folder = (repository.root / loaded.path).parent
    figures = {f.file: read_text(folder / f.file, LARGEST_BYTES["figure"]) for f in loaded.record.figures if (folder / f.file).is_file()}
    return {"path": loaded.path, "record": loaded.record.model_dump_json(), "body": loaded.body, "figures": figures}


def pooled(folder: Path, repository: Repository, touched: Sequence[str], limits: Limits = POOLING) -> tuple[Finding, ...]:
    """What stands in the way of pooling what some files touch, as one finding at the first of them.

    Parameters
    ----------
    folder : where base and proposal lie together.
    repository : what was read of them.
    touched : the files.
    limits : for all pools together.
    """
    protocols = sorted(
        {path.split("/")[at] for path in touched for top, at in _PROTOCOL_AT if path.startswith(top) and path.count("/") >= at}
    )
    known = {name for name, _ in repository.protocols}
    meant = [name for name in protocols if name in known]
    if not meant:
        return ()
    ended = _run({"methods": [], "root": str(folder.resolve()), "pools": meant}, limits)
    if not ended.why:
        return ()
    first = next(path for path in touched if any(f"/{name}/" in path for name in meant))
    return (_finding(first, "not-pooled", Reason("bodies.not_pooled", told=ended.why)),)


_PROTOCOL_AT = (("submissions/measured/", 2), ("submissions/simulated/", 2), ("protocols/", 1))
"""Where a path names its protocol."""


def _finding(path: str, code: str, message: Reason) -> Finding:
    return Finding(path, 1, "", code, ERROR, message, CODES[code].cure)


def _run(work: dict[str, object], limits: Limits) -> _Ended:
    """Try something in a process of its own, and end it with all that it began when its time is over."""
    task = json.dumps(Task(megabytes=limits.megabytes, seconds=limits.seconds, **work))  # type: ignore[typeddict-item]
    process = subprocess.Popen(
        _command(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=_environment(),
        start_new_session=True,
    )
    over = False
    try:
        told, _ = process.communicate(task.encode(), timeout=limits.seconds)
    except subprocess.TimeoutExpired:
        over = True
        _end(process)
        told, _ = process.communicate()
    except BaseException:
        _end(process)
        raise
    lines = told.decode(errors="replace").splitlines()
    raised = next((line[1:] for line in lines if line.startswith("!")), "")
    last = next((line for line in reversed(lines) if not line.startswith("!")), "")
    return _Ended(last, _why(process.returncode, raised, over, limits))


def _command() -> list[str]:
    return [sys.executable, "-m", f"{__package__}.trial_process"]


def _environment() -> dict[str, str]:
    """The caller's, with this package to be found wherever it lies."""
    lies = str(Path(__file__).resolve().parents[1])
    path = os.pathsep.join(filter(None, [lies, os.environ.get("PYTHONPATH", "")]))
    return {**os.environ, "PYTHONPATH": path, "PYTHONIOENCODING": "utf-8", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()


def _why(status: int, raised: str, over: bool, limits: Limits) -> str:
    """Why it did not come to its end; empty where it did."""
    out_of_time = over or status == -getattr(signal, "SIGXCPU", 0)
    if out_of_time and status:
        return Reason("bodies.too_long", seconds=limits.seconds)
    if raised.startswith("MemoryError"):
        return Reason("bodies.too_much", megabytes=limits.megabytes)
    if raised:
        return Reason("bodies.raised", told=raised)
    return Reason("bodies.ended", status=status) if status else ""
