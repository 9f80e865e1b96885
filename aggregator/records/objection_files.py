"""Objections and what was said and decided about them."""

from __future__ import annotations

from .canonical import LoadedProtocol, ObjectionThread
from .form import read_record
from .model.review import Event, Objection, Outcome, Response
from .names import Names
from .problem import Problem
from .rules.objections import Surroundings, thread_problems
from .session import Session, folder_of, front_matter, path_agrees

_ENTRY_MODELS = {"objection": Objection, "response": Response, "outcome": Outcome}


def read_threads(
    session: Session,
    protocols: dict[tuple[str, str], LoadedProtocol],
    events: dict[str, tuple[Event, ...]],
    names: Names,
) -> tuple[ObjectionThread, ...]:
    folders: dict[str, list[str]] = {}
    for path in session.layout.entries:
        folders.setdefault(folder_of(path), []).append(path)
    session.collected.add_all(_numbers(folders))
    found = [(thread, folders[folder]) for folder in folders if (thread := _thread(session, folder, folders[folder]))]
    submissions, gone = session.layout.submission_ids(), session.layout.gone()
    for thread, paths in found:
        around = Surroundings(
            {version: p for (name, version), p in protocols.items() if name == thread.protocol},
            events.get(thread.protocol, ()),
            frozenset(other.number for other, _ in found if other.protocol == thread.protocol),
            submissions,
            gone,
            names,
        )
        session.collected.add_all(thread_problems(thread, paths, around, session.today))
    return tuple(sorted((thread for thread, _ in found), key=lambda thread: (thread.protocol, thread.number)))


def _numbers(folders: dict[str, list[str]]) -> list[tuple[str, Problem]]:
    """Threads are numbered 001, 002 … in a protocol, entries 00, 01 … in a thread; the objection is 00."""
    problems = []
    counts: dict[str, int] = {}
    for folder, paths in sorted(folders.items()):
        protocol, _, name = folder.rpartition("/objections/")
        counts[protocol] = counts.get(protocol, 0) + 1
        if name[:3] != f"{counts[protocol]:03d}":
            message = f"this is objection {counts[protocol]}, its number is {name[:3]}"
            problems.append((paths[0], Problem("", "wrong-number", message, line=1)))
        for number, path in enumerate(paths):
            entry = path.rpartition("/")[2]
            if entry[:2] != f"{number:02d}" or (number == 0) != entry.endswith("-objection.md"):
                message = f"entry {entry!r} stands where number {number:02d} was expected; 00 is the objection"
                problems.append((path, Problem("", "wrong-number", message, line=1)))
    return problems


def _thread(session: Session, folder: str, paths: list[str]) -> ObjectionThread | None:
    entries = [_entry(session, path) for path in paths]
    first, rest = entries[0], entries[1:]
    if first is None or not isinstance(first[0], Objection) or any(entry is None for entry in rest):
        return None
    if any(isinstance(entry[0], Objection) for entry in rest):
        return None
    _, protocol, _, name = folder.split("/")
    return ObjectionThread(protocol, int(name[:3]), paths[0], first[0], first[1], tuple(rest))


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
