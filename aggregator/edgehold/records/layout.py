"""Walk a repository: which files are there, in sorted order, and which have no place.

Only ``protocols/`` and ``submissions/`` are walked; links are never followed.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path

from edgehold.words import Reason

from .model.base import HANDLE_FORM, SLUG_FORM
from .problem import Problem

SIDE_FILES = frozenset({".gitkeep", "README.md"})
ANALYSIS = "analysis"
"""The folder under ``protocols/`` whose objections are against the analysis; no protocol may be called so."""
RESERVED_IDS = frozenset({"con", "prn", "aux", "nul", "index", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))})
"""Names that Windows keeps for devices, and a page's own."""
RESERVED_PROTOCOLS = frozenset({ANALYSIS, "new", "compare"})
"""Ids that no protocol may have: that folder, and pages beside those of protocols."""
EFFECTS_FILE = "submissions/simulated/effects.json"
ROLES_FILE = "protocols/roles.json"
"""Beside the protocols and not among the people: roles are about methods and their objections, and whoever may write about themselves
in ``submissions/people`` may not write here."""
CARRIED_FILES = ("carried.json", "confirmed.json")

_SLUG = re.compile(SLUG_FORM)
_VERSION_FILE = re.compile(r"[0-9]{1,4}\.[0-9]{1,4}\.[0-9]{1,4}\.md")
_EVENT_FILE = re.compile(r"[0-9]{3}-[a-z0-9-]{1,63}\.yaml")
_THREAD_FOLDER = re.compile(r"[0-9]{3}-[a-z0-9-]{1,63}")
_ENTRY_FILE = re.compile(r"[0-9]{2}-(?:objection|response|outcome)\.md")
_CHANGE_FILE = re.compile(r"[0-9]{2}-(?:correction|retraction)\.json")
_HANDLE_FILE = re.compile(rf"{HANDLE_FORM}\.json")
_ID_FILE = re.compile(rf"{_SLUG.pattern}\.json")
_FIGURE_FILE = re.compile(r"[a-z0-9][a-z0-9-]{0,60}\.svg")


@dataclass
class Layout:
    """Paths relative to the root, with forward slashes, each list sorted; ``problems`` by path."""

    submissions: list[str] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)
    tombstones: list[str] = field(default_factory=list)
    people: list[str] = field(default_factory=list)
    seals: list[str] = field(default_factory=list)
    roles: list[str] = field(default_factory=list)
    carried: list[str] = field(default_factory=list)
    protocols: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    entries: list[str] = field(default_factory=list)
    figures: list[str] = field(default_factory=list)
    problems: list[tuple[str, Problem]] = field(default_factory=list)

    def submission_ids(self) -> frozenset[str]:
        """Ids that are or were submissions', as paths say: those of tombstones too."""
        return frozenset(map(file_id, (*self.submissions, *self.tombstones)))

    def gone(self) -> dict[str, str]:
        """Ids of submissions that no longer count, and how they went, as paths say."""
        retracted = {path.split("/")[4]: "retracted" for path in self.changes if path.endswith("-retraction.json")}
        return retracted | {file_id(path): "removed" for path in self.tombstones}


def file_id(path: str) -> str:
    """The id that a JSON file's name says."""
    return path.rpartition("/")[2].removesuffix(".json")


def changed_submission(path: str) -> str:
    """The submission that a change file belongs to, as their paths say."""
    parts = path.split("/")
    return "/".join([*parts[:3], f"{parts[4]}.json"])


def walk(root: Path) -> Layout:
    """Every file under ``protocols/`` and ``submissions/``, sorted into its place."""
    layout = Layout()
    for top in ("protocols", "submissions"):
        if (root / top).is_symlink():
            layout.problems.append((top, Problem("", "link-refused", Reason("reading.symbolic_link"), line=1)))
            return layout
    for folder in _folders(root, "submissions", layout, only=("measured", "simulated", "tombstones", "people", "plans", "carried")):
        _submissions(root, folder, layout)
    for folder in _folders(root, "protocols", layout):
        _protocol(root, folder, layout)
    return layout


def _submissions(root: Path, folder: str, layout: Layout) -> None:
    if folder == "submissions/tombstones":
        _files(root, folder, layout, _ID_FILE, layout.tombstones)
    elif folder == "submissions/people":
        _files(root, folder, layout, _HANDLE_FILE, layout.people)
    elif folder == "submissions/plans":
        _files(root, folder, layout, _ID_FILE, layout.seals)
    elif folder == "submissions/carried":
        for of_one in _folders(root, folder, layout):
            _files(root, of_one, layout, re.compile("|".join(map(re.escape, CARRIED_FILES))), layout.carried)
    else:
        changeable = ("changes",) if folder == "submissions/measured" else ()
        for protocol in _folders(root, folder, layout):
            _files(root, protocol, layout, re.compile(r".+\.json"), layout.submissions, folders=changeable)
            if changeable and _is_folder(root / protocol / "changes"):
                for changed in _folders(root, f"{protocol}/changes", layout):
                    _files(root, changed, layout, _CHANGE_FILE, layout.changes)


def _protocol(root: Path, folder: str, layout: Layout) -> None:
    parts = {"events": _EVENT_FILE, "figures": _FIGURE_FILE}
    _files(root, folder, layout, _VERSION_FILE, layout.protocols, folders=(*parts, "objections"))
    for part, pattern in parts.items():
        if _is_folder(root / folder / part):
            _files(root, f"{folder}/{part}", layout, pattern, getattr(layout, part))
    if _is_folder(root / folder / "objections"):
        for thread in _folders(root, f"{folder}/objections", layout, pattern=_THREAD_FOLDER):
            _files(root, thread, layout, _ENTRY_FILE, layout.entries)


def _is_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _listed(root: Path, folder: str, layout: Layout) -> list[os.DirEntry[str]]:
    """Entries of a folder in sorted order; links and side files are dealt with here."""
    try:
        with os.scandir(root / folder) as found:
            entries = sorted(found, key=lambda entry: entry.name)
    except OSError:
        return []
    kept = []
    for entry in entries:
        if entry.is_symlink():
            layout.problems.append(
                (f"{folder}/{readable(entry.name)}", Problem("", "link-refused", Reason("reading.symbolic_link"), line=1))
            )
        elif f"{folder}/{entry.name}" == ROLES_FILE and not entry.is_dir():
            layout.roles.append(ROLES_FILE)
        elif entry.name not in SIDE_FILES and f"{folder}/{entry.name}" != EFFECTS_FILE:
            kept.append(entry)
    return kept


def _folders(root: Path, folder: str, layout: Layout, only: tuple[str, ...] = (), pattern: re.Pattern[str] = _SLUG) -> list[str]:
    names = []
    for entry in _listed(root, folder, layout):
        fits = entry.name in only if only else pattern.fullmatch(entry.name)
        if fits and entry.is_dir():
            names.append(f"{folder}/{entry.name}")
        else:
            _unexpected(folder, entry.name, layout, pattern)
    return names


def _files(root: Path, folder: str, layout: Layout, pattern: re.Pattern[str], found: list[str], folders: tuple[str, ...] = ()) -> None:
    for entry in _listed(root, folder, layout):
        if entry.name in folders and entry.is_dir():
            continue
        if pattern.fullmatch(entry.name) and readable(entry.name) == entry.name and not entry.is_dir():
            found.append(f"{folder}/{entry.name}")
        else:
            _unexpected(folder, entry.name, layout, pattern)


def _unexpected(folder: str, name: str, layout: Layout, pattern: re.Pattern[str]) -> None:
    code = "wrong-case" if name != name.lower() and pattern.fullmatch(name.lower()) else "unexpected-file"
    message = Reason("reading.no_place_here")
    layout.problems.append((f"{folder}/{readable(name)}", Problem("", code, message, line=1)))


def readable(name: str) -> str:
    """A file's name with everything that could garble a terminal or a report replaced."""
    return name if name.isprintable() else "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in name)
