"""Protocol files, their figures and the events of their life."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

from edgehold.records.canonical import LoadedProtocol
from edgehold.records.layout import RESERVED_PROTOCOLS, Layout
from edgehold.records.model.protocol import Protocol, version_order
from edgehold.records.model.review import Event
from edgehold.records.problem import Problem
from edgehold.records.rules.body_limits import body_problems
from edgehold.records.rules.figures import drawing_problems, figure_problems
from edgehold.records.rules.numbers import number_problems
from edgehold.records.rules.protocol_form import protocol_problems
from edgehold.records.rules.protocol_versions import chain_problems, event_problems
from edgehold.records.rules.settings_tables import table_problems, with_tables
from edgehold.records.rules.settings_text import text_problems
from edgehold.words import Reason

from .form import read_record
from .opening import decode, read_bytes
from .session import Session, file_text, folder_of, front_matter, path_agrees, reserved_id, sha256, yaml_tree


def version_keys(layout: Layout) -> list[tuple[str, str]]:
    return [(path.split("/")[1], path.split("/")[2].removesuffix(".md")) for path in layout.protocols]


def read_protocols(session: Session, methods: Collection[str] | None = None) -> dict[tuple[str, str], LoadedProtocol]:
    """Versions that can be read, by protocol and in the order of their numbers; of the protocols ``methods`` only, None: of all."""
    read = [path for path in session.layout.protocols if methods is None or path.split("/")[1] in methods]
    figures = _figures(session, {folder_of(path) for path in read} if methods is not None else None)
    found: dict[tuple[str, str], LoadedProtocol] = {}
    for path in read:
        loaded = _protocol(session, path)
        if loaded is not None:
            found[(loaded.record.id, loaded.record.version)] = loaded
            session.collected.add(path, figure_problems(loaded.record, figures.get(folder_of(path), {})))
    _unused_figures(session, found, figures)
    ordered = dict(sorted(found.items(), key=lambda item: (item[0][0], version_order(item[0][1]))))
    previous: LoadedProtocol | None = None
    for loaded in ordered.values():
        if previous is not None and previous.record.id == loaded.record.id:
            session.collected.add(loaded.path, chain_problems(previous, loaded))
        previous = loaded
    return ordered


def _figures(session: Session, folders: Collection[str] | None) -> dict[str, dict[str, str]]:
    """Hash of each figure, by protocol folder and path beside the protocol file; of some folders only, None: of all."""
    found: dict[str, dict[str, str]] = {}
    for path in session.layout.figures:
        folder, _, name = path.rpartition("/figures/")
        if folders is not None and folder not in folders:
            continue
        data, text = file_text(session, path, "figure")
        if text:
            session.collected.add(path, drawing_problems(data))
            found.setdefault(folder, {})[f"figures/{name}"] = sha256(data)
    return found


def _unused_figures(session: Session, protocols: dict[tuple[str, str], LoadedProtocol], figures: dict[str, dict[str, str]]) -> None:
    used = {(folder_of(p.path), figure.file) for p in protocols.values() for figure in p.record.figures}
    read = {folder_of(p.path) for p in protocols.values()}
    for folder in sorted(read & set(figures)):
        for name in figures[folder]:
            if (folder, name) not in used:
                problem = Problem("", "unexpected-file", Reason("reading.figure_not_named"), line=1)
                session.collected.add(f"{folder}/{name}", [problem])


def _protocol(session: Session, path: str) -> LoadedProtocol | None:
    parts = front_matter(session, path, "protocol")
    if parts is None:
        return None
    data, tree, body = parts
    read = _method(json.dumps(tree), body, decode(data)[0].removesuffix(body).count("\n"))
    session.collected.add(path, read.unfit)
    record = read.record
    if record is None:
        return None
    name, version = path.split("/")[1], path.split("/")[2].removesuffix(".md")
    wrong = [*path_agrees("/id", record.id, name), *path_agrees("/version", record.version, version)]
    wrong += reserved_id(record.id, also=RESERVED_PROTOCOLS)
    session.collected.add(path, [*wrong, *read.problems])
    return None if wrong else LoadedProtocol(record, read.text, path, sha256(data))


@dataclass(frozen=True)
class _Method:
    """What a protocol file says, wherever it lies: the record or why there is none, its text, and what is wrong with what they say."""

    record: Protocol | None
    unfit: tuple[Problem, ...]
    text: str = ""
    problems: tuple[Problem, ...] = ()


@lru_cache(maxsize=64)  # one command may read a repository twice
def _method(settings: str, body: str, before: int) -> _Method:
    """A file with these settings, as JSON, and this text, ``before`` lines from its beginning."""
    record, unfit = read_record(Protocol, json.loads(settings), settings.encode())
    if record is None:
        return _Method(None, tuple(unfit))
    text = with_tables(record, body)
    said = (*table_problems(record, body, before), *text_problems(record, body, before))
    return _Method(record, (), text, (*body_problems(body, before), *protocol_problems(record, text), *said))


PlacedEvents = dict[str, list[tuple[str, Event]]]
"""Events of each protocol with their files, in the order of their numbers."""


def read_events(session: Session, protocols: dict[tuple[str, str], LoadedProtocol], newer: Collection[str] = ()) -> PlacedEvents:
    """Events that can be read; ``newer`` are paths of files that come after all others."""
    found: PlacedEvents = {}
    folders: dict[str, list[str]] = {}
    for path in session.layout.events:
        folders.setdefault(path.split("/")[1], []).append(path)
        data, text = file_text(session, path, "event")
        if not text:
            empty_event(session, path, data)
            continue
        tree = yaml_tree(session, path, text, 1)
        record, problems = (None, []) if tree is None else read_record(Event, tree)
        session.collected.add(path, problems)
        if record is not None:
            found.setdefault(path.split("/")[1], []).append((path, record))
    for paths in folders.values():
        session.collected.add_all(number_problems(paths, 1, "event", newer))
    for name, events in found.items():
        hashes = _version_hashes(session, name, protocols)
        layout = session.layout
        session.collected.add_all(event_problems(events, hashes, layout.submission_ids(), layout.gone(), session.today))
    return found


def empty_event(session: Session, path: str, data: bytes) -> None:
    if not data and path not in session.collected.problems:
        session.collected.add(path, [Problem("", "not-yaml", Reason("reading.file_empty"), line=1)])


def _version_hashes(session: Session, name: str, protocols: dict[tuple[str, str], LoadedProtocol]) -> dict[str, str]:
    """Hash of every version's file, also of those that could not be read as a protocol."""
    hashes = {}
    for key, path in zip(version_keys(session.layout), session.layout.protocols, strict=True):
        if key[0] == name:
            loaded = protocols.get(key)
            hashes[key[1]] = loaded.sha256 if loaded else sha256(read_bytes(session.root / path, "protocol")[0])
    return hashes
