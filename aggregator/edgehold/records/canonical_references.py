"""Reference edges and known weights with canonical numbers."""

from __future__ import annotations

from .canonical import CanonicalReading, CanonicalReference, CanonicalWeight
from .canonical_runs import readings_of
from .model.protocol import Protocol
from .model.submission import Submission
from .problem import Problem
from .quantities import base_value


def reference_readings(record: Submission, protocol: Protocol) -> tuple[list[tuple[CanonicalReading, ...]], list[Problem]]:
    """Readings of each reference edge, in the file's order, and what could not be converted; such an edge has none here."""
    found, problems = [], []
    for number, reference in enumerate(record.references or ()):
        readings, unread = readings_of(reference, ("references", number), protocol)
        found.append(readings)
        problems += unread
    return found, problems


def canonical_references(record: Submission, protocol: Protocol) -> tuple[CanonicalReference, ...]:
    """Reference edges of a submission without problems."""
    readings, _ = reference_readings(record, protocol)
    return tuple(
        CanonicalReference(
            when=reference.when,
            evening=reference.evening,
            pack=reference.pack,
            segment=reference.segment,
            tester=reference.tester,
            lot=reference.lot,
            reading_lot=reference.reading_lot,
            instrument=reference.instrument,
            readings=read,
        )
        for reference, read in zip(record.references or (), readings, strict=True)
    )


def canonical_weights(record: Submission) -> tuple[CanonicalWeight, ...]:
    """Known weights of a submission, those left out of which either figure is not above 0: they have no ratio."""
    found = []
    for weight in record.weights or ():
        known, read = base_value(weight.known), base_value(weight.read)
        if known and read and known > 0 and read > 0:
            found.append(CanonicalWeight(weight.evening, weight.instrument, known, read))
    return tuple(found)
