"""Who does what in a request, as its own files say: each act with the handle in whose name it is done.

The files are read by themselves here, and only for their names: whether they are right says the check that reads everything.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import JsonValue

from edgehold.records.layout import changed_submission, file_id
from edgehold.records.model.roles import Duty
from edgehold.records.problem import pointer
from edgehold.records.read.json_reading import parse_json
from edgehold.records.read.opening import decode, read_bytes
from edgehold.records.read.roles_files import named_in
from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.records.rules.roles import OF_EVENT, act_of_outcome, does_event
from edgehold.words import Reason

from .proposal import Change, Proposal

_KINDS = (
    ("submission", re.compile(r"submissions/measured/[^/]+/[^/]+\.json")),
    ("change", re.compile(r"submissions/measured/[^/]+/changes/[^/]+/[^/]+\.json")),
    ("seal", re.compile(r"submissions/plans/[^/]+\.json")),
    ("carried", re.compile(r"submissions/carried/[^/]+/[^/]+\.json")),
    ("person", re.compile(r"submissions/people/[^/]+\.json")),
    ("tombstone", re.compile(r"submissions/tombstones/[^/]+\.json")),
    ("event", re.compile(r"protocols/[^/]+/events/[^/]+\.yaml")),
    ("objection", re.compile(r"protocols/[^/]+/objections/[^/]+/[^/]+\.md")),
)
_SAID_BY = {"submission": "submitted_by", "person": "handle"}
Tree = Mapping[str, object]


@dataclass(frozen=True)
class Act:
    """One thing that a request does.

    Attributes
    ----------
    path, pointer : the file, and the place of the handle in it.
    kind : of the file.
    by : the handle in whose name it is done.
    does : the act in words: "retracts wren-1".
    duty : the role that it needs; None where anybody may do it.
    about : id of the submission that is sent in, carried or confirmed; empty for all else.
    authors : who released the method before, where a version of it is released or opened by somebody else.
    """

    path: str
    pointer: str
    kind: str
    by: str
    does: str
    duty: Duty | None = None
    about: str = ""
    authors: tuple[str, ...] = ()


def kind_of(path: str) -> str:
    """What a file of people is; empty where nobody acts by it."""
    return next((kind for kind, pattern in _KINDS if pattern.fullmatch(path)), "")


def added(proposal: Proposal) -> tuple[Change, ...]:
    """Changes by which a file is new at its place or other than it was."""
    return tuple(change for change in proposal.changes if change.kind in ("added", "changed", "renamed", "changed in kind"))


def acts_of_request(proposal: Proposal) -> list[Act]:
    """Every act of a request, in the order of its files; what people say of their own handles is left to ``people``."""
    found = []
    for change in added(proposal):
        kind = kind_of(change.path)
        if kind and kind not in ("person", "tombstone"):
            tree = tree_at(proposal.root, change.path, kind)
            by = tree.get(_SAID_BY.get(kind, "by"))
            if isinstance(by, str):
                found.append(_act(proposal, change.path, kind, by, tree))
            found += _handed_over(change.path, tree) if kind == "change" else []
    return found


def _handed_over(path: str, tree: Tree) -> Iterator[Act]:
    """Entries of a correction that put a result into somebody's name."""
    for number, entry in enumerate(corrections(tree)):
        if entry.get("pointer") == "/submitted_by" and isinstance(entry.get("after"), str):
            does = Reason("identity.hands_over", submission=path.split("/")[4])
            yield Act(path, pointer("what", number, "after"), "change", str(entry["after"]), does)


def corrections(tree: Tree) -> list[Tree]:
    """The entries of a correction."""
    what = tree.get("what")
    return [entry for entry in what if isinstance(entry, dict)] if isinstance(what, list) else []


def tree_at(root: Path, path: str, kind: str) -> Tree:
    """A file's fields; none where it cannot be read, which is a finding of its own."""
    data, problems = read_bytes(root / path, kind)
    return {} if problems else tree_of(data, path)


def tree_of(data: bytes, path: str) -> Tree:
    """The same of bytes: JSON, YAML, or the front matter of Markdown, by the file's name."""
    text, problems = decode(data)
    tree: JsonValue | object = None
    if problems:
        return {}
    if path.endswith(".json"):
        tree = parse_json(text)[0]
    elif path.endswith(".yaml"):
        tree = parse_yaml(text, 1).tree
    elif (parts := split_front_matter(text)) is not None:
        tree = parse_yaml(parts[0], 2).tree
    return tree if isinstance(tree, dict) else {}


def base_tree(proposal: Proposal, path: str) -> Tree:
    """A file's fields as the base has them; none where it has no such file."""
    return tree_of(proposal.base_bytes(path), path) if path in proposal.base_files else {}


def _act(proposal: Proposal, path: str, kind: str, by: str, tree: Tree) -> Act:
    if kind == "submission":
        return Act(path, "/submitted_by", kind, by, Reason("identity.sends_in", submission=file_id(path)), None, file_id(path))
    if kind == "change":
        return _change(proposal, path, by)
    if kind == "seal":
        return Act(path, "/by", kind, by, Reason("identity.seals", plan=file_id(path)))
    if kind == "carried":
        about = path.split("/")[2]
        does = Reason("identity.confirms" if file_id(path) == "confirmed" else "identity.carries", submission=about)
        return Act(path, "/by", kind, by, does, None, about)
    return _event(proposal, path, by, tree) if kind == "event" else _entry(path, by, tree)


def _change(proposal: Proposal, path: str, by: str) -> Act:
    """Whoever a submission names may correct and retract it; for others it is the maintainers' business."""
    submission = changed_submission(path)
    does = Reason("identity.retracts" if path.endswith("-retraction.json") else "identity.corrects", submission=file_id(submission))
    tree = tree_at(proposal.root, submission, "submission") or base_tree(proposal, submission)
    return Act(path, "/by", "change", by, does, None if by in named_in(tree) else "take down")


def _event(proposal: Proposal, path: str, by: str, tree: Tree) -> Act:
    kind = str(tree.get("kind"))
    does = does_event(kind, f"{str(tree.get('version'))[:20]} of {path.split('/')[1]}")
    authors = set() if kind in OF_EVENT else releasers(proposal, path)
    return Act(path, "/by", "event", by, does, OF_EVENT.get(kind), authors=() if by in authors else tuple(sorted(authors)))


def releasers(proposal: Proposal, path: str) -> set[str]:
    """Who released versions of an event's protocol, as the base knows."""
    folder = path.rpartition("/")[0]
    trees = [base_tree(proposal, other) for other in proposal.base_files if other.rpartition("/")[0] == folder and kind_of(other)]
    return {str(tree.get("by")) for tree in trees if tree.get("kind") == "released"}


def _entry(path: str, by: str, tree: Tree) -> Act:
    _, protocol, _, thread, _ = path.split("/")
    what = {"number": thread[:3], "protocol": protocol}
    if tree.get("kind") == "objection":
        return Act(path, "/by", "objection", by, Reason("identity.objects", **what))
    if tree.get("kind") == "response":
        return Act(path, "/by", "objection", by, Reason("identity.responds", **what))
    duty, does = act_of_outcome(str(tree.get("outcome")), thread[:3], protocol)
    return Act(path, "/by", "objection", by, does, duty)


def in_files(proposal: Proposal, handle: str, leave_out: Collection[str]) -> list[str]:
    """Files of the base in which a handle stands as somebody's, sorted: as text of its own, as owner of a key, or after ``by``."""
    word = re.escape(handle).encode()
    wanted = re.compile(rb'"' + word + rb'[".]|^by:\s*["\']?' + word + rb'["\']?\s*$', re.MULTILINE)
    paths = sorted(path for path in proposal.base_files if path not in leave_out and (kind_of(path) or path.startswith("submissions/")))
    return [path for path in paths if wanted.search(_bytes(proposal, path))]


def _bytes(proposal: Proposal, path: str) -> bytes:
    """A file of the base: from the working tree where that has it still, for git is asked file by file."""
    data, problems = read_bytes(proposal.root / path, "submission")
    return proposal.base_bytes(path) if problems or path in proposal.moved else data


def handles(tree: Tree, lists: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """(what somebody did, handle) of every entry of some lists of a submission: its runs' testers, its preparations' sharpeners."""
    for name, field in lists:
        entries = tree.get(name)
        for entry in entries if isinstance(entries, list) else []:
            handle = entry.get(field) if isinstance(entry, dict) else None
            if isinstance(handle, str):
                yield field, handle


def texts(value: object) -> Iterator[str]:
    """Every text in a tree."""
    waiting = [value]
    while waiting:
        inside = waiting.pop()
        if isinstance(inside, dict):
            waiting += inside.values()
        elif isinstance(inside, list):
            waiting += inside
        elif isinstance(inside, str):
            yield inside
