"""Who does the parts of a computation: the one interface behind ``each``.

`processes` of this machine stand behind it, or the workers of a `cluster`. Neither decides what comes out: a job is a function of a
module and its arguments, and its result goes home as a pickle, to the byte the same from wherever.
"""

from __future__ import annotations

import copyreg
import pickle
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from threading import RLock
from types import MappingProxyType
from typing import Any, Protocol, TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value")

_here = RLock()  # of several threads of this process, one computes at a time: they would only wait for each other


class Executor(Protocol):
    """A list of jobs, and somebody who does them."""

    def submit(self, function: Callable[..., Any], job: tuple[Any, ...], size: float) -> Future[bytes]:
        """Put a job on the list; of all that waits there, the largest is begun first.

        Returns
        -------
        What waits for its pickled result. An exception of the job is that result's; whoever does jobs and is killed costs time alone.
        """

    def end(self) -> None:
        """Leave what is still on the list, and let go of whoever did it."""


@dataclass(frozen=True, order=True)
class Waiting:
    """A job on a list: the largest first, of equal ones the earliest.

    Attributes
    ----------
    rank : the size, negated.
    number : its place among all that were put on the list.
    """

    rank: float
    number: int
    function: Callable[..., Any] = field(compare=False)
    job: tuple[Any, ...] = field(compare=False)
    result: Future[bytes] = field(compare=False)

    def give_up(self) -> None:
        """Nobody will do it, and whoever waits for it is told."""
        if self.result.cancel():
            self.result.set_running_or_notify_cancel()


def pickled(function: Callable[..., Any], job: tuple[Any, ...]) -> bytes:
    """What a job gives, as it goes from process to process and into the cache."""
    with _here:
        return pickle.dumps(function(*job), protocol=pickle.HIGHEST_PROTOCOL)


def read_only(content: dict[Key, Value]) -> MappingProxyType[Key, Value]:
    """A read-only mapping: its own class has no name under which it could go from process to process."""
    return MappingProxyType(content)


copyreg.pickle(MappingProxyType, lambda mapping: (read_only, (dict(mapping),)))
