"""Write a correction or retraction of a measured submission: shown, checked as the repository would be with it, and kept only if sound.

Only a file is added. The submission's own file is read and never touched.
"""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path

from pydantic import JsonValue

from edgehold.errors import ERROR, Finding, InputError
from edgehold.records.layout import file_id
from edgehold.records.model.changes import ABSENT, CHANGE_FORMAT, Correction, Retraction
from edgehold.records.read.change_files import changes_of, corrected, json_tree, read_changes
from edgehold.records.read.form import read_record
from edgehold.records.read.json_reading import parse_json
from edgehold.records.read.json_values import NoSuchPlace, put, same, value_at
from edgehold.records.read.opening import SURROGATE
from edgehold.records.read.placing import put_if_sound
from edgehold.records.read.session import Session, begin, folder_of
from edgehold.records.report import harmless
from edgehold.words import Reason

MOST_CHANGES = 99  # of one submission: their numbers have two digits


@dataclass(frozen=True)
class Written:
    """A change that was written, or would have been.

    Attributes
    ----------
    path : relative to the root.
    record : what the file says.
    findings : errors that it would bring; where there are any, nothing was written. Else warnings in it.
    """

    path: str
    record: Correction | Retraction
    findings: tuple[Finding, ...]

    @property
    def kept(self) -> bool:
        """Whether the file stands."""
        return not any(f.severity == ERROR for f in self.findings)


def correct(root: Path, name: str, wanted: list[tuple[str, JsonValue]], *, why: str, by: str, month: str | None = None) -> Written:
    """Correct a measured submission.

    Parameters
    ----------
    root : the repository's folder.
    name : the submission's id.
    wanted : (JSON pointer, new value) in the order in which they apply; ``ABSENT`` takes a value out.
    why, by, month : the reason, the handle of whoever corrects, and when; None: this month.

    Raises
    ------
    InputError
        There is no such submission, or it is retracted; a pointer leads nowhere or nothing would change; a text is out of form.
    RepositoryError
        As `load_repository`.
    """
    _refuse_half_characters(why, by, *(pointer for pointer, _ in wanted))
    session, path, changes = _open(root, name)
    tree = _as_it_counts(session, path, changes)
    what: list[JsonValue] = []
    for pointer, value in wanted:
        before = _before(tree, pointer)
        if same(before, value):
            raise InputError(f"{pointer} is {json.dumps(before, ensure_ascii=False)} already; wanted another value")
        what.append({"pointer": pointer, "before": before, "after": value})
        put(tree, pointer, value)
    return _written(session, path, len(changes) + 1, Correction, {"what": what, **_said(session, name, why, by, month)})


def retract(root: Path, name: str, *, why: str, by: str, month: str | None = None) -> Written:
    """Take a measured submission back: it stays readable, and counts nowhere. See `correct` for the parameters and what is raised."""
    _refuse_half_characters(why, by)
    session, path, changes = _open(root, name)
    return _written(session, path, len(changes) + 1, Retraction, _said(session, name, why, by, month))


def _refuse_half_characters(*texts: str) -> None:
    """What a terminal hands over that is no text: Python keeps such bytes as halves of surrogate pairs."""
    for text in texts:
        if SURROGATE.search(text):
            raise InputError(f"{harmless(text)!r} holds bytes that are no text; wanted UTF-8")


def _open(root: Path, name: str) -> tuple[Session, str, list[str]]:
    """The submission's path, and those of its changes."""
    session = begin(root, datetime.date.today())
    found = [path for path in session.layout.submissions if file_id(path) == name]
    if not found:
        raise InputError(f"there is no submission {name!r}; wanted the id of one under submissions/measured")
    if found[0].startswith("submissions/simulated/"):
        raise InputError(f"{name!r} belongs to the demonstration, which is drawn from its seed; wanted a measured submission")
    changes = changes_of(session.layout).get(found[0], [])
    if any(path.endswith("-retraction.json") for path in changes):
        raise InputError(f"{name!r} is retracted already, and stays as it is")
    if len(changes) >= MOST_CHANGES:
        raise InputError(f"{name!r} has {len(changes)} changes; retract it, and send it in again under another id")
    return session, found[0], changes


def _as_it_counts(session: Session, path: str, changes: list[str]) -> JsonValue:
    _, tree = json_tree(session, path, "submission")
    read = read_changes(session, changes)
    if tree is None or read is None:
        raise InputError(f"{path} or a change of it cannot be read; run 'edgehold check' and put that right first")
    tree, problems = corrected(tree, read)
    if problems:
        raise InputError(f"{problems[0][0]} does not fit; run 'edgehold check' and put that right first")
    return tree


def _before(tree: JsonValue, pointer: str) -> JsonValue:
    if not pointer.startswith("/"):
        raise InputError(f"{pointer!r} is no place in the file; wanted a JSON pointer such as /runs/0/humidity_percent")
    try:
        return value_at(tree, pointer)
    except NoSuchPlace as error:
        raise InputError(f"{pointer!r} leads nowhere: {error}") from None


def _said(session: Session, name: str, why: str, by: str, month: str | None) -> dict[str, JsonValue]:
    return {"submission": name, "why": why, "by": by, "month": month or f"{session.today:%Y-%m}"}


def _written(session: Session, path: str, number: int, model: type[Correction | Retraction], content: dict[str, JsonValue]) -> Written:
    kind = model.__name__.lower()
    tree = {"format": CHANGE_FORMAT, "kind": kind, **content}
    record, problems = read_record(model, tree)
    if record is None:
        raise InputError(f"{problems[0].pointer}: {problems[0].message}; {problems[0].cure or 'see the schema of changes'}")
    place = f"{folder_of(path)}/changes/{file_id(path)}/{number:02d}-{kind}.json"
    text = json.dumps(tree, indent=2, ensure_ascii=False) + "\n"
    return Written(place, record, put_if_sound(session.root, place, text))


def change_text(written: Written) -> str:
    """What the change does, value by value, for a terminal."""
    lines = [f"{written.record.kind} of {written.record.submission}, {written.record.month}, by {written.record.by}: {written.record.why}"]
    if isinstance(written.record, Correction):
        lines += [f"  {e.pointer}: {_value(e.before)} -> {_value(e.after)}" for e in written.record.what]
    else:
        lines.append(f"  {Reason('reading.retraction_told')}")
    return "\n".join(map(harmless, lines))


def given_value(text: str) -> JsonValue:
    """A value as somebody typed it: JSON where it is JSON, else the text itself.

    Raises
    ------
    InputError
        The text holds bytes that are no UTF-8.
    """
    _refuse_half_characters(text)
    value, problems = parse_json(text)
    return text if problems else value


def _value(value: JsonValue) -> str:
    return "nothing" if same(value, ABSENT) else json.dumps(value, ensure_ascii=False)
