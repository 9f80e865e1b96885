"""One submission by itself and against its protocol: month, medium, edges, angles, changes during runs, steels, readings."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from edgehold.records.canonical import CanonicalReading
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.records.quantities import quantity_problems
from edgehold.records.registers import Steels

from .interpret import interpret
from .sight import Around
from .table import FACTS, fit_table, readings_table


def own_problems(record: Submission, today: datetime.date, steels: Steels, errors_only: bool = False) -> list[Problem]:
    """Problems that need no other file but the registers of steels; ``errors_only`` as in `interpret`, here and below."""
    return [*interpret(FACTS, Around(record, today, steels), errors_only), *_quantities(record)]


def fit_problems(record: Submission, protocol: Protocol, errors_only: bool = False) -> list[Problem]:
    """Problems against the protocol that the submission follows."""
    return interpret(fit_table(protocol), Around(record), errors_only)


def reading_problems(
    record: Submission,
    protocol: Protocol,
    readings: Sequence[tuple[CanonicalReading, ...]],
    references: Sequence[tuple[CanonicalReading, ...]],
    errors_only: bool = False,
) -> list[Problem]:
    """Problems of all runs and reference edges; readings in the file's order, empty where something could not be converted."""
    return interpret(readings_table(protocol), Around(record, readings=readings, references=references), errors_only)


def _quantities(record: Submission) -> Iterator[Problem]:
    for i, blade in enumerate(record.blades):
        if blade.thickness_behind_edge is not None:
            place = ("blades", i, "thickness_behind_edge")
            yield from quantity_problems(blade.thickness_behind_edge, place, {"length"})
    for i, instrument in enumerate(record.instruments or ()):
        if instrument.resolution is not None:
            place = ("instruments", i, "resolution")
            yield from quantity_problems(instrument.resolution, place, {"force", "length", "count"})
    for i, weight in enumerate(record.weights or ()):
        yield from quantity_problems(weight.known, ("weights", i, "known"), {"force"})
        yield from quantity_problems(weight.read, ("weights", i, "read"), {"force"})
