"""A submission beside the protocol version that it follows: its readings in canonical units, and what is wrong with it there."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.records.canonical import CanonicalReading
from edgehold.records.canonical_references import reference_readings
from edgehold.records.canonical_runs import canonical_readings
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.review import Event
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.records.rules.protocol_versions import life_problems
from edgehold.records.rules.submissions import fit_problems, reading_problems


def readings_by(
    protocol: Protocol, events: Iterable[Event], record: Submission, errors_only: bool = False
) -> tuple[list[tuple[CanonicalReading, ...]], list[Problem]]:
    """Canonical readings, by run, and all that the protocol and its life say of the submission.

    Parameters
    ----------
    protocol : the version that the submission follows.
    events : of all versions of that protocol, in their order.
    record : the submission.
    errors_only : as in `interpret`.
    """
    readings, unread = canonical_readings(record, protocol)
    references, unread_there = reference_readings(record, protocol)
    found = [*unread, *unread_there, *fit_problems(record, protocol, errors_only)]
    found += reading_problems(record, protocol, readings, references, errors_only)
    return readings, [*found, *life_problems(record, tuple(events))]
