"""Parts of a computation that do not depend on one another: by as many processes as there are processors, the longest first.

Every stage hands its parts to `each`. Within `side_by_side` they are done by processes, within `on_cluster` by the workers of a cluster,
within `kept_in` a cache is asked first. What comes out is the same, to the byte, whichever it is.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from .executor import Executor, pickled
from .progress import begun

if TYPE_CHECKING:
    from .cache import Cache

Result = TypeVar("Result")

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
WORTH = 400  # rows from which starting processes costs less than it saves
AWAITED = 1e9  # added to the size of what further work waits for

_executors: list[Executor] = []  # who does jobs just now
_clusters: list[Callable[[], Executor]] = []  # what makes one, where a cluster was chosen
_caches: list[Cache] = []


def each(function: Callable[..., Result], jobs: Sequence[tuple[Any, ...]], sizes: Sequence[float]) -> list[Result]:
    """``function(*job)`` of every job, in their order; the same whether by one process or by several, or from the cache.

    By whoever ``side_by_side`` has for it; elsewhere by this process.

    Parameters
    ----------
    function : of a module, and nothing but its arguments decides what it gives.
    jobs : arguments.
    sizes : how much work each is, in about milliseconds; of all that waits, the largest is begun first.
    """
    cache = _caches[-1] if _caches else None
    if cache is None and not _executors:
        return [function(*job) for job in jobs]
    found: dict[int, Result] = {}
    keys: dict[int, bytes] = {}
    if cache is not None:
        for i, job in enumerate(jobs):
            keys[i] = cache.key(function, job)
            kept = cache.get(keys[i])
            if kept is not None:
                found[i] = kept[0]
    for i, made in _computed(function, {i: job for i, job in enumerate(jobs) if i not in found}, sizes):
        if cache is not None:
            cache.put(keys[i], made)
        found[i] = pickle.loads(made)
    return [found[i] for i in range(len(jobs))]


def kept(function: Callable[..., Result], *arguments: Any) -> Result:
    """What a function gives, from the cache where it is there; else this process calls it, which waits for no other."""
    return kept_as(function, arguments, lambda: function(*arguments))


def kept_as(function: Callable[..., Any], decided: tuple[Any, ...], compute: Callable[[], Result]) -> Result:
    """What ``compute`` gives, from the cache where it is there; for what takes more to say than a function and its arguments.

    Parameters
    ----------
    function : under whose name it is kept.
    decided : all that decides what it gives, besides the program.
    compute : called where nothing is kept.
    """
    return _kept(function, decided, compute, _whole)


def found_as(function: Callable[..., Any], decided: tuple[Any, ...]) -> object | None:
    """What `keep_as` kept; None where nothing is."""
    kept = _caches[-1].get(_caches[-1].key(function, decided)) if _caches else None
    return None if kept is None else kept[0]


def keeping() -> bool:
    """Whether there is a cache."""
    return bool(_caches)


def keep_as(function: Callable[..., Any], decided: tuple[Any, ...], result: object) -> None:
    """Keep a result that somebody else asks for and computes."""
    if _caches:
        _caches[-1].put(_caches[-1].key(function, decided), pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL))


def kept_in_parts(function: Callable[..., Any], decided: tuple[Any, ...], compute: Callable[[], Result]) -> Result:
    """The same of a result that holds many long texts or bytes, most of which stand in earlier results, too: each is kept once."""
    return _kept(function, decided, compute, _in_parts)


def _kept(
    function: Callable[..., Any],
    decided: tuple[Any, ...],
    compute: Callable[[], Result],
    keep: Callable[[Cache, bytes, Result], Result],
) -> Result:
    if not _caches:
        return compute()
    cache = _caches[-1]
    key = cache.key(function, decided)
    kept = cache.get(key)
    result: Result = keep(cache, key, compute()) if kept is None else kept[0]
    return result


def _whole(cache: Cache, key: bytes, result: Result) -> Result:
    """Keep a result, and give what the cache will give."""
    pickled = pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL)
    cache.put(key, pickled)
    again: Result = pickle.loads(pickled)
    return again


def _in_parts(cache: Cache, key: bytes, result: Result) -> Result:
    cache.put_in_parts(key, result)
    return result


def _computed(function: Callable[..., Any], jobs: dict[int, tuple[Any, ...]], sizes: Sequence[float]) -> Iterator[tuple[int, bytes]]:
    """The pickled results of some jobs, as they are done."""
    weights = {i: max(1.0, sizes[i]) for i in jobs}
    with begun("progress.parts", list(weights.values())) as step:
        if not _executors:
            for i, job in jobs.items():
                yield i, pickled(function, job)
                step(weights[i])
            return
        running = {_executors[-1].submit(function, job, sizes[i]): i for i, job in jobs.items()}
        for done in as_completed(running):
            yield running[done], done.result()
            step(weights[running[done]])


@contextmanager
def side_by_side(work: float, processes: int | None = None, *, here: bool = False) -> Iterator[Callable[..., Callable[[], Any]]]:
    """Begin calls of which each may take ``each``; they go on while the caller does something else.

    Gives ``begin(function, *arguments)``, which gives what waits for the result. The cluster of ``on_cluster`` does the parts where one
    was chosen. Else processes are started where there are several processors and enough work. Elsewhere the function is called when its
    result is asked for, for threads that calculate would share what the libraries under them keep for one thread alone. Within another
    call its processes are taken; a cluster is asked all the same.

    Parameters
    ----------
    work : rows that the calls are about.
    processes : how many there are to be; None: as many as processors.
    here : whether no cluster is to do the parts: they hang on something of this machine, such as its fonts.
    """
    processes, clusters = processes or os.cpu_count() or 1, [] if here else _clusters
    if not clusters and (processes < 2 or work < WORTH):
        yield partial
        return
    from .processes import Processes  # here, for a report starts none

    outer = None if clusters or not _executors else _executors[-1]
    executor: Executor = outer or (clusters[-1]() if clusters else Processes(processes))
    with _one_thread(), ThreadPoolExecutor() as waiting:
        _executors.append(executor)
        try:
            yield lambda function, *arguments: waiting.submit(function, *arguments).result
        except BaseException:
            outer = None  # what is begun and still waits is not done, by whosever processes
            raise
        finally:
            _executors.remove(executor)
            if outer is None:
                executor.end()


@contextmanager
def on_cluster(address: str, tell: Callable[[str], None]) -> Iterator[None]:
    """Hand what ``side_by_side`` does to the workers of a cluster, after each has shown that it computes with the same program.

    Parameters
    ----------
    address : of the cluster's scheduler, such as ``tls://10.0.0.7:8786``.
    tell : told in one line of the workers that are there.

    Raises
    ------
    ClusterError
        Nobody answers at the address, or a worker has another source, other libraries or another machine. Nothing was sent then.
    ModuleNotFoundError
        The library for it is not installed.
    """
    from .cluster import connected

    with _one_thread(), connected(address, tell) as jobs:
        _clusters.append(jobs)
        try:
            yield
        finally:
            _clusters.remove(jobs)


@contextmanager
def kept_in(folder: Path, tell: Callable[[str], None]) -> Iterator[None]:
    """Ask the cache of a folder first for whatever `each` is to do, and keep there what was done.

    Parameters
    ----------
    folder : where the cache lies. Where it cannot be written, everything is computed.
    tell : told in one line when something in it was damaged.
    """
    from .cache import opened  # here, for a report and a check of a request keep nothing

    with opened(folder, tell) as cache:
        if cache is None:
            yield
            return
        _caches.append(cache)
        try:
            yield
        finally:
            _caches.remove(cache)


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
