"""A base with people in it: who is bound to which account, who has a role, what was sent in and objected to.

``WREN`` sent in wren-1 with tern, who is bound to nothing, and sent in tern-1; ``AUK`` raised objection 1 and dove, bound to nothing,
objection 2; ``KEEPER`` has every role since 2026-06; moot and board, who adopted and released before, are invented. ``LIAR`` and ``NEW``
are accounts that nobody has met.
"""

import json
from pathlib import Path

from tests.records.builder import changed, markdown, second, submission, write, write_person
from tests.records.test_objections import OBJECTION

from .requests import commit, git, make_base

WREN, AUK, KEEPER, LIAR, NEW, TERN = "101", "303", "900", "666", "777", "404"
OBJECTIONS = "protocols/small-rope/objections"
ROLES = "protocols/roles.json"
DUTIES = ["decide", "strike", "adopt", "retire", "take down"]
LIST = {
    "format": "roles/1.0.0",
    "since": "2026-06",
    "roles": [
        {"handle": "keeper", "may": DUTIES, "since": "2026-06"},
        {"handle": "moot", "may": ["adopt", "retire", "decide", "strike"], "since": "2026-01", "simulated": True},
        {"handle": "board", "may": ["decide"], "since": "2026-01", "until": "2026-06", "simulated": True},
    ],
}
DOVE = changed(OBJECTION, {"/by": "dove", "/title": "A draught cools the rope"})


def base(tmp_path: Path) -> Path:
    """The base, with a branch of one's own checked out."""
    root = make_base(tmp_path, submissions=[submission(), other()])
    git(root, "switch", "-q", "main")
    for handle, account in (("wren", WREN), ("auk", AUK), ("keeper", KEEPER)):
        bind(root, handle, account)
    appoint(root, LIST)
    say(root, "001-stone-wears", 0, OBJECTION)
    say(root, "002-draught", 0, DOVE)
    commit(root)
    git(root, "switch", "-q", "-C", "request")
    return root


def other(changes: dict | None = None) -> dict:
    """A second evening of tern's in the base."""
    return second({"/month": "2026-05", "/runs/0/readings/0/values/0/written": 1.05} | (changes or {}))


def bind(root: Path, handle: str, account: str, **more: object) -> str:
    """Bind a handle, and return the file's path."""
    return write_person(root, handle, format="person/1.1.0", account=account, **more).relative_to(root).as_posix()


def appoint(root: Path, roles: dict) -> None:
    """Write the list of roles."""
    write(root / ROLES, json.dumps(roles))


def say(root: Path, folder: str, number: int, record: dict, text: str = "") -> str:
    """Add an entry to a thread, and return its path."""
    path = f"{OBJECTIONS}/{folder}/{number:02d}-{record['kind']}.md"
    write(root / path, markdown(record, f"{text or 'Because of it.'}\n"))
    return path


def carry(root: Path, name: str, by: str, kind: str = "carried") -> str:
    """Say that a result was carried in, or confirm it, and return the file's path."""
    record = {"format": "carried/1.0.0", "kind": kind, "submission": name, "by": by, "month": "2026-06"}
    path = f"submissions/carried/{name}/{kind}.json"
    write(root / path, json.dumps(record))
    return path


def on_base(root: Path, *changes) -> None:
    """Do something on the base, and begin the request anew from there."""
    git(root, "switch", "-q", "main")
    for change in changes:
        change(root)
    commit(root)
    git(root, "switch", "-q", "-C", "request")
