"""Jobs that do not depend on one another, by as many processes as there are processors."""

from __future__ import annotations

import copyreg
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from pickle import PicklingError
from types import MappingProxyType
from typing import TypeVar

Result = TypeVar("Result")

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
LONGEST_START = 60.0  # seconds in which the first process must have said that it is there
copyreg.pickle(MappingProxyType, lambda mapping: (MappingProxyType, (dict(mapping),)))  # results go from process to process


def each(function: Callable[..., Result], jobs: Sequence[tuple], sizes: Sequence[float], worth: float) -> list[Result]:
    """``function(*job)`` of every job, in their order; the same whether by one process or by several.

    Where processes cannot be had, do not start in time or die, this process does the work.

    Parameters
    ----------
    function : of a module, and nothing but its arguments decides what it gives.
    jobs : arguments.
    sizes : how much work each is; the largest are begun first.
    worth : the sum of sizes from which starting processes costs less than it saves.
    """
    workers = min(os.cpu_count() or 1, len(jobs))
    if workers >= 2 and sum(sizes) >= worth:
        try:
            return _spread(function, jobs, sizes, workers)
        except (BrokenProcessPool, OSError, PicklingError, TimeoutError):
            pass
    return [function(*job) for job in jobs]


def _spread(function: Callable[..., Result], jobs: Sequence[tuple], sizes: Sequence[float], workers: int) -> list[Result]:
    others = set(active_children())
    with _one_thread(), ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        try:
            pool.submit(os.getpid).result(timeout=LONGEST_START)
        except TimeoutError:
            for process in set(active_children()) - others:
                process.kill()
            raise
        running = {i: pool.submit(function, *jobs[i]) for i in sorted(range(len(jobs)), key=lambda i: -sizes[i])}
        return [running[i].result() for i in range(len(jobs))]


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
