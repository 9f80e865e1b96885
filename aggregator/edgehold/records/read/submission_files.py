"""Submission files: each alone with its corrections applied, against its protocol, and against each other."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from edgehold.engine.progress import followed
from edgehold.records.canonical import CanonicalReading, LoadedChange, LoadedProtocol, LoadedSubmission
from edgehold.records.canonical_references import canonical_references, canonical_weights
from edgehold.records.canonical_runs import BladeFacts, canonical_readings, canonical_runs
from edgehold.records.findings import Collected, answered
from edgehold.records.layout import file_id
from edgehold.records.model.changes import Retraction
from edgehold.records.model.plan import PlanSeal
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.review import Event
from edgehold.records.model.submission import Submission
from edgehold.records.names import Names
from edgehold.records.problem import Problem
from edgehold.records.rules.duplicates import content_problems, id_problems
from edgehold.records.rules.life import closed_form_problems
from edgehold.records.rules.plans import plan_problems, seal_held
from edgehold.records.rules.references import reference_problems
from edgehold.records.rules.shared_keys import shared_facts
from edgehold.records.rules.submissions import own_problems
from edgehold.words import Reason

from .against_protocol import readings_by
from .change_files import changes_of, corrected, json_tree, placing_problems, read_changes, strangers, tell_at_changes
from .earlier import blades_then, earlier_records, sound_readings
from .form import read_record
from .session import Session, path_agrees, reserved_id, sha256


@dataclass(frozen=True)
class ReadSubmission:
    """One submission that could be validated as it counts now, with the hash of its own file's bytes and its changes.

    ``earlier`` holds its record before each change (None where its form was not right), where the session keeps them.
    """

    path: str
    record: Submission
    sha256: str
    changes: tuple[LoadedChange, ...]
    earlier: tuple[Submission | None, ...] = ()

    @property
    def retracted(self) -> bool:
        """Whether it was taken back."""
        return any(isinstance(change.record, Retraction) for change in self.changes)


def open_submissions(
    session: Session, chosen: Collection[str] | None = None, newer: Collection[str] = (), asked: Collection[str] | None = None
) -> list[ReadSubmission]:
    """Submissions that can be read, those of ``newer`` last.

    ``chosen`` and ``newer`` as in `load_repository`; ``asked`` are those held against the rules, None: all.
    """
    paths = sorted(session.layout.submissions, key=lambda path: (path in newer, path))
    session.collected.add_all([*id_problems(paths), *placing_problems(session.layout)])
    changes = changes_of(session.layout)
    wanted = paths if chosen is None else [path for path in paths if path in chosen]
    read = [
        _submission(session, path, changes.get(path, ()), asked is None or path in asked) for path in followed(wanted, "progress.reading")
    ]
    return [item for item in read if item is not None]


def check_submissions(
    session: Session,
    read: list[ReadSubmission],
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
    names: Names,
    newer: Collection[str] = (),
    seals: Mapping[str, PlanSeal] | None = None,
    closed: Mapping[tuple[str, str], str] | None = None,
    asked: Collection[str] | None = None,
) -> tuple[tuple[LoadedSubmission, ...], tuple[LoadedSubmission, ...]]:
    """Valid submissions, and retracted ones, each sorted by path.

    ``protocols`` are those without problems, ``versions`` all that have a file; ``newer`` as in `load_repository`; ``seals`` by id;
    ``closed`` as `closed_forms` gives it; ``asked`` are those that are given, None: all.
    """
    live = [item for item in read if not item.retracted]
    shared = shared_facts([(item.path, item.record) for item in live], session.steels, newer)
    session.collected.add_all([*content_problems([(item.path, item.record) for item in live]), *shared.problems])
    if asked is not None:
        read, live = ([item for item in some if item.path in asked] for some in (read, live))
    planned = {item.path: plan_problems(item.record, seals or {}) for item in live}
    session.collected.add_all((path, problem) for path, problems in planned.items() for problem in problems)
    session.collected.add_all((item.path, problem) for item in live for problem in closed_form_problems(item.record, closed or {}))
    loaded = [
        _against_protocol(session, item, protocols, versions, events, shared.blades, names) for item in followed(live, "progress.checking")
    ]
    loaded = [item and replace(item, seal_held=seal_held(item.record, planned[item.path])) for item in loaded]
    gone = [_retracted(session, item, protocols, names) for item in read if item.retracted]
    then = {item.path: _earlier(session, item, protocols, events, shared.blades, names) for item in read if item.earlier}
    for item in read:
        tell_at_changes(session.collected, item.path, item.changes)
    return _sorted(loaded, then), _sorted(gone, then)


def _sorted(loaded: list[LoadedSubmission | None], then: Mapping[str, tuple[LoadedSubmission | None, ...]]) -> tuple[LoadedSubmission, ...]:
    kept = sorted((item for item in loaded if item is not None), key=lambda item: item.path)
    return tuple(replace(item, earlier=then[item.path]) if item.path in then else item for item in kept)


def _submission(session: Session, path: str, change_paths: Collection[str], asked: bool) -> ReadSubmission | None:
    data, tree = json_tree(session, path, "submission")
    changes = read_changes(session, change_paths)
    if tree is None or changes is None:
        return None
    earlier: tuple[Submission | None, ...] = ()
    written: bytes | None = data
    if changes and isinstance(tree, dict):
        written = None
        earlier = earlier_records(tree, changes) if session.keeps_earlier else ()
        tree, wrong = corrected(tree, changes)
        session.collected.add_all(wrong)
        if wrong:
            return None
    record, problems = read_record(Submission, tree, written)
    session.collected.add(path, problems)
    if record is None:
        tell_at_changes(session.collected, path, changes if isinstance(tree, dict) else ())
        return None
    item = ReadSubmission(path, record, sha256(data), changes, earlier)
    session.collected.add(path, _placed(item))
    if changes:
        session.collected.add_all(strangers(changes, {person.handle for person in record.people}))
    if asked and not item.retracted:
        session.collected.add(
            path, [*reference_problems(record), *own_problems(record, session.today, session.steels, not session.warns(path))]
        )
    return item


def _placed(item: ReadSubmission) -> list[Problem]:
    _, origin, protocol, _ = item.path.split("/")
    return [
        *path_agrees("/id", item.record.id, file_id(item.path)),
        *path_agrees("/origin", item.record.origin, origin),
        *path_agrees("/protocol/id", item.record.protocol.id, protocol),
        *reserved_id(item.record.id),
    ]


def _against_protocol(
    session: Session,
    item: ReadSubmission,
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
    blades: dict[str, BladeFacts],
    names: Names,
) -> LoadedSubmission | None:
    record, collected = item.record, session.collected
    key = (record.protocol.id, record.protocol.version)
    readings = None
    if key in protocols:
        of_protocol = events.get(record.protocol.id, ())
        readings, problems = session.keep(readings_by, protocols[key].record, of_protocol, record, not session.warns(item.path))
        collected.add(item.path, problems)
    elif key not in versions:
        message = Reason("reading.no_such_version", protocol=key[0], version=key[1])
        collected.add(item.path, [Problem("/protocol", "unknown-protocol", message)])
    _answer(collected, item)
    if readings is None or collected.has_error(item.path):
        return None
    return _loaded(item, protocols[key].record, readings, blades, names)


def _retracted(
    session: Session, item: ReadSubmission, protocols: dict[tuple[str, str], LoadedProtocol], names: Names
) -> LoadedSubmission | None:
    """A submission that was taken back, for readers: what the rules say of it no longer matters, and no other file meets its facts."""
    record = item.record
    protocol = protocols.get((record.protocol.id, record.protocol.version))
    if protocol is None:
        return None
    readings, problems = canonical_readings(record, protocol.record)
    if problems or reference_problems(record):
        return LoadedSubmission(names.submission(record), item.path, item.sha256, (), item.changes)
    blades = shared_facts([(item.path, record)], session.steels).blades
    return _loaded(item, protocol.record, readings, blades, names)


def _earlier(
    session: Session,
    item: ReadSubmission,
    protocols: dict[tuple[str, str], LoadedProtocol],
    events: dict[str, tuple[Event, ...]],
    blades: dict[str, BladeFacts],
    names: Names,
) -> tuple[LoadedSubmission | None, ...]:
    """The submission before each change; None where it would not have passed the check by itself."""
    found: list[LoadedSubmission | None] = []
    for number, record in enumerate(item.earlier):
        protocol = None if record is None else protocols.get((record.protocol.id, record.protocol.version))
        if record is None or protocol is None:
            found.append(None)
            continue
        readings = sound_readings(session, record, protocol, events.get(record.protocol.id, ()))
        then = replace(item, record=record, changes=item.changes[:number])
        known = blades_then(session, item.path, record, blades)
        found.append(None if readings is None else _loaded(then, protocol.record, readings, known, names))
    return tuple(found)


def _loaded(
    item: ReadSubmission, protocol: Protocol, readings: list[tuple[CanonicalReading, ...]], blades: dict[str, BladeFacts], names: Names
) -> LoadedSubmission:
    """With handles as they are shown: no later stage meets another."""
    record = names.submission(item.record)
    if record is not item.record:
        blades = {names.key(key): BladeFacts(known.steel, known.batch and names.key(known.batch)) for key, known in blades.items()}
    return LoadedSubmission(
        record,
        item.path,
        item.sha256,
        canonical_runs(record, protocol, readings, blades),
        item.changes,
        references=canonical_references(record, protocol),
        weights=canonical_weights(record),
    )


def _answer(collected: Collected, item: ReadSubmission) -> None:
    answers = [(a.pointer, a.code, a.says) for a in item.record.answers or ()]
    if answers:
        collected.problems[item.path] = answered(collected.problems.get(item.path, []), answers)
