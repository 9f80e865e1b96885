"""Submission files: each alone, against its protocol, and against each other."""

from __future__ import annotations

import functools
from collections.abc import Collection
from dataclasses import dataclass

from .canonical import LoadedProtocol, LoadedSubmission
from .canonical_runs import BladeFacts, canonical_readings, canonical_runs
from .findings import Collected, answered
from .form import read_record
from .json_reading import parse_json
from .model.review import Event
from .model.submission import Submission
from .problem import Problem
from .rules.duplicates import content_problems, id_problems
from .rules.protocol_versions import life_problems
from .rules.readings import reading_problems
from .rules.references import reference_problems
from .rules.shared_keys import shared_facts
from .rules.submissions import fit_problems, own_problems
from .session import Session, file_text, path_agrees, reserved_id, sha256


@dataclass(frozen=True)
class _Read:
    """One submission that could be validated, with the hash of its bytes."""

    path: str
    record: Submission
    sha256: str


def read_submissions(
    session: Session,
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
    chosen: Collection[str] | None = None,
    newer: Collection[str] = (),
) -> tuple[LoadedSubmission, ...]:
    """Valid submissions, sorted by path.

    ``protocols`` are those without problems, ``versions`` all that have a file; ``chosen`` and ``newer`` as in `load_repository`.
    """
    paths = sorted(session.layout.submissions, key=lambda path: (path in newer, path))
    wanted = paths if chosen is None else [path for path in paths if path in chosen]
    read = [item for item in map(functools.partial(_submission, session), wanted) if item is not None]
    shared = shared_facts([(item.path, item.record) for item in read], session.find_steel, newer)
    crossing = [
        *id_problems(paths),
        *content_problems([(item.path, item.record) for item in read]),
        *shared.problems,
    ]
    session.collected.add_all(crossing)
    loaded = [_against_protocol(session, item, protocols, versions, events, shared.blades) for item in read]
    return tuple(sorted((item for item in loaded if item is not None), key=lambda item: item.path))


def _submission(session: Session, path: str) -> _Read | None:
    data, text = file_text(session, path, "submission")
    if not text:
        if not data and path not in session.collected.problems:
            session.collected.add(path, [Problem("", "not-json", "the file is empty", line=1)])
        return None
    tree, problems = parse_json(text)
    record = None
    if not problems:
        record, problems = read_record(Submission, tree)
    session.collected.add(path, problems)
    if record is None:
        return None
    _, origin, protocol, name = path.split("/")
    wrong = [
        *path_agrees("/id", record.id, name.removesuffix(".json")),
        *path_agrees("/origin", record.origin, origin),
        *path_agrees("/protocol/id", record.protocol.id, protocol),
        *reserved_id(record.id),
    ]
    own = own_problems(record, session.today, session.find_steel)
    session.collected.add(path, [*wrong, *reference_problems(record), *own])
    return _Read(path, record, sha256(data))


def _against_protocol(
    session: Session,
    item: _Read,
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
    blades: dict[str, BladeFacts],
) -> LoadedSubmission | None:
    record, collected = item.record, session.collected
    key = (record.protocol.id, record.protocol.version)
    readings = None
    if key in protocols:
        protocol = protocols[key].record
        readings, problems = canonical_readings(record, protocol)
        collected.add(item.path, [*problems, *fit_problems(record, protocol)])
        collected.add(item.path, reading_problems(record, protocol, readings))
        collected.add(item.path, life_problems(record, events.get(record.protocol.id, ())))
    elif key not in versions:
        message = f"there is no protocol {key[0]} in version {key[1]}"
        collected.add(item.path, [Problem("/protocol", "unknown-protocol", message)])
    _answer(collected, item)
    if readings is None or collected.has_error(item.path):
        return None
    return LoadedSubmission(record, item.path, item.sha256, canonical_runs(record, readings, blades))


def _answer(collected: Collected, item: _Read) -> None:
    answers = [(a.pointer, a.code, a.says) for a in item.record.answers or ()]
    if answers:
        collected.problems[item.path] = answered(collected.problems.get(item.path, []), answers)
