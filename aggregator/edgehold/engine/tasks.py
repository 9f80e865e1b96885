"""Parts of a computation that do not depend on one another: by as many processes as there are processors, the longest first.

Every stage hands its parts to `each`. Within `side_by_side` they are done by processes, within `kept_in` a cache is asked first. What
comes out is the same, to the byte, whichever it is.
"""

from __future__ import annotations

import copyreg
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor, ThreadPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from math import inf
from multiprocessing import active_children, get_context
from pathlib import Path
from queue import Empty, PriorityQueue
from threading import Lock, RLock, Thread
from types import MappingProxyType
from typing import Any, TypeVar

from .cache import Cache, opened

Result = TypeVar("Result")
Key = TypeVar("Key")
Value = TypeVar("Value")

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
WORTH = 400  # rows from which starting processes costs less than it saves
LONGEST_START = 60.0  # seconds in which the first process must have said that it is there
AWAITED = 1e9  # added to the size of what further work waits for
STARTS = 3  # how often processes are started, where one of them is killed


def read_only(content: dict[Key, Value]) -> MappingProxyType[Key, Value]:
    """A read-only mapping: its own class has no name under which it could go from process to process."""
    return MappingProxyType(content)


copyreg.pickle(MappingProxyType, lambda mapping: (read_only, (dict(mapping),)))


_crews: list[_Crew] = []
_caches: list[Cache] = []
_here = RLock()  # of several threads of this process, one computes at a time: they would only wait for each other


def each(function: Callable[..., Result], jobs: Sequence[tuple[Any, ...]], sizes: Sequence[float]) -> list[Result]:
    """``function(*job)`` of every job, in their order; the same whether by one process or by several, or from the cache.

    By the processes of ``side_by_side`` where it has some; elsewhere by this one.

    Parameters
    ----------
    function : of a module, and nothing but its arguments decides what it gives.
    jobs : arguments.
    sizes : how much work each is, in about milliseconds; of all that waits, the largest is begun first.
    """
    cache = _caches[-1] if _caches else None
    if cache is None and not _crews:
        return [function(*job) for job in jobs]
    found: dict[int, Result] = {}
    keys: dict[int, bytes] = {}
    if cache is not None:
        for i, job in enumerate(jobs):
            keys[i] = cache.key(function, job)
            kept = cache.get(keys[i])
            if kept is not None:
                found[i] = kept[0]
    for i, pickled in _computed(function, {i: job for i, job in enumerate(jobs) if i not in found}, sizes):
        if cache is not None:
            cache.put(keys[i], pickled)
        found[i] = pickle.loads(pickled)
    return [found[i] for i in range(len(jobs))]


def kept(function: Callable[..., Result], *arguments: Any) -> Result:
    """What a function gives, from the cache where it is there."""
    return each(function, [arguments], [0])[0]


def kept_as(function: Callable[..., Any], decided: tuple[Any, ...], compute: Callable[[], Result]) -> Result:
    """What ``compute`` gives, from the cache where it is there; for what takes more to say than a function and its arguments.

    Parameters
    ----------
    function : under whose name it is kept.
    decided : all that decides what it gives, besides the program.
    compute : called where nothing is kept.
    """
    if not _caches:
        return compute()
    key = _caches[-1].key(function, decided)
    kept = _caches[-1].get(key)
    if kept is None:
        pickled = pickle.dumps(compute(), protocol=pickle.HIGHEST_PROTOCOL)
        _caches[-1].put(key, pickled)
        kept = (pickle.loads(pickled),)
    result: Result = kept[0]
    return result


def _computed(function: Callable[..., Any], jobs: dict[int, tuple[Any, ...]], sizes: Sequence[float]) -> Iterator[tuple[int, bytes]]:
    """The pickled results of some jobs, as they are done."""
    if not _crews:
        for i, job in jobs.items():
            yield i, _pickled(function, job)
        return
    running = {_crews[-1].submit(function, job, sizes[i]): i for i, job in jobs.items()}
    for done in as_completed(running):
        yield running[done], done.result()


def _pickled(function: Callable[..., Any], job: tuple[Any, ...]) -> bytes:
    """What a job gives, as it goes from process to process and into the cache."""
    with _here:
        return pickle.dumps(function(*job), protocol=pickle.HIGHEST_PROTOCOL)


@dataclass(frozen=True, order=True)
class _Waiting:
    """A job on the list: the largest first, of equal ones the earliest."""

    rank: float
    number: int
    function: Callable[..., Any] = field(compare=False)
    job: tuple[Any, ...] = field(compare=False)
    result: Future[bytes] = field(compare=False)


class _Crew:
    """Processes with one list of what is to be done. They are started when there is something on it.

    Where one is killed, all are started again and do what was not done. When that has happened too often, this process does it.
    """

    def __init__(self, processes: int) -> None:
        self._processes, self._number = processes, count()
        self._list: PriorityQueue[_Waiting] = PriorityQueue()
        self._hands: list[Thread] = []
        self._lock = Lock()
        self._executor: ProcessPoolExecutor | None = None
        self._starts = 0

    def submit(self, function: Callable[..., Any], job: tuple[Any, ...], size: float) -> Future[bytes]:
        """Put a job on the list; its pickled result."""
        waiting = _Waiting(-size, next(self._number), function, job, Future())
        with self._lock:
            self._list.put(waiting)
            if not self._hands:
                self._again(None)
                self._hands = [Thread(target=self._work, daemon=True) for _ in range(self._processes)]
                for hand in self._hands:
                    hand.start()
        return waiting.result

    def end(self) -> None:
        """Leave what is still on the list, and end the processes."""
        with suppress(Empty):
            while True:
                self._list.get_nowait().result.cancel()
        for _ in self._hands:
            self._list.put(_Waiting(inf, next(self._number), _pickled, (), Future()))
        for hand in self._hands:
            hand.join()
        if self._executor is not None:
            self._executor.shutdown(cancel_futures=True)

    def _work(self) -> None:
        """One hand: always one job under way in some process."""
        while (waiting := self._list.get()).rank < inf:
            try:
                waiting.result.set_result(self._done(waiting.function, waiting.job))
            except BaseException as error:
                waiting.result.set_exception(error)

    def _done(self, function: Callable[..., Any], job: tuple[Any, ...]) -> bytes:
        while (executor := self._executor) is not None:
            try:
                running = executor.submit(_pickled, function, job)
            except RuntimeError:  # it was broken, and is shut down by now
                running = None
            try:
                if running is not None:
                    return running.result()
            except (BrokenProcessPool, CancelledError):
                pass
            with self._lock:
                if self._executor is executor:
                    self._again(executor)
        return _pickled(function, job)

    def _again(self, broken: ProcessPoolExecutor | None) -> None:
        """Processes instead of some of which one was killed; none when that has happened too often."""
        if broken is not None:
            broken.shutdown(wait=False, cancel_futures=True)
        self._starts += 1
        self._executor = _started(self._processes) if self._starts <= STARTS else None


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
    processes = os.cpu_count() or 1
    if processes < 2 or work < WORTH:
        yield partial
        return
    crew = _Crew(processes)
    with _one_thread(), ThreadPoolExecutor() as waiting:
        _crews.append(crew)
        try:
            yield lambda function, *arguments: waiting.submit(function, *arguments).result
        finally:
            _crews.remove(crew)
            crew.end()


@contextmanager
def kept_in(folder: Path, tell: Callable[[str], None]) -> Iterator[None]:
    """Ask the cache of a folder first for whatever `each` is to do, and keep there what was done.

    Parameters
    ----------
    folder : where the cache lies. Where it cannot be written, everything is computed.
    tell : told in one line when something in it was damaged.
    """
    with opened(folder, tell) as cache:
        if cache is None:
            yield
            return
        _caches.append(cache)
        try:
            yield
        finally:
            _caches.remove(cache)


def _started(processes: int) -> ProcessPoolExecutor | None:
    """Processes, of which the first has said that it is there; None where none was ready in time."""
    others = set(active_children())
    executor = ProcessPoolExecutor(processes, mp_context=get_context("spawn"))
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
