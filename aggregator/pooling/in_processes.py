"""Jobs that do not depend on one another, by as many processes as there are processors."""

from __future__ import annotations

import copyreg
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from threading import Lock
from types import MappingProxyType
from typing import TypeVar

Result = TypeVar("Result")

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
LONGEST_START = 60.0  # seconds in which the first process must have said that it is there


def read_only(content: dict) -> MappingProxyType:
    """A read-only mapping: its own class has no name under which it could go from process to process."""
    return MappingProxyType(content)


copyreg.pickle(MappingProxyType, lambda mapping: (read_only, (dict(mapping),)))


def each(function: Callable[..., Result], jobs: Sequence[tuple], sizes: Sequence[float], worth: float) -> list[Result]:
    """``function(*job)`` of every job, in their order; the same whether by one process or by several.

    Only within ``processes``; elsewhere, and where processes do not start in time or die, this process does the work.

    Parameters
    ----------
    function : of a module, and nothing but its arguments decides what it gives.
    jobs : arguments.
    sizes : how much work each is; the largest are begun first.
    worth : the sum of sizes from which starting processes costs less than it saves.
    """
    if _open and len(jobs) >= 2 and sum(sizes) >= worth:
        try:
            return _spread(_open[-1].started(), function, jobs, sizes)
        except (BrokenProcessPool, OSError):
            pass
    return [function(*job) for job in jobs]


@contextmanager
def processes() -> Iterator[None]:
    """Within, ``each`` has as many processes as there are processors, started when first wanted; several threads may ask at once."""
    if (os.cpu_count() or 1) < 2:
        yield
        return
    with _one_thread():
        _open.append(_Pool())
        try:
            yield
        finally:
            _open.pop().stop()


class _Pool:
    """Processes that are started once, when first wanted."""

    def __init__(self) -> None:
        self._lock, self._executor, self._failed = Lock(), None, False

    def started(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._executor is None and not self._failed:
                self._executor = self._start()
            if self._executor is None:
                raise OSError("no processes could be started")
            return self._executor

    def _start(self) -> ProcessPoolExecutor | None:
        others = set(active_children())
        executor = ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn"))
        try:
            executor.submit(os.getpid).result(timeout=LONGEST_START)
        except (BrokenProcessPool, OSError, TimeoutError):
            self._failed = True
            for process in set(active_children()) - others:
                process.kill()
            executor.shutdown(wait=False, cancel_futures=True)
            return None
        return executor

    def stop(self) -> None:
        if self._executor is not None:
            self._executor.shutdown(cancel_futures=True)


def _spread(pool: ProcessPoolExecutor, function: Callable[..., Result], jobs: Sequence[tuple], sizes: Sequence[float]) -> list[Result]:
    running = {i: pool.submit(function, *jobs[i]) for i in sorted(range(len(jobs)), key=lambda i: -sizes[i])}
    return [running[i].result() for i in range(len(jobs))]


_open: list[_Pool] = []


@contextmanager
def _one_thread() -> Iterator[None]:
    """Processes started meanwhile calculate by one thread each: the matrices are small, and they share the machine.

    It must stand in the environment before a process starts; linear algebra looks at it only once, when it is imported, and threads
    that wait for each other in a loop on a busy machine take many times as long.
    """
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update({name: value or "1" for name, value in before.items()})
    try:
        yield
    finally:
        for name in (name for name, value in before.items() if value is None):
            os.environ.pop(name, None)
