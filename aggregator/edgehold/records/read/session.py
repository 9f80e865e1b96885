"""One sweep over a repository: what has been read so far, and how a file of each kind is opened."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, TypeVar

from edgehold.errors import RepositoryError, WrittenError
from edgehold.records.findings import Collected
from edgehold.records.json_places import json_places
from edgehold.records.layout import RESERVED_IDS, Layout, walk
from edgehold.records.problem import Problem
from edgehold.records.registers import CLASSES_FILE, STEELS_FILE, Steels, load_classes, load_named
from edgehold.words import Reason

from .opening import decode, read_bytes
from .yaml_reading import parse_yaml, split_front_matter

Entry = TypeVar("Entry")
Result = TypeVar("Result")


class Keep(Protocol):
    """Gives what a function gives for some arguments, from wherever."""

    def __call__(self, function: Callable[..., Result], /, *arguments: Any) -> Result: ...


def call(function: Callable[..., Result], /, *arguments: Any) -> Result:
    """What a function gives, computed."""
    return function(*arguments)


@dataclass
class Session:
    """What has been read so far.

    ``keeps_earlier``: whether submissions are wanted as they stood before each change, too. ``hashes``: of the text files that were read.
    ``elsewhere``: files that are read as if they lay at these paths. ``warned``: submissions about which warnings are wanted, None: all.
    ``keep``: who is asked for what a function gives for arguments that alone decide it.
    """

    root: Path
    layout: Layout
    today: datetime.date
    steels: Steels
    collected: Collected = field(default_factory=Collected)
    yaml_lines: dict[str, dict[str, int]] = field(default_factory=dict)
    keeps_earlier: bool = False
    hashes: dict[str, str] = field(default_factory=dict)
    elsewhere: Mapping[str, Path] = field(default_factory=dict)
    warned: Collection[str] | None = None
    keep: Keep = call

    def warns(self, path: str) -> bool:
        """Whether warnings about a submission are wanted."""
        return self.warned is None or path in self.warned

    def file(self, path: str) -> Path:
        """Where a file of the repository is read from."""
        return self.elsewhere.get(path, self.root / path)


def begin(root: Path, today: datetime.date, keeps_earlier: bool = False, elsewhere: Mapping[str, Path] | None = None) -> Session:
    if not (root / "protocols").is_dir() and not (root / "submissions").is_dir():
        raise RepositoryError(f"{root} holds neither protocols/ nor submissions/; wanted the folder of a repository")
    collected = Collected()
    named = _register(load_named, root, STEELS_FILE, collected)
    classes = _register(load_classes, root, CLASSES_FILE, collected)
    layout = walk(root)
    layout.submissions = sorted({*layout.submissions, *(elsewhere or {})})
    collected.add_all(layout.problems)
    return Session(root, layout, today, Steels(named, classes), collected, keeps_earlier=keeps_earlier, elsewhere=elsewhere or {})


def _register(load: Callable[[Path | None], dict[str, Entry]], root: Path, file: str, collected: Collected) -> dict[str, Entry]:
    """A repository's register; the program's own where it cannot be read, with the problem collected."""
    try:
        return load(root)
    except WrittenError as error:
        collected.add(file, [Problem("", "register-unreadable", error.problem, error.cure, line=1)])
        return load(None)


def lines_of(session: Session, path: str) -> dict[str, int]:
    """Lines by pointer of one file, read again only because something was found in it."""
    if path in session.yaml_lines:
        return session.yaml_lines[path]
    if not path.endswith(".json"):
        return {}
    text = decode(read_bytes(session.file(path), "submission")[0])[0]
    return json_places(text).lines


def file_text(session: Session, path: str, kind: str) -> tuple[bytes, str]:
    """Bytes and text of a file; an empty text when it cannot be read, with the problem collected."""
    data, problems = read_bytes(session.file(path), kind)
    text = ""
    if not problems:
        text, problems = decode(data)
    session.collected.add(path, problems)
    session.hashes[path] = sha256(data)
    return data, text


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def front_matter(session: Session, path: str, kind: str) -> tuple[bytes, object, str] | None:
    """Bytes, front matter as a tree, and body of a Markdown file; None with the problems collected."""
    data, text = file_text(session, path, kind)
    if not text:
        if not data:
            _empty(session, path)
        return None
    parts = split_front_matter(text)
    if parts is None:
        session.collected.add(path, [Problem("", "no-front-matter", Reason("reading.no_front_matter"), line=1)])
        return None
    tree = yaml_tree(session, path, parts[0], 2)
    if not parts[1].strip():
        session.collected.add(path, [Problem("", "empty-body", Reason("reading.body_empty"), line=text.count("\n") or 1)])
    return None if tree is None else (data, tree, parts[1])


def _empty(session: Session, path: str) -> None:
    if path not in session.collected.problems:
        session.collected.add(path, [Problem("", "no-front-matter", Reason("reading.file_empty"), line=1)])


def yaml_tree(session: Session, path: str, text: str, first_line: int) -> object:
    found = parse_yaml(text, first_line)
    session.yaml_lines[path] = found.lines
    session.collected.add(path, found.problems)
    return None if found.problems else (found.tree if found.tree is not None else {})


def path_agrees(pointer: str, content: str, path_part: str) -> list[Problem]:
    if content == path_part:
        return []
    message = Reason("reading.path_disagrees", content=content, path_part=path_part)
    return [Problem(pointer, "path-disagrees", message)]


def reserved_id(name: str, place: str = "/id", also: Collection[str] = ()) -> list[Problem]:
    return [Problem(place, "reserved-id", f"{name!r} is reserved")] if name in RESERVED_IDS or name in also else []


def folder_of(path: str) -> str:
    return path.rpartition("/")[0]
