"""Garbage of commands that are soon over: next to none of it is in cycles."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def without_looking_for_cycles() -> Iterator[None]:
    """Modules, records and rows hold few cycles; looking for some among millions of them takes a tenth to a fifth of the time
    (tests/benchmarks/CHECK.md)."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
