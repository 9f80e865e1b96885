"""Objections and what was said and decided about them."""

from __future__ import annotations

from collections.abc import Collection

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.model.review import Event, Objection, Outcome, Response
from edgehold.records.names import Names
from edgehold.records.problem import Problem
from edgehold.records.rules.numbers import in_order, number_problems
from edgehold.records.rules.objections import Surroundings
from edgehold.records.rules.outcomes import thread_problems
from edgehold.words import Reason

from .form import read_record
from .session import Session, folder_of, front_matter, path_agrees

_ENTRY_MODELS: dict[str, type[Objection | Response | Outcome]] = {"objection": Objection, "response": Response, "outcome": Outcome}


def read_threads(
    session: Session,
    protocols: dict[tuple[str, str], LoadedProtocol],
    events: dict[str, tuple[Event, ...]],
    names: Names,
    newer: Collection[str] = (),
) -> tuple[ObjectionThread, ...]:
    """Every objection with what was said and decided; ``newer`` are paths of files that come after all others."""
    folders: dict[str, list[str]] = {}
    for path in session.layout.entries:
        folders.setdefault(folder_of(path), []).append(path)
    folders = {folder: in_order(paths, newer) for folder, paths in folders.items()}
    session.collected.add_all(_numbers(folders, newer))
    found = [(thread, folders[folder]) for folder in folders if (thread := _thread(session, folder, folders[folder]))]
    submissions, gone = session.layout.submission_ids(), session.layout.gone()
    for thread, paths in found:
        around = Surroundings(
            {version: p for (name, version), p in protocols.items() if name == thread.protocol},
            events.get(thread.protocol, ()),
            {other.number: other for other, _ in found if other.protocol == thread.protocol},
            submissions,
            gone,
            names,
        )
        session.collected.add_all(thread_problems(thread, paths, around, session.today))
    return tuple(sorted((thread for thread, _ in found), key=lambda thread: (thread.protocol, thread.number)))


def _numbers(folders: dict[str, list[str]], newer: Collection[str]) -> list[tuple[str, Problem]]:
    """Threads are numbered 001, 002 … in a protocol, entries 00, 01 … in a thread; the objection is 00."""
    problems = []
    beside: dict[str, list[str]] = {}
    for folder, paths in folders.items():
        beside.setdefault(folder_of(folder), []).append(folder)
        problems += list(number_problems(paths, 0, "entry", newer)) or _objection_first(paths)
    first_files = {folder: paths[0] for folder, paths in folders.items()}
    for threads in beside.values():
        late = {folder for folder in threads if first_files[folder] in newer}
        problems += [(first_files[folder], problem) for folder, problem in number_problems(threads, 1, "objection", late)]
    return problems


def _objection_first(paths: list[str]) -> list[tuple[str, Problem]]:
    wrong = [path for number, path in enumerate(paths) if (number == 0) != path.endswith("-objection.md")]
    message = Reason("reading.first_is_objection")
    return [(path, Problem("", "wrong-number", message, Reason("reading.begin_with_objection"), line=1)) for path in wrong]


def _thread(session: Session, folder: str, paths: list[str]) -> ObjectionThread | None:
    read = [entry for path in paths if (entry := _entry(session, path)) is not None]
    said = [(record, text) for record, text in read[1:] if not isinstance(record, Objection)]
    if len(read) < len(paths) or len(said) < len(paths) - 1:
        return None
    objection, statement = read[0]
    if not isinstance(objection, Objection):
        return None
    _, protocol, _, name = folder.split("/")
    return ObjectionThread(protocol, int(name[:3]), paths[0], objection, statement, tuple(said))


def _entry(session: Session, path: str) -> tuple[Objection | Response | Outcome, str] | None:
    parts = front_matter(session, path, "objection")
    if parts is None:
        return None
    kind = path.rpartition("/")[2][3:].removesuffix(".md")
    tree = parts[1]
    stated = tree.get("kind") if isinstance(tree, dict) else None
    if isinstance(stated, str) and stated in _ENTRY_MODELS and stated != kind:
        session.collected.add(path, path_agrees("/kind", stated, kind))
        return None
    record, problems = read_record(_ENTRY_MODELS[kind], tree)
    session.collected.add(path, problems)
    return None if record is None else (record, parts[2].strip())
