"""Minutes of a run from its parts, so that a shorter run takes less of an evening.

A protocol states what its minutes are made of (``minutes.parts``). One that states the minutes of one whole run alone is taken apart by
our own reckoning of sharpening and a reading (common practice, no source); the rest is cutting, in proportion to the work.
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
    work, parts = protocol.work, protocol.minutes.parts
    if parts is not None:
        readings = _read_by(protocol, last) * protocol.reading.repeats * parts.value_seconds / 60
        return RunMinutes(parts.sharpening, readings, last * parts.unit_seconds / 60)
    whole = float(protocol.minutes.one_run)
    reach = protocol.late_checkpoint if primary_rule(protocol).kind == "life" else work.checkpoints[-1]
    sharpening = min(SHARPENING, whole / 4)
    read = _read_by(protocol, reach)
    reading = min(READING.get(protocol.reading.kind, OTHER_READING), (whole - sharpening) / read)
    cutting = (whole - sharpening - reading * read) / reach
    return RunMinutes(sharpening, reading * _read_by(protocol, last), cutting * last)


def practice_minutes(protocol: Protocol) -> float:
    """Setting up and the practice run: as the protocol states it, or what its whole time leaves beside its least runs."""
    if protocol.minutes.parts is not None:
        return protocol.minutes.parts.once
    return max(0.0, protocol.minutes.whole - protocol.design.least_runs * protocol.minutes.one_run)


def _read_by(protocol: Protocol, last: float) -> int:
    return sum(1 for w in protocol.work.checkpoints if w <= last)
