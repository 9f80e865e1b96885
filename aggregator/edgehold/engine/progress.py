"""How far the program is and how long it will still take, on one line of a terminal that is written over and over.

Stages say what they have begun and what of it is done, wherever they stand and whoever called them; whether anybody is told decides the
command alone, by `told_on`. A stream that is no terminal is told nothing: there a line that is rewritten would be rubbish in a file.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Lock
from typing import TextIO, TypeVar

from edgehold.words import Reason

Item = TypeVar("Item")

SILENT = 2.0  # seconds in which nothing is said of what has begun
EVERY = 0.2  # seconds between two writings of the line
CLEARED = "\r\x1b[K"


@dataclass
class _Work:
    """Work of one kind: when it began, how much of it is known and done, in any measure of time and in parts, and how often it is open."""

    begun: float
    size: float = 0.0
    done: float = 0.0
    parts: int = 0
    parts_done: int = 0
    open: int = 0


@dataclass
class _Line:
    stream: TextIO
    clock: Callable[[], float]
    works: dict[str, _Work] = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)
    written: float = -1e9
    shown: bool = False

    def begin(self, code: str, sizes: Sequence[float]) -> None:
        with self.lock:
            work = self.works.setdefault(code, _Work(self.clock()))
            work.size += sum(sizes)
            work.parts += len(sizes)
            work.open += 1

    def step(self, code: str, size: float) -> None:
        with self.lock:
            work, now = self.works[code], self.clock()
            work.done += size
            work.parts_done += 1
            if now - work.begun >= SILENT and now - self.written >= EVERY:
                self.written, self.shown = now, True
                self.stream.write(CLEARED + _text(code, work, now)[: shutil.get_terminal_size().columns - 1])
                self.stream.flush()

    def end(self, code: str) -> None:
        """Forget work that is done everywhere, or was given up."""
        with self.lock:
            work = self.works[code]
            work.open -= 1
            if not work.open:
                del self.works[code]
                self.clear()

    def clear(self) -> None:
        if self.shown:
            self.stream.write(CLEARED)
            self.stream.flush()
            self.shown = False


_lines: list[_Line] = []


@contextmanager
def told_on(stream: TextIO, clock: Callable[[], float] = time.monotonic) -> Iterator[None]:
    """Within it, whatever takes longer than two seconds says on a terminal how far it is."""
    if not stream.isatty():
        yield
        return
    line = _Line(stream, clock)
    _lines.append(line)
    try:
        yield
    finally:
        line.clear()
        _lines.remove(line)


def line_cleared() -> None:
    """Take the line off the terminal, for another one is written there now."""
    for line in _lines:
        with line.lock:
            line.clear()


def followed(items: Sequence[Item], code: str) -> Iterator[Item]:
    """The items one by one, each done when the next is asked for; ``code`` is the pattern that says what is done with them."""
    with begun(code, [1.0] * len(items)) as step:
        for item in items:
            yield item
            step(1.0)


@contextmanager
def begun(code: str, sizes: Sequence[float]) -> Iterator[Callable[[float], None]]:
    """Say that parts of some sizes have begun; gives what is to be called with the size of each that is done."""
    if not _lines:
        yield lambda size: None
        return
    line = _lines[-1]
    line.begin(code, sizes)
    try:
        yield lambda size: line.step(code, size)
    finally:
        line.end(code)


def _text(code: str, work: _Work, now: float) -> str:
    left = (now - work.begun) * (work.size - work.done) / work.done if work.done else 0.0
    return Reason("progress.line", what=Reason(code), done=f"{work.parts_done:,}", of=f"{work.parts:,}", left=_time(left))


def _time(seconds: float) -> str:
    minutes = round(seconds / 60)
    return Reason("progress.minutes", count=minutes) if seconds >= 90 else Reason("progress.seconds", count=max(1, round(seconds)))
