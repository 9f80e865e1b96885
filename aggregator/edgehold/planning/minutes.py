"""Minutes of a run from its parts, so that a shorter run takes less of an evening.

A protocol states the minutes of one whole run. What sharpening and a reading take of them is our own reckoning (common practice, no
source); the rest is cutting, in proportion to the work.
"""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.records.model.protocol import Protocol

from .occasion import primary_rule

SHARPENING = 15.0  # flattening the apex, sharpening, marks and sheath
READING = {"force": 2.5, "pass/fail": 1.0}  # one checkpoint with its repeats
OTHER_READING = 2.5


@dataclass(frozen=True)
class RunMinutes:
    """Minutes of one run.

    Attributes
    ----------
    sharpening : with the start state.
    readings : all of them.
    cutting : with its rests.
    """

    sharpening: float
    readings: float
    cutting: float

    @property
    def whole(self) -> float:
        """All three."""
        return self.sharpening + self.readings + self.cutting


def run_minutes(protocol: Protocol, last: float) -> RunMinutes:
    """What a run takes that ends at a checkpoint.

    Parameters
    ----------
    protocol : its minutes for one run hold as far as its last checkpoint, or where a life is asked for, its late one, about which
        runs end.
    last : the checkpoint.
    """
    whole, work = float(protocol.minutes.one_run), protocol.work
    reach = protocol.late_checkpoint if primary_rule(protocol).kind == "life" else work.checkpoints[-1]
    sharpening = min(SHARPENING, whole / 4)
    read = _read_by(protocol, reach)
    reading = min(READING.get(protocol.reading.kind, OTHER_READING), (whole - sharpening) / read)
    cutting = (whole - sharpening - reading * read) / reach
    return RunMinutes(sharpening, reading * _read_by(protocol, last), cutting * last)


def practice_minutes(protocol: Protocol) -> int:
    """What the protocol's whole time leaves beside its least runs: setting up and the practice run."""
    return max(0, protocol.minutes.whole - protocol.design.least_runs * protocol.minutes.one_run)


def _read_by(protocol: Protocol, last: float) -> int:
    return sum(1 for w in protocol.work.checkpoints if w <= last)
