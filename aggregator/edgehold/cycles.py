"""Python looks for rings of objects that nobody needs after every 700 new ones; here next to all are needed to the end."""

from __future__ import annotations

import atexit
import contextlib
import gc
from collections.abc import Iterator

NEW_OBJECTS = 200_000  # after so many Python looks for what nobody needs


@contextlib.contextmanager
def without_looking_for_cycles() -> Iterator[None]:
    """Of commands that are soon over: modules, records and rows hold few rings, and looking for some among millions of objects takes a
    tenth to a fifth of the time (tests/benchmarks/CHECK.md)."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


def without_looking_at_the_end() -> None:
    """At its end Python looks through all objects once more, an eighth of the time of a check or a report, and the system takes back all
    their memory anyhow."""
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


@contextlib.contextmanager
def seldom_looking_for_cycles() -> Iterator[None]:
    """Of builds, whose millions of objects took a tenth of the time to look through."""
    before = gc.get_threshold()
    gc.set_threshold(NEW_OBJECTS)
    try:
        yield
    finally:
        gc.set_threshold(*before)
