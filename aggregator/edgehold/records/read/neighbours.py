"""Which other submissions a few changed ones must be read with.

Two submissions have something to do with each other only where both name a blade, batch, lot or instrument: facts that may
disagree, or two files that say the same. So the others need not be validated again; their bytes are searched for the
keys. A file that hides letters behind escapes is read in any case.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from pathlib import Path

from pydantic import JsonValue

from edgehold.disk import Unread, bounded
from edgehold.records.layout import Layout, changed_submission

from .json_reading import parse_json
from .opening import LARGEST_BYTES, decode, read_bytes

SUBMISSION = re.compile(r"submissions/(?:measured|simulated)/[^/]+/[^/]+\.json")
CHANGE = re.compile(r"submissions/measured/[^/]+/changes/[^/]+/[^/]+\.json")
_KEY = re.compile(rb'"[a-z0-9-]{2,31}\.[a-z0-9-]{1,31}"')
_ESCAPE = b"\\u"
Wanted = Callable[[str, bytes], bool]


def submission_of(path: str) -> str:
    """The submission that a correction or retraction belongs to; any other path as it is."""
    return changed_submission(path) if CHANGE.fullmatch(path) else path


def with_neighbours(root: Path, there: Layout, touched: Collection[str], beside: Wanted = lambda path, data: False) -> set[str]:
    """Some submissions and those that have something to do with them, their corrections counted in.

    Parameters
    ----------
    root, there : the repository and its files.
    touched : paths of the submissions, relative to the root; one that is not there is none.
    beside : whether another file is wanted too, by its path and bytes.
    """
    files = [*there.submissions, *there.changes]
    own = files_of(there, touched)
    quoted = sorted({key for path in own for key in _KEY.findall(_plain(root / path))})
    owners = sorted({key.partition(b".")[0] + b"." for key in quoted})

    def met(path: str) -> bool:
        data = _bytes(f"{root}/{path}")
        return _names_one(data, owners, quoted) or beside(path, data)

    found = [path for path in files if submission_of(path) not in touched and met(path)]
    return {submission_of(path) for path in (*own, *found)} & set(there.submissions)


def files_of(there: Layout, submissions: Collection[str]) -> list[str]:
    """The files of some submissions, those of their changes among them."""
    return [path for path in (*there.submissions, *there.changes) if submission_of(path) in submissions]


def fields_of(path: Path) -> dict[str, object]:
    """The fields of a submission's file as they stand in it; none where it cannot be read."""
    tree = _tree(path)
    return dict(tree) if isinstance(tree, dict) else {}


def _tree(path: Path) -> JsonValue:
    data, problems = read_bytes(path, "submission")
    text, more = decode(data) if not problems else ("", [])
    return None if problems or more or not text else parse_json(text)[0]


def texts(path: Path) -> Iterator[str]:
    """Every text that stands as a value in a file; none when the file cannot be read, for then it meets no other."""
    waiting = [_tree(path)]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, list):
            waiting += value
        elif isinstance(value, str):
            yield value


def _plain(path: Path) -> bytes:
    """The bytes of a file, or its texts alone where letters hide behind escapes."""
    data = _bytes(str(path))
    return "\n".join(f'"{text}"' for text in texts(path)).encode() if _ESCAPE in data else data


def _bytes(path: str) -> bytes:
    """The bytes of an ordinary file, as many as a submission may have; nothing where there is no such file."""
    found = bounded(path, LARGEST_BYTES["submission"], links=False)
    return b"" if isinstance(found, Unread) else found


def _names_one(data: bytes, owners: list[bytes], quoted: list[bytes]) -> bool:
    if _ESCAPE in data:
        return True
    return any(owner in data for owner in owners) and any(key in data for key in quoted)
