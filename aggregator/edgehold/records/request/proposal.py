"""What somebody proposes: the working tree against another state of the repository.

Only what was changed since both went separate ways counts (git's merge base), so nobody is blamed for what others added to the
base meanwhile.
"""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from edgehold.disk import read_file
from edgehold.errors import InputError
from edgehold.records.schemas import known_site

from .git_reading import ask, names

LINK, MODULE = "120000", "160000"
EXECUTABLE = "100755"
NOTHING = "000000"

_KINDS = {"A": "added", "C": "added", "M": "changed", "D": "deleted", "R": "renamed", "T": "changed in kind"}
_LARGEST_HASHED_BYTES = 5_000_000
_RENAMES_LOOKED_FOR = 400  # renames with other content are looked for among so many files at most


@dataclass(frozen=True, order=True)
class Change:
    """One file that differs.

    Attributes
    ----------
    path : where it is now; of a deleted file, where it was.
    kind : added, changed, mode changed, deleted, renamed or changed in kind.
    before : where it was; empty for an added file.
    mode, mode_before : git's modes as six digits; zeros where there is no file.
    """

    path: str
    kind: str
    before: str
    mode: str
    mode_before: str


@dataclass(frozen=True)
class BaseFile:
    """A file as the base has it: git's mode and object id."""

    mode: str
    object_id: str


@dataclass(frozen=True)
class Proposal:
    """A working tree against a base.

    Attributes
    ----------
    root : the working tree.
    base : commit that the proposal is held against.
    common : newest commit that both have; the base itself when the proposal is up to date.
    changes : what the working tree changes since then, sorted by path.
    base_files : all files of the base, by path.
    moved : paths that the base has changed since then.
    """

    root: Path
    base: str
    common: str
    changes: tuple[Change, ...]
    base_files: dict[str, BaseFile]
    moved: frozenset[str] = frozenset()

    @property
    def behind(self) -> bool:
        """Whether the base has moved on since the proposal left it."""
        return self.base != self.common

    @property
    def site(self) -> str:
        """The address of the published site as the base states it, for a request may state another; empty where none is set."""
        return known_site(self.base_bytes("mkdocs.yml").decode(errors="replace")) if "mkdocs.yml" in self.base_files else ""

    def base_bytes(self, path: str) -> bytes:
        """A file as the base has it."""
        return ask(self.root, "cat-file", "blob", self.base_files[path].object_id)


def read_proposal(root: Path, reference: str) -> Proposal:
    """What the working tree at ``root`` changes against a commit, branch or tag.

    Raises
    ------
    InputError
        ``root`` is not the top of a git repository, or there is no such commit, or no common one.
    RepositoryError
        Git is not there, or took too long.
    """
    _refuse_other_top(root)
    base = _commit(root, reference)
    common = _common(root, base, reference)
    listed = ask(root, "diff", "--raw", "-z", "--no-abbrev", "-M", f"-l{_RENAMES_LOOKED_FOR}", *_DIFF_PLAINLY, common, "--")
    changes = [*_raw_changes(root, listed), *_untracked(root)]
    moved = frozenset() if base == common else frozenset(names(ask(root, "diff", "--name-only", "-z", "--no-renames", common, base, "--")))
    return Proposal(root, base, common, tuple(sorted(changes)), _tree(root, base), moved)


_DIFF_PLAINLY = ("--no-ext-diff", "--no-textconv", "--ignore-submodules=dirty")


def _refuse_other_top(root: Path) -> None:
    top = os.fsdecode(ask(root, "rev-parse", "--show-toplevel").rstrip(b"\n"))
    if Path(top).resolve() != root.resolve():
        raise InputError(f"{str(root)!r} is not the top of a git repository; that is {top!r}")


def _commit(root: Path, reference: str) -> str:
    if not reference or reference.startswith("-"):
        raise InputError(f"{reference!r} names no commit; wanted a commit, branch or tag")
    try:
        found = ask(root, "rev-parse", "--verify", "--quiet", f"{reference}^{{commit}}")
    except InputError:
        raise InputError(f"there is no commit {reference!r} here; fetch it first") from None
    return found.decode().strip()


def _common(root: Path, base: str, reference: str) -> str:
    try:
        return ask(root, "merge-base", base, "HEAD").decode().split()[0]
    except InputError:
        message = f"{reference!r} and the working tree have no commit in common; fetch the whole history (git fetch --unshallow)"
        raise InputError(message) from None


def _raw_changes(root: Path, listed: bytes) -> list[Change]:
    """Git's raw format: ``:mode mode id id letter`` NUL path NUL, and a second path after a rename."""
    parts = iter(listed.split(b"\0"))
    changes = []
    for head in parts:
        if not head:
            continue
        mode_before, mode, id_before, object_id, letter = head.decode().lstrip(":").split(" ")
        before = os.fsdecode(next(parts))
        path = os.fsdecode(next(parts)) if letter[0] in "RC" else before
        kind = _KINDS.get(letter[0], "changed")
        if kind == "changed" and mode != mode_before and _same_content(root, path, id_before, object_id):
            kind = "mode changed"
        changes.append(Change(path, kind, "" if kind == "added" else before, mode, mode_before))
    return changes


def _same_content(root: Path, path: str, id_before: str, object_id: str) -> bool:
    """Whether two objects are one; a file that git has not hashed yet is hashed here, unless it is huge."""
    if object_id.strip("0"):
        return id_before == object_id
    return (root / path).lstat().st_size <= _LARGEST_HASHED_BYTES and id_before == file_id(root / path, len(id_before))


def file_id(path: Path, digits: int) -> str:
    """Git's object id of an ordinary file: the hash of ``blob``, its size and its bytes (git's object format)."""
    data = read_file(path, _LARGEST_HASHED_BYTES)
    hashed = hashlib.sha1 if digits == 40 else hashlib.sha256
    return hashed(b"blob %d\0" % len(data) + data).hexdigest()


def _untracked(root: Path) -> list[Change]:
    """Files that are there and that git has not been told of yet; a folder is a repository of its own."""
    found = names(ask(root, "ls-files", "--others", "--exclude-standard", "-z"))
    return [Change(path.rstrip("/"), "added", "", _mode_on_disk(root / path), NOTHING) for path in found]


def _mode_on_disk(path: Path) -> str:
    mode = path.lstat().st_mode
    if stat.S_ISDIR(mode):
        return MODULE
    if stat.S_ISLNK(mode):
        return LINK
    return EXECUTABLE if mode & stat.S_IXUSR else "100644"


def _tree(root: Path, commit: str) -> dict[str, BaseFile]:
    listed = ask(root, "ls-tree", "-r", "-z", "--full-tree", commit)
    files = {}
    for line in listed.split(b"\0"):
        if line:
            facts, _, name = line.partition(b"\t")
            mode, _, object_id = facts.decode().split(" ")
            files[os.fsdecode(name)] = BaseFile(mode, object_id)
    return files
