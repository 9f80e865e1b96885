"""Jobs that do not depend on one another, by as many processes as there are processors."""

from __future__ import annotations

import copyreg
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from functools import partial
from multiprocessing import active_children, get_context
from types import MappingProxyType
from typing import Any, TypeVar

Result = TypeVar("Result")
Key = TypeVar("Key")
Value = TypeVar("Value")

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
WORTH = 400  # rows from which starting processes costs less than it saves
LONGEST_START = 60.0  # seconds in which the first process must have said that it is there


def read_only(content: dict[Key, Value]) -> MappingProxyType[Key, Value]:
    """A read-only mapping: its own class has no name under which it could go from process to process."""
    return MappingProxyType(content)


copyreg.pickle(MappingProxyType, lambda mapping: (read_only, (dict(mapping),)))


_processes: list[ProcessPoolExecutor] = []


def each(function: Callable[..., Result], jobs: Sequence[tuple[Any, ...]], sizes: Sequence[float]) -> list[Result]:
    """``function(*job)`` of every job, in their order; the same whether by one process or by several.

    By the processes of ``side_by_side`` where it has some; elsewhere, and where a process dies, by this one.

    Parameters
    ----------
    function : of a module, and nothing but its arguments decides what it gives.
    jobs : arguments.
    sizes : how much work each is; the largest are begun first.
    """
    if _processes:
        with suppress(BrokenProcessPool):
            running = {i: _processes[-1].submit(function, *jobs[i]) for i in sorted(range(len(jobs)), key=lambda i: -sizes[i])}
            return [running[i].result() for i in range(len(jobs))]
    return [function(*job) for job in jobs]


@contextmanager
def side_by_side(work: float) -> Iterator[Callable[..., Callable[[], Any]]]:
    """Begin calls of which each may take ``each``; they go on while the caller does something else.

    Gives ``begin(function, *arguments)``, which gives what waits for the result. Processes are started where there are several processors
    and enough work; else the function is called when its result is asked for, for threads that calculate would share what the
    libraries under them keep for one thread alone.

    Parameters
    ----------
    work : rows that the calls are about.
    """
    if (os.cpu_count() or 1) < 2 or work < WORTH:
        yield partial
        return
    with _one_thread():
        executor = _started()
        if executor is None:
            yield partial
            return
        with executor, ThreadPoolExecutor() as waiting:
            _processes.append(executor)
            try:
                yield lambda function, *arguments: waiting.submit(function, *arguments).result
            finally:
                _processes.remove(executor)


def _started() -> ProcessPoolExecutor | None:
    """Processes, of which the first has said that it is there; None where none was ready in time."""
    others = set(active_children())
    executor = ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn"))
    try:
        executor.submit(os.getpid).result(timeout=LONGEST_START)
    except (BrokenProcessPool, OSError, TimeoutError):
        for process in set(active_children()) - others:
            process.kill()
        executor.shutdown(wait=False, cancel_futures=True)
        return None
    return executor


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
