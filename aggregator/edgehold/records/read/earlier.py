"""Submissions as they stood before each of their changes, for the log of how pooled estimates moved.

A state counts if nothing but a warning stands against it by itself. What other files say of its blades is what they say now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pydantic import JsonValue

from edgehold.errors import ERROR
from edgehold.records.canonical import CanonicalReading, LoadedChange, LoadedProtocol
from edgehold.records.canonical_runs import BladeFacts
from edgehold.records.codes import CODES
from edgehold.records.model.review import Event
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.records.rules.references import reference_problems
from edgehold.records.rules.shared_keys import shared_facts
from edgehold.records.rules.submissions import own_problems

from .against_protocol import readings_by
from .change_files import corrected
from .form import read_record
from .session import Session


def earlier_records(tree: JsonValue, changes: tuple[LoadedChange, ...]) -> tuple[Submission | None, ...]:
    """The record as it stood before each change, in their order; None where its form was not right.

    Parameters
    ----------
    tree : the submission's own file.
    changes : in the order of their numbers; those that are corrections apply without a problem.
    """
    return tuple(_with_errors_none(read_record(Submission, corrected(tree, changes[:number])[0])) for number in range(len(changes)))


def _with_errors_none(read: tuple[Submission | None, list[Problem]]) -> Submission | None:
    record, problems = read
    return None if _wrong(problems) else record


def sound_readings(
    session: Session, record: Submission, protocol: LoadedProtocol, events: tuple[Event, ...]
) -> list[tuple[CanonicalReading, ...]] | None:
    """Canonical readings of a record, by run; None where it would not have passed the check by itself."""
    readings, problems = readings_by(protocol.record, events, record)
    by_itself = [*reference_problems(record), *own_problems(record, session.today, session.steels)]
    return None if _wrong([*by_itself, *problems]) else readings


def _wrong(problems: Iterable[Problem]) -> bool:
    return any(CODES[problem.code].severity == ERROR for problem in problems)


def blades_then(session: Session, path: str, record: Submission, now: Mapping[str, BladeFacts]) -> dict[str, BladeFacts]:
    """Steel and batch of a record's blades by its own word, and by what all files say ``now`` where it says nothing."""
    own = shared_facts([(path, record)], session.steels).blades
    return {blade.key: _either(own.get(blade.key, BladeFacts()), now.get(blade.key, BladeFacts())) for blade in record.blades}


def _either(own: BladeFacts, now: BladeFacts) -> BladeFacts:
    return BladeFacts(own.steel or now.steel, own.batch or now.batch)
