"""What a case of the attack is, what it may break, and how one is watched."""

from __future__ import annotations

import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from edgehold.errors import EdgeholdError
from tests.fuzz.readers import FINE, LOST, OVER_MEMORY, OVER_TIME, TRACEBACK, Complaint, beyond_limits, peak_bytes

SCRIPT, UNSAID, DIFFERING = "scripts run", "acts unsaid", "bytes differing"
COLUMNS = (TRACEBACK, OVER_TIME, OVER_MEMORY, SCRIPT, UNSAID, DIFFERING, LOST)
"""What must be zero everywhere."""
READING = (TRACEBACK, OVER_TIME, OVER_MEMORY, LOST)
"""What a reader is watched for."""
SLOWEST = 8


@dataclass(frozen=True)
class Tried:
    """One case, how it was taken and how long that took.

    Attributes
    ----------
    name : enough to do it again: what was done, and the seed.
    complaint : the promise that it broke; empty where none.
    seconds : of processor time.
    data : what was handed over, where it is one file.
    """

    name: str
    complaint: Complaint = FINE
    seconds: float = 0.0
    data: bytes = b""


@dataclass
class Row:
    """What became of all cases of one kind.

    Attributes
    ----------
    watched : the columns that can be told of it.
    kept, drawn : cases.
    broken : how often each column.
    seconds : of processor time, of all drawn cases.
    slowest : the slowest cases.
    found : every case that broke a promise.
    """

    watched: tuple[str, ...]
    kept: int = 0
    drawn: int = 0
    broken: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    slowest: list[Tried] = field(default_factory=list)
    found: list[Tried] = field(default_factory=list)

    def add(self, cases: Iterable[Tried]) -> None:
        """Count drawn cases."""
        for case in cases:
            self.drawn += 1
            self.seconds += case.seconds
            self.slowest = sorted([*self.slowest, case], key=lambda one: -one.seconds)[:SLOWEST]
            self._count(case)

    def add_kept(self, cases: Iterable[Tried]) -> None:
        """Count kept cases."""
        for case in cases:
            self.kept += 1
            self._count(case)

    def _count(self, case: Tried) -> None:
        if case.complaint:
            self.broken[case.complaint.kind] += 1
            self.found.append(case)


def watch(name: str, call: Callable[[], Complaint | None], data: bytes = b"") -> Tried:
    """Do something that may end in an `EdgeholdError` and in no other exception, within the limits of time and memory."""
    before, began, complaint = peak_bytes(), time.process_time(), None
    try:
        complaint = call()
    except EdgeholdError as said:
        complaint = None if str(said).strip() else Complaint(TRACEBACK, f"{type(said).__name__} without a sentence")
    except Exception:
        complaint = Complaint(TRACEBACK, traceback.format_exc(limit=-6))
    spent = time.process_time() - began
    return Tried(name, complaint or beyond_limits(spent, peak_bytes() - before), spent, data)


def told(found: Iterable[Tried]) -> Iterator[str]:
    """Every case that broke a promise, in a few lines."""
    for case in found:
        yield f"{case.name}: {case.complaint.kind}\n{case.complaint}\n{case.data[:300]!r}"
