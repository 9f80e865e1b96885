"""Everything people wrote, read and checked: files -> `Repository`.

Three sweeps. Each file alone: opened, parsed, validated. Protocols: versions, events, figures. Submissions: against
their protocol and against each other. Nothing stops at the first problem; a file with an error takes no further part.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from aggregator.errors import RepositoryError, WrittenError

from .canonical import LoadedProtocol, LoadedSubmission, ObjectionThread, Repository
from .canonical_runs import BladeFacts, canonical_readings, canonical_runs
from .findings import Collected, answered
from .form import read_record
from .json_places import json_places
from .json_reading import parse_json
from .layout import Layout, walk
from .model.protocol import Protocol
from .model.registers import SteelEntry
from .model.review import Event, Objection, Outcome, Response
from .model.submission import Submission
from .opening import decode, read_bytes
from .problem import Problem
from .registers import STEELS_FILE, find_steel, load_steels
from .rules.duplicates import content_problems, id_problems
from .rules.figures import drawing_problems, figure_problems
from .rules.objections import Surroundings, thread_problems
from .rules.protocol_form import protocol_problems
from .rules.protocol_versions import chain_problems, event_problems, life_problems, version_order
from .rules.readings import reading_problems
from .rules.references import reference_problems
from .rules.shared_keys import shared_facts
from .rules.submissions import FindSteel, fit_problems, own_problems
from .yaml_reading import parse_yaml, split_front_matter

RESERVED_IDS = frozenset(
    {"con", "prn", "aux", "nul", "index", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}
)
"""Names that Windows keeps for devices, and a page's own."""

_ENTRY_MODELS = {"objection": Objection, "response": Response, "outcome": Outcome}


@dataclass
class _Reading:
    """What has been read so far."""

    root: Path
    layout: Layout
    today: datetime.date
    steels: dict[str, SteelEntry]
    find_steel: FindSteel
    collected: Collected = field(default_factory=Collected)
    yaml_lines: dict[str, dict[str, int]] = field(default_factory=dict)


def load_repository(root: Path, *, today: datetime.date | None = None) -> Repository:
    """Read and check a repository.

    Parameters
    ----------
    root : the repository's folder.
    today : what "in the future" is measured from; None: the date of this machine.

    Returns
    -------
    Every valid record, and every finding. A bad file never raises.

    Raises
    ------
    RepositoryError
        ``root`` holds neither protocols/ nor submissions/.
    """
    reading = _begin(Path(root), today or datetime.date.today())
    protocols = _protocols(reading)
    events = _events(reading, protocols)
    sound = {key: p for key, p in protocols.items() if not reading.collected.has_error(p.path)}
    submissions = _submissions(reading, sound, {key for key in _version_keys(reading.layout)}, events)
    threads = _threads(reading, protocols, events)
    findings = reading.collected.findings(functools.partial(_lines_of, reading))
    return Repository(reading.root, protocols, submissions, events, threads, dict(reading.steels), findings)


def _begin(root: Path, today: datetime.date) -> _Reading:
    if not (root / "protocols").is_dir() and not (root / "submissions").is_dir():
        raise RepositoryError(f"{root} holds neither protocols/ nor submissions/; wanted the folder of a repository")
    collected = Collected()
    try:
        steels = load_steels(root)
    except WrittenError as error:
        collected.add(STEELS_FILE, [Problem("", "register-unreadable", error.problem, error.cure, line=1)])
        steels = load_steels()
    layout = walk(root)
    collected.add_all(layout.problems)
    find: Callable[[str], SteelEntry | None] = functools.cache(functools.partial(find_steel, steels))
    return _Reading(root, layout, today, steels, find, collected)


def _lines_of(reading: _Reading, path: str) -> dict[str, int]:
    """Lines by pointer of one file, read again only because something was found in it."""
    if path in reading.yaml_lines:
        return reading.yaml_lines[path]
    if not path.endswith(".json"):
        return {}
    text = decode(read_bytes(reading.root / path, "submission")[0])[0]
    return json_places(text).lines


def _text(reading: _Reading, path: str, kind: str) -> tuple[bytes, str]:
    """Bytes and text of a file; an empty text when it cannot be read, with the problem collected."""
    data, problems = read_bytes(reading.root / path, kind)
    text = ""
    if not problems:
        text, problems = decode(data)
    reading.collected.add(path, problems)
    return data, text


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


# --- protocols ---


def _version_keys(layout: Layout) -> list[tuple[str, str]]:
    return [(path.split("/")[1], path.split("/")[2].removesuffix(".md")) for path in layout.protocols]


def _protocols(reading: _Reading) -> dict[tuple[str, str], LoadedProtocol]:
    figures = _figures(reading)
    found: dict[tuple[str, str], LoadedProtocol] = {}
    for path in reading.layout.protocols:
        loaded = _protocol(reading, path)
        if loaded is not None:
            found[(loaded.record.id, loaded.record.version)] = loaded
            reading.collected.add(path, figure_problems(loaded.record, figures.get(_folder(path), {})))
    _unused_figures(reading, found, figures)
    ordered = dict(sorted(found.items(), key=lambda item: (item[0][0], version_order(item[0][1]))))
    previous: LoadedProtocol | None = None
    for loaded in ordered.values():
        if previous is not None and previous.record.id == loaded.record.id:
            reading.collected.add(loaded.path, chain_problems(previous.record, loaded.record))
        previous = loaded
    return ordered


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _figures(reading: _Reading) -> dict[str, dict[str, str]]:
    """Hash of each figure, by protocol folder and path beside the protocol file."""
    found: dict[str, dict[str, str]] = {}
    for path in reading.layout.figures:
        data, text = _text(reading, path, "figure")
        if text:
            reading.collected.add(path, drawing_problems(data))
            folder, _, name = path.rpartition("/figures/")
            found.setdefault(folder, {})[f"figures/{name}"] = _sha256(data)
    return found


def _unused_figures(
    reading: _Reading, protocols: dict[tuple[str, str], LoadedProtocol], figures: dict[str, dict[str, str]]
) -> None:
    used = {(_folder(p.path), figure.file) for p in protocols.values() for figure in p.record.figures}
    read = {_folder(p.path) for p in protocols.values()}
    for folder in sorted(read & set(figures)):
        for name in figures[folder]:
            if (folder, name) not in used:
                problem = Problem("", "unexpected-file", "no version of the protocol names this figure", line=1)
                reading.collected.add(f"{folder}/{name}", [problem])


def _front_matter(reading: _Reading, path: str, kind: str) -> tuple[bytes, object, str] | None:
    """Bytes, front matter as a tree, and body of a Markdown file; None with the problems collected."""
    data, text = _text(reading, path, kind)
    if not text:
        if not data:
            _empty(reading, path)
        return None
    parts = split_front_matter(text)
    if parts is None:
        reading.collected.add(path, [Problem("", "no-front-matter", "there is no front matter", line=1)])
        return None
    tree = _yaml(reading, path, parts[0], 2)
    if not parts[1].strip():
        reading.collected.add(path, [Problem("", "empty-body", "the body is empty", line=text.count("\n") or 1)])
    return None if tree is None else (data, tree, parts[1])


def _empty(reading: _Reading, path: str) -> None:
    if path not in reading.collected.problems:
        reading.collected.add(path, [Problem("", "no-front-matter", "the file is empty", line=1)])


def _yaml(reading: _Reading, path: str, text: str, first_line: int) -> object:
    found = parse_yaml(text, first_line)
    reading.yaml_lines[path] = found.lines
    reading.collected.add(path, found.problems)
    return None if found.problems else (found.tree if found.tree is not None else {})


def _protocol(reading: _Reading, path: str) -> LoadedProtocol | None:
    parts = _front_matter(reading, path, "protocol")
    if parts is None:
        return None
    data, tree, body = parts
    record, problems = read_record(Protocol, tree)
    reading.collected.add(path, problems)
    if record is None:
        return None
    name, version = path.split("/")[1], path.split("/")[2].removesuffix(".md")
    wrong = [*_agrees("/id", record.id, name), *_agrees("/version", record.version, version), *_reserved(record.id)]
    reading.collected.add(path, [*wrong, *protocol_problems(record, body)])
    return None if wrong else LoadedProtocol(record, body, path, _sha256(data))


def _agrees(pointer: str, content: str, path_part: str) -> list[Problem]:
    if content == path_part:
        return []
    message = f"{content!r} stands in the file, {path_part!r} in its path"
    return [Problem(pointer, "path-disagrees", message)]


def _reserved(name: str) -> list[Problem]:
    return [Problem("/id", "reserved-id", f"{name!r} is reserved")] if name in RESERVED_IDS else []


def _events(
    reading: _Reading, protocols: dict[tuple[str, str], LoadedProtocol]
) -> dict[str, tuple[Event, ...]]:
    found: dict[str, list[tuple[str, Event]]] = {}
    for path in reading.layout.events:
        data, text = _text(reading, path, "event")
        if not text:
            _empty_event(reading, path, data)
            continue
        tree = _yaml(reading, path, text, 1)
        record, problems = (None, []) if tree is None else read_record(Event, tree)
        reading.collected.add(path, problems)
        if record is not None:
            found.setdefault(path.split("/")[1], []).append((path, record))
    for name, events in found.items():
        hashes = _version_hashes(reading, name, protocols)
        reading.collected.add_all(event_problems(events, hashes, reading.today))
    return {name: tuple(event for _, event in events) for name, events in found.items()}


def _empty_event(reading: _Reading, path: str, data: bytes) -> None:
    if not data and path not in reading.collected.problems:
        reading.collected.add(path, [Problem("", "not-yaml", "the file is empty", line=1)])


def _version_hashes(
    reading: _Reading, name: str, protocols: dict[tuple[str, str], LoadedProtocol]
) -> dict[str, str]:
    """Hash of every version's file, also of those that could not be read as a protocol."""
    hashes = {}
    for key, path in zip(_version_keys(reading.layout), reading.layout.protocols, strict=True):
        if key[0] == name:
            loaded = protocols.get(key)
            hashes[key[1]] = loaded.sha256 if loaded else _sha256(read_bytes(reading.root / path, "protocol")[0])
    return hashes


# --- submissions ---


@dataclass(frozen=True)
class _Read:
    """One submission that could be validated, with the hash of its bytes."""

    path: str
    record: Submission
    sha256: str


def _submissions(
    reading: _Reading,
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
) -> tuple[LoadedSubmission, ...]:
    """Valid submissions; ``protocols`` are those without problems, ``versions`` all that have a file."""
    paths = reading.layout.submissions
    read = [item for item in map(functools.partial(_submission, reading), paths) if item is not None]
    shared = shared_facts([(item.path, item.record) for item in read], reading.find_steel)
    crossing = [
        *id_problems(paths),
        *content_problems([(item.path, item.record) for item in read]),
        *shared.problems,
    ]
    reading.collected.add_all(crossing)
    loaded = [_against_protocol(reading, item, protocols, versions, events, shared.blades) for item in read]
    return tuple(item for item in loaded if item is not None)


def _submission(reading: _Reading, path: str) -> _Read | None:
    data, text = _text(reading, path, "submission")
    if not text:
        if not data and path not in reading.collected.problems:
            reading.collected.add(path, [Problem("", "not-json", "the file is empty", line=1)])
        return None
    tree, problems = parse_json(text)
    record = None
    if not problems:
        record, problems = read_record(Submission, tree)
    reading.collected.add(path, problems)
    if record is None:
        return None
    _, origin, protocol, name = path.split("/")
    wrong = [
        *_agrees("/id", record.id, name.removesuffix(".json")),
        *_agrees("/origin", record.origin, origin),
        *_agrees("/protocol/id", record.protocol.id, protocol),
        *_reserved(record.id),
    ]
    own = own_problems(record, reading.today, reading.find_steel)
    reading.collected.add(path, [*wrong, *reference_problems(record), *own])
    return _Read(path, record, _sha256(data))


def _against_protocol(
    reading: _Reading,
    item: _Read,
    protocols: dict[tuple[str, str], LoadedProtocol],
    versions: set[tuple[str, str]],
    events: dict[str, tuple[Event, ...]],
    blades: dict[str, BladeFacts],
) -> LoadedSubmission | None:
    record, collected = item.record, reading.collected
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


# --- objections ---


def _threads(
    reading: _Reading,
    protocols: dict[tuple[str, str], LoadedProtocol],
    events: dict[str, tuple[Event, ...]],
) -> tuple[ObjectionThread, ...]:
    folders: dict[str, list[str]] = {}
    for path in reading.layout.entries:
        folders.setdefault(_folder(path), []).append(path)
    reading.collected.add_all(_numbers(folders))
    found = [(thread, folders[folder]) for folder in folders if (thread := _thread(reading, folder, folders[folder]))]
    submissions = frozenset(path.rpartition("/")[2].removesuffix(".json") for path in reading.layout.submissions)
    for thread, paths in found:
        around = Surroundings(
            {version: p for (name, version), p in protocols.items() if name == thread.protocol},
            events.get(thread.protocol, ()),
            frozenset(other.number for other, _ in found if other.protocol == thread.protocol),
            submissions,
        )
        reading.collected.add_all(thread_problems(thread, paths, around, reading.today))
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


def _thread(reading: _Reading, folder: str, paths: list[str]) -> ObjectionThread | None:
    entries = [_entry(reading, path) for path in paths]
    first, rest = entries[0], entries[1:]
    if first is None or not isinstance(first[0], Objection) or any(entry is None for entry in rest):
        return None
    if any(isinstance(entry[0], Objection) for entry in rest):
        return None
    _, protocol, _, name = folder.split("/")
    return ObjectionThread(protocol, int(name[:3]), paths[0], first[0], first[1], tuple(rest))


def _entry(reading: _Reading, path: str) -> tuple[Objection | Response | Outcome, str] | None:
    parts = _front_matter(reading, path, "objection")
    if parts is None:
        return None
    kind = path.rpartition("/")[2][3:].removesuffix(".md")
    tree = parts[1]
    stated = tree.get("kind") if isinstance(tree, dict) else None
    if stated in _ENTRY_MODELS and stated != kind:
        reading.collected.add(path, _agrees("/kind", stated, kind))
        return None
    record, problems = read_record(_ENTRY_MODELS[kind], tree)
    reading.collected.add(path, problems)
    return None if record is None else (record, parts[2].strip())
