"""What one request may change: the record that lasts is added to and never rewritten.

Paths alone decide here. A file is *data* (what people write: protocols, submissions, registers) or *code* (all else); one request
changes one or the other, so that the base's code can check the data. The demonstration goes with either: it is made by the code
and lies among the data.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator

from edgehold.counted import counted
from edgehold.records.layout import SIDE_FILES, readable
from edgehold.records.problem import Problem
from edgehold.words import Reason

from .proposal import EXECUTABLE, LINK, MODULE, Change, Proposal

LARGEST_PROPOSED_BYTES = 2_000_000  # twice the largest file of any kind that the check reads
DEMONSTRATION = "submissions/simulated/"
TOMBSTONES = "submissions/tombstones/"

_REGISTER = re.compile(r"aggregator/registers/[a-z0-9_-]{1,60}\.json")
_LASTING = {
    re.compile(r"submissions/measured/.+"): Reason("requests.put_back_result"),
    re.compile(rf"{TOMBSTONES}.+"): Reason("requests.put_back_tombstone"),
    re.compile(r"submissions/plans/.+"): Reason("requests.put_back_seal"),
    re.compile(r"submissions/carried/.+"): Reason("identity.put_back_carried"),
    re.compile(r"protocols/[^/]+/[0-9.]+\.md"): Reason("requests.put_back_version"),
    re.compile(r"protocols/[^/]+/events/.+"): Reason("requests.put_back_event"),
    re.compile(r"protocols/[^/]+/objections/.+"): Reason("requests.put_back_entry"),
}
_OF_SUBMISSION = re.compile(
    r"submissions/measured/[^/]+/(?:changes/(?P<changed>[^/]+)/[^/]+|(?P<id>[^/]+)\.json)"
    r"|submissions/carried/(?P<carried>[^/]+)/[^/]+"
)
_ADDED_CURES = {"changed": "record-changed", "changed in kind": "record-changed", "deleted": "record-deleted", "renamed": "record-renamed"}

PathProblem = tuple[str, Problem]


def is_data(path: str) -> bool:
    """Whether a file is one that people write about cutting, not part of the program."""
    return path.startswith(("protocols/", "submissions/")) or is_register(path)


def is_register(path: str) -> bool:
    """Whether a file is a register of steels, classes of steels, grits or units."""
    return _REGISTER.fullmatch(path) is not None


def may_change(path: str, free: Collection[str]) -> bool:
    """Whether a file that the base has may be changed, moved or taken out.

    Parameters
    ----------
    path : where the base has it.
    free : those of the files that last which may all the same: protocol versions that the base has not released, and submissions that
        are taken out and leave a tombstone.
    """
    return _lasting_cure(path) is None or path in free


def submission_id(path: str) -> str | None:
    """Id of the measured submission that a file is, is a change of or says who carried in; None for every other file."""
    found = _OF_SUBMISSION.fullmatch(path)
    return found and (found["changed"] or found["id"] or found["carried"])


def _lasting_cure(path: str) -> str | None:
    if path.rpartition("/")[2] in SIDE_FILES:
        return None
    return next((cure for pattern, cure in _LASTING.items() if pattern.fullmatch(path)), None)


def request_problems(proposal: Proposal, free: Collection[str]) -> list[PathProblem]:
    """Everything that paths, modes and sizes say; see `may_change` for ``free``."""
    changes = proposal.changes
    return [
        *_mixture(changes),
        *_demonstration(changes),
        *(found for change in changes for found in _one_change(proposal, change, free)),
        *_collisions(proposal),
    ]


def _at(path: str, code: str, message: str, cure: str = "") -> PathProblem:
    return readable(path), Problem("", code, message, cure, line=1)


def _mixture(changes: Iterable[Change]) -> Iterator[PathProblem]:
    touched = sorted({path for change in changes for path in (change.path, change.before) if path})
    data = [path for path in touched if is_data(path) and not path.startswith(DEMONSTRATION)]
    code = [path for path in touched if not is_data(path)]
    if data and code:
        together = Reason("requests.data_and_code", files=counted(len(data), "file"), code_files=counted(len(code), "file"))
        message = f"{together}: {_few(data)}; {_few(code)}"
        yield _at(code[0], "data-and-code", message)


def _few(paths: list[str]) -> str:
    shown = ", ".join(readable(path) for path in paths[:3])
    return f"{shown} …" if len(paths) > 3 else shown


def _demonstration(changes: Iterable[Change]) -> Iterator[PathProblem]:
    touched = sorted(change.path for change in changes if change.path.startswith(DEMONSTRATION))
    if touched:
        yield _at(touched[0], "demonstration-changed", Reason("requests.demonstration_changed", files=counted(len(touched), "file")))


def _one_change(proposal: Proposal, change: Change, free: Collection[str]) -> Iterator[PathProblem]:
    if change.mode == LINK:
        yield _at(change.path, "link-refused", Reason("requests.symbolic_link"))
    elif change.mode == MODULE:
        yield _at(change.path, "submodule-refused", Reason("requests.repository_inside"))
    elif change.mode == EXECUTABLE and change.mode != change.mode_before and is_data(change.path):
        yield _at(change.path, "executable-bit", Reason("requests.marked_as_program"))
    yield from _size(proposal, change)
    if change.kind in _ADDED_CURES and not may_change(change.before, free):
        yield _rewritten(change)
    elif change.kind == "deleted" and change.path in free and submission_id(change.path):
        yield _at(change.path, "taken-out", Reason("requests.submission_taken_out"))
    elif change.path in proposal.moved and is_data(change.path) and _differs(proposal, change):
        if change.kind == "added" and not is_register(change.path):
            numbered = "/objections/" in change.path or "/events/" in change.path
            cure = Reason("requests.next_free_number") if numbered else ""
            yield _at(change.path, "path-taken", Reason("requests.path_taken"), cure)
        else:
            yield _at(change.path, "changed-twice", Reason("requests.changed_twice"))


def _size(proposal: Proposal, change: Change) -> Iterator[PathProblem]:
    place = proposal.root / change.path
    if change.mode in (LINK, MODULE) or not place.is_file():
        return
    size = place.lstat().st_size
    if size > LARGEST_PROPOSED_BYTES:
        yield _at(change.path, "file-too-large", Reason("requests.bytes_added", size=size, most=LARGEST_PROPOSED_BYTES))


def _rewritten(change: Change) -> PathProblem:
    what = {
        "deleted": Reason("requests.file_taken_out"),
        "renamed": Reason("requests.file_moved", before=readable(change.before)),
    }.get(change.kind, Reason("requests.file_changed"))
    return _at(change.path, _ADDED_CURES[change.kind], what, _lasting_cure(change.before) or "")


def _differs(proposal: Proposal, change: Change) -> bool:
    """Whether base and request both have a file of this name, and not the same one."""
    place = proposal.root / change.path
    if change.path not in proposal.base_files or change.mode in (LINK, MODULE) or not place.is_file():
        return False
    return place.lstat().st_size > LARGEST_PROPOSED_BYTES or place.read_bytes() != proposal.base_bytes(change.path)


def _collisions(proposal: Proposal) -> Iterator[PathProblem]:
    """Names that some file systems take for one: alike but for capitals, or for how accents are written."""
    gone = {change.before for change in proposal.changes if change.kind in ("deleted", "renamed")}
    new = {change.path for change in proposal.changes if change.kind in ("added", "renamed")}
    if not new:
        return
    known: dict[str, str] = {}
    for path in sorted(proposal.base_files.keys() - gone - new) + sorted(new):
        for part in _prefixes(path):
            other = known.setdefault(_folded(part), part)
            if other != part and path in new:
                yield _at(path, "ids-differ-in-case", Reason("requests.capitals_only", part=readable(part), other=readable(other)))
                break


def _prefixes(path: str) -> list[str]:
    parts = path.split("/")
    return ["/".join(parts[:count]) for count in range(1, len(parts) + 1)]


def _folded(path: str) -> str:
    return unicodedata.normalize("NFC", path).casefold()


def identity_paths(path: str, protocols: Iterable[str]) -> set[str]:
    """Where a file of this identity may have lain: a measured submission under any protocol, another record at its own place.

    Files of the demonstration have none: they are drawn again and again.
    """
    if _lasting_cure(path) is None:
        return set()
    name = path.rpartition("/")[2]
    elsewhere = protocols if re.fullmatch(r"submissions/measured/[^/]+/[^/]+", path) else ()
    return {path, *(f"submissions/measured/{protocol}/{name}" for protocol in elsewhere)}


def reuse_problem(path: str, earlier: str) -> PathProblem:
    """An id, version or number that had another meaning once and is gone."""
    return _at(path, "id-reused", Reason("requests.id_reused", earlier=readable(earlier)))
