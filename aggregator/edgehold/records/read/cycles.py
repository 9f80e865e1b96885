"""Garbage of many records: none of it is in cycles."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def without_looking_for_cycles() -> Iterator[None]:
    """Records and rows hold no cycles; looking for some among millions of them takes a fifth of the time (tests/benchmarks/CHECK.md)."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
