"""Jobs by processes of this machine."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from itertools import count
from math import inf
from multiprocessing import active_children, get_context
from queue import Empty, PriorityQueue
from threading import Lock, Thread
from typing import Any

from .executor import Waiting, pickled

LONGEST_START = 60.0  # seconds in which the first process must have said that it is there
STARTS = 3  # how often processes are started, where one of them is killed


class Processes:
    """Processes with one list of what is to be done. They are started when there is something on it.

    Where one is killed, all are started again and do what was not done. When that has happened too often, this process does it.
    """

    def __init__(self, processes: int) -> None:
        self._processes, self._number = processes, count()
        self._list: PriorityQueue[Waiting] = PriorityQueue()
        self._hands: list[Thread] = []
        self._lock = Lock()
        self._executor: ProcessPoolExecutor | None = None
        self._starts, self._ended = 0, False

    def submit(self, function: Callable[..., Any], job: tuple[Any, ...], size: float) -> Future[bytes]:
        """Put a job on the list; its pickled result."""
        waiting = Waiting(-size, next(self._number), function, job, Future())
        with self._lock:
            if self._ended:
                waiting.give_up()
                return waiting.result
            self._list.put(waiting)
            if not self._hands:
                self._again(None)
                self._hands = [Thread(target=self._work, daemon=True) for _ in range(self._processes)]
                for hand in self._hands:
                    hand.start()
        return waiting.result

    def end(self) -> None:
        """Leave what is still on the list, and end the processes."""
        with self._lock:
            self._ended = True
        with suppress(Empty):
            while True:
                self._list.get_nowait().give_up()
        for _ in self._hands:
            self._list.put(Waiting(inf, next(self._number), pickled, (), Future()))
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
                running = executor.submit(pickled, function, job)
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
        return pickled(function, job)

    def _again(self, broken: ProcessPoolExecutor | None) -> None:
        """Processes instead of some of which one was killed; none when that has happened too often."""
        if broken is not None:
            broken.shutdown(wait=False, cancel_futures=True)
        self._starts += 1
        self._executor = _started(self._processes) if self._starts <= STARTS else None


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
