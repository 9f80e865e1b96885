"""Jobs by the workers of a cluster: `dask.distributed`, for whoever outgrows one machine.

A cluster is trusted: its members run what a client sends, and what they send back is unpickled here. Nothing is read from anybody else,
and TLS by Dask's own settings is what keeps others out. A worker has to compute with the same source, libraries, settings and kind of
processor as this process, by one thread: all of that decides the last digits. It is asked before any job is sent, and every job asks
again before it is unpacked, for workers come and go.

At any time a cluster has two jobs for each of its workers, so that none waits for the next; all others wait here, the largest first. A
worker that is killed costs time alone: its jobs go to others, and where one job has killed several workers, this process does it.
Arguments travel with their job and are left with no worker, for what a dead worker held could not be made again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import CancelledError, Future
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from heapq import heappop, heappush
from itertools import count
from threading import Event, RLock, Thread
from typing import Any
from uuid import uuid4

import cloudpickle
import dask
from distributed import Client, KilledWorker, get_worker
from distributed import Future as Remote
from distributed.comm.core import connect
from distributed.security import Security

from edgehold.errors import ClusterError
from edgehold.words import Reason

from .executor import Executor, Waiting, pickled
from .program import facts

AHEAD = 2  # jobs that a cluster has for each of its workers
LONGEST_CONNECTING = 15.0  # seconds until the scheduler must have answered, and a first worker be there
LOOKED_AFTER = 1.0  # seconds after which it is looked again how many workers there are
ENCRYPTED, THIS_MACHINE = ("tls://", "wss://"), ("127.0.0.1", "localhost", "[::1]")
MOST_TOLD = 3  # workers, and differences of one, that are named
THREADS = "nthreads"
_SETTINGS = {"distributed.admin.large-graph-warning-threshold": "1 TB"}  # a job brings its arguments, however many


@dataclass(frozen=True)
class _Refused:
    """What a worker gives that computes with something else: its address, and with what."""

    worker: str
    facts: Mapping[str, str]


@contextmanager
def connected(address: str, tell: Callable[[str], None]) -> Iterator[Callable[[], Executor]]:
    """What makes a list of jobs for a cluster, while the connection lasts.

    Raises
    ------
    ClusterError : nobody answers, no worker is there, or one of them computes with something else.
    """
    with dask.config.set(_SETTINGS):
        try:
            asyncio.run(_answers(address))
            client = Client(address, timeout=LONGEST_CONNECTING, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise ClusterError(Reason("cluster.no_answer", address=address, told=_line(error))) from error
        try:
            workers = _compared(client, address)
            tell(Reason("cluster.workers", address=address, workers=workers))
            if not address.startswith(ENCRYPTED) and address.rpartition("://")[2].rpartition(":")[0] not in THIS_MACHINE:
                tell(Reason("cluster.open", address=address))
            yield partial(_Jobs, client, address, workers)
        finally:
            client.close()


async def _answers(address: str) -> None:
    """Raises what prevents a connection: asked for by itself, since a client that could not connect takes a minute to end."""
    heard = await connect(address, timeout=LONGEST_CONNECTING, **Security().get_connection_args("client"))
    await heard.close()


def _compared(client: Client, address: str) -> int:
    """How many workers there are, all of which compute with what this process computes with."""
    with suppress(TimeoutError):
        client.wait_for_workers(1, timeout=LONGEST_CONNECTING)
    told: dict[str, Any] = client.run(_facts_there, on_error="return")
    if not told:
        raise ClusterError(Reason("cluster.no_workers", address=address))
    others = {worker: found for worker, found in told.items() if found != _wanted()}
    if others:
        raise _refusal(others)
    return len(told)


def _wanted() -> dict[str, str]:
    return {**facts(), THREADS: "1"}


def _facts_there(dask_worker: Any = None) -> dict[str, str]:
    """All that computes in a worker."""
    return {**facts(), THREADS: str((dask_worker or get_worker()).state.nthreads)}


def _refusal(others: Mapping[str, object]) -> ClusterError:
    """Names workers, and for each what it computes with, or why it cannot say."""
    named = [Reason("cluster.worker", worker=worker, differs=_differs(found)) for worker, found in sorted(others.items())[:MOST_TOLD]]
    return ClusterError(Reason("cluster.refused", workers=len(others), named="; ".join(named)))


def _differs(found: object) -> str:
    if not isinstance(found, Mapping):
        return Reason("cluster.cannot_say", told=_line(found))
    wanted = _wanted()
    names = [name for name in (*wanted, *(set(found) - set(wanted))) if found.get(name) != wanted.get(name)]
    return ", ".join(
        Reason("cluster.differs", what=name, there=_short(found.get(name)), here=_short(wanted.get(name))) for name in names[:MOST_TOLD]
    )


def _short(text: str | None) -> str:
    return Reason("cluster.none") if not text else text.split(" ")[0][:16] if len(text) > 40 else text


def _line(error: object) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())[:300]


def _done_there(wanted: Mapping[str, str], called: bytes) -> bytes | _Refused:
    """By a worker: the pickled result of a job. It is unpacked only where this worker computes as the sender does."""
    found = _facts_there()
    if found != wanted:
        return _Refused(get_worker().address, found)
    return pickled(*cloudpickle.loads(called))


class _Jobs:
    """A list of jobs for the workers of a cluster."""

    def __init__(self, client: Client, address: str, workers: int) -> None:
        self._client, self._address = client, address
        self._number, self._lock = count(), RLock()
        self._list: list[Waiting] = []
        self._running: dict[int, tuple[Waiting, Remote[bytes | _Refused]]] = {}
        self._room, self._name = AHEAD * workers, uuid4().hex
        self._ended = Event()
        Thread(target=self._look_after, daemon=True).start()

    def submit(self, function: Callable[..., Any], job: tuple[Any, ...], size: float) -> Future[bytes]:
        """Put a job on the list; its pickled result."""
        waiting = Waiting(-size, next(self._number), function, job, Future())
        with self._lock:
            if self._ended.is_set():
                _settle(waiting, self._gone())
            else:
                heappush(self._list, waiting)
                self._feed()
        return waiting.result

    def end(self) -> None:
        """Leave what is not done."""
        self._ended.set()
        left, remote = self._all()
        for waiting in left:
            waiting.give_up()
        with suppress(Exception, asyncio.CancelledError):  # there is nobody left to be told
            self._client.cancel(remote)

    def _all(self) -> tuple[list[Waiting], list[Remote[bytes | _Refused]]]:
        """All that is not done, taken off the list."""
        with self._lock:
            left = [*self._list, *(waiting for waiting, _ in self._running.values())]
            remote = [future for _, future in self._running.values()]
            self._list, self._running = [], {}
        return left, remote

    def _look_after(self) -> None:
        """Again and again: give workers that came later something to do, and say so when the cluster has gone."""
        while not self._ended.wait(LOOKED_AFTER):
            if self._client.status not in ("running", "connecting"):
                self._ended.set()
                for waiting in self._all()[0]:
                    _settle(waiting, self._gone())
                return
            with suppress(Exception, asyncio.CancelledError):  # the connection was lost meanwhile: that is seen the next time
                room = AHEAD * len(self._client.nthreads())
                with self._lock:
                    self._room = max(room, 1)
                    self._feed()

    def _gone(self) -> ClusterError:
        return ClusterError(Reason("cluster.gone", address=self._address))

    def _feed(self) -> None:
        """Give the cluster jobs while it has room; within the lock."""
        while self._list and len(self._running) < self._room:
            waiting = heappop(self._list)
            try:
                called = cloudpickle.dumps((waiting.function, waiting.job))
                future = self._client.submit(
                    _done_there, _wanted(), called, key=f"{self._name}-{waiting.number}", priority=-waiting.rank, pure=False
                )
            except Exception as error:
                _settle(waiting, error)
                continue
            self._running[waiting.number] = waiting, future
            future.add_done_callback(partial(self._finished, waiting))

    def _finished(self, waiting: Waiting, future: Remote[bytes | _Refused]) -> None:
        """A job has ended, one way or another; called in a thread of the client."""
        with self._lock:
            if self._running.pop(waiting.number, None) is None:
                return  # everything was left
        try:
            _settle(waiting, self._outcome(future))
        except KilledWorker:
            Thread(target=_by_this_process, args=(waiting,), daemon=True).start()
        except BaseException as error:
            _settle(waiting, error)
        with self._lock:
            if not self._ended.is_set():
                self._feed()

    def _outcome(self, future: Remote[bytes | _Refused]) -> bytes:
        try:
            found: bytes | _Refused = future.result()
        except (CancelledError, asyncio.CancelledError) as error:
            raise self._gone() from error
        if isinstance(found, _Refused):
            raise _refusal({found.worker: found.facts})
        return found


def _by_this_process(waiting: Waiting) -> None:
    try:
        outcome: bytes | BaseException = pickled(waiting.function, waiting.job)
    except BaseException as error:
        outcome = error
    _settle(waiting, outcome)


def _settle(waiting: Waiting, outcome: bytes | BaseException) -> None:
    """Give a job's result, or what was raised, to whoever waits for it; to nobody where it was left."""
    if waiting.result.cancelled() or not waiting.result.set_running_or_notify_cancel():
        return
    if isinstance(outcome, BaseException):
        waiting.result.set_exception(outcome)
    else:
        waiting.result.set_result(outcome)
