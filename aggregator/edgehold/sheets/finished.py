"""A finished record that somebody brings instead of a sheet: the JSON file itself, or the block of letters that packs it."""

from __future__ import annotations

import datetime

from edgehold.errors import ERROR, Finding, WrittenError
from edgehold.records.canonical import Repository
from edgehold.records.read.alone import read_alone
from edgehold.records.read.json_reading import parse_json
from edgehold.records.read.letters import from_letters, holds_letters
from edgehold.records.read.opening import decode
from edgehold.words import code_of

from .cells import Asked, Question, Refused, whole_file, within_bytes
from .csv_table import FIRST_CELL, LOOKED_AT
from .intake import Intake

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def is_finished(data: bytes) -> bool:
    """Whether a file is a record, or holds one in letters, and no sheet."""
    text = _loosely(data)
    return text.lstrip("\ufeff \t\r\n").startswith("{") or (holds_letters(text) and not FIRST_CELL.search(text[:LOOKED_AT]))


def finished_from_bytes(data: bytes, repository: Repository, today: datetime.date) -> Intake:
    """The record with what the check says of it; its text stays as it is, to the byte.

    Parameters
    ----------
    data : the file, of which `is_finished` says yes.
    repository : where protocols, steels and seals are.
    today : what "in the future" is measured from.
    """
    try:
        within_bytes(data)
    except Refused as refused:
        return Intake(None, (refused.question,))
    text = _loosely(data)
    if holds_letters(text):
        try:
            data = from_letters(text)
        except WrittenError as error:
            code = "block-" + code_of(error.problem).partition(".")[2].replace("_", "-")
            return Intake(None, (whole_file(Asked(code, error.problem, error.cure)),))
    data = data.removeprefix(_BYTE_ORDER_MARK)
    _, findings = read_alone(data, "", repository, today)
    questions = tuple(_question(finding) for finding in findings if finding.severity == ERROR)
    remarks = tuple((_place(finding), finding.message) for finding in findings if finding.severity != ERROR)
    written = decode(data)[0]
    tree = parse_json(written)[0] if written else None
    submission: dict[str, object] | None = {**tree} if isinstance(tree, dict) else None
    return Intake(submission, questions, remarks, text=written)


def _loosely(data: bytes) -> str:
    """The text in whatever was written with an alphabet of one or two bytes; what is no letter of a block does not matter."""
    return data.decode("utf-8", "replace").replace("\x00", "")


def _question(finding: Finding) -> Question:
    message = f"{_place(finding)}: {finding.message}" if finding.pointer else finding.message
    return Question("", 0, 0, finding.code, message, finding.cure)


def _place(finding: Finding) -> str:
    return finding.pointer or "the file"
