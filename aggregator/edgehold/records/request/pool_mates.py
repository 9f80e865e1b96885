"""Which submissions new ones are judged beside: all of their pools, and what the same people tested in the same months."""

from __future__ import annotations

import datetime
import re
from collections.abc import Collection
from pathlib import Path

from edgehold.records.layout import Layout
from edgehold.records.model.base import HANDLE_FORM, MONTH_FORM
from edgehold.records.read.neighbours import Wanted, files_of, submission_of, texts
from edgehold.records.read.people_files import names_of, read_people
from edgehold.records.read.session import begin

_HANDLE, _MONTH = re.compile(HANDLE_FORM), re.compile(MONTH_FORM)


def pool_mates(root: Path, there: Layout, new: Collection[str]) -> Wanted:
    """Whether a file is of a submission beside which new ones are judged, by its path and bytes.

    A folder holds pools of one protocol and one origin. How full somebody's month was, over all pools, is asked of the files that name
    a month of the new ones and one of the handles in them, or another handle of the same person.

    Parameters
    ----------
    root, there : the repository and its files.
    new : paths of the new submissions.
    """
    folders = {_pool_of(path) for path in new}
    written = {text for path in files_of(there, new) for text in texts(root / path)}
    names = names_of(read_people(begin(root, datetime.date.today()))[0])
    shown = {names.person(text) for text in written if _HANDLE.fullmatch(text)}
    handles = shown | {handle for handle, name in names.people.items() if name in shown}
    named, months = (_quoted(some) for some in (handles, {text for text in written if _MONTH.fullmatch(text)}))
    return lambda path, data: _pool_of(submission_of(path)) in folders or bool(months.search(data) and named.search(data))


def _pool_of(path: str) -> str:
    return path.rpartition("/")[0]


def _quoted(texts: Collection[str]) -> re.Pattern[bytes]:
    """Any of some texts between quotation marks; nothing where there is none."""
    return re.compile(b'"(?:' + b"|".join(re.escape(text).encode() for text in sorted(texts)) + b')"') if texts else re.compile(b"(?!)")
