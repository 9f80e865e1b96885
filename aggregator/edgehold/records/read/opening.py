"""Open a file that a stranger wrote: every limit is applied before a byte is parsed."""

from __future__ import annotations

import re
from pathlib import Path

from edgehold.disk import Unread, bounded
from edgehold.records.problem import Problem
from edgehold.words import Reason

LARGEST_BYTES = {
    "submission": 1_000_000,
    "change": 1_000_000,
    "tombstone": 5_000,
    "person": 5_000,
    "roles": 60_000,
    "carried": 5_000,
    "seal": 5_000,
    "protocol": 300_000,
    "event": 20_000,
    "objection": 60_000,
    "figure": 500_000,
}
"""Largest file of each kind. 500 runs with eight readings of three values are about 600,000 bytes."""

_MARKS = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_DIRECTION = re.compile("[\u202a-\u202e\u2066-\u2069]")
SURROGATE = re.compile("[\ud800-\udfff]")
_PLAIN = bytes([*b"\t\n\r", *range(0x20, 0x7F)])
"""All of ASCII that a text may hold."""
UNFIT_CHARACTERS = (
    {"code": "control-character", "pattern": _CONTROL.pattern},
    {"code": "direction-override", "pattern": _DIRECTION.pattern},
    {"code": "lone-surrogate", "pattern": SURROGATE.pattern},
)
"""What no text may hold, as patterns of one character, with the code of the finding."""


def read_bytes(path: Path, kind: str) -> tuple[bytes, list[Problem]]:
    """The bytes of an ordinary file of acceptable size; otherwise no bytes and the problem."""
    found = bounded(path, LARGEST_BYTES[kind], links=False)
    return (b"", [_problem(found, LARGEST_BYTES[kind])]) if isinstance(found, Unread) else (found, [])


def _problem(why: Unread, largest: int) -> Problem:
    if why.code == "link":
        return Problem("", "link-refused", Reason("reading.symbolic_link"), line=1)
    if why.code == "not_ordinary":
        return Problem("", "not-a-file", Reason("reading.not_a_file"), line=1)
    if why.code == "too_large":
        return Problem("", "file-too-large", Reason("reading.bytes_read", st_size=why.size, largest=largest), line=1)
    return Problem("", "cannot-be-opened", Reason("reading.cannot_be_opened", strerror=why.told), line=1)


def decode(data: bytes) -> tuple[str, list[Problem]]:
    """The text of UTF-8 bytes; otherwise no text and the problems, the first of each kind with its line."""
    if data.startswith(b"\xef\xbb\xbf"):
        return "", [Problem("", "byte-order-mark", Reason("reading.byte_order_mark"), line=1)]
    for mark, name in _MARKS:
        if data.startswith(mark):
            return "", [Problem("", "not-utf8", Reason("reading.encoded_otherwise", name=name), line=1)]
    if data[:4].count(0) >= 2 or (len(data) >= 2 and data[:2].count(0) == 1):
        return "", [Problem("", "not-utf8", Reason("reading.looks_like_utf_16"), line=1)]
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return "", [Problem("", "not-utf8", Reason("reading.byte_not_utf8", start=error.start), line=line)]
    problems = unfit_characters(text)
    return ("" if problems else text), problems


def unfit_characters(text: str, pointer: str = "", line: int | None = None) -> list[Problem]:
    """Control and direction-changing characters in a text, the first of each kind."""
    if text.isascii() and not text.encode().translate(None, _PLAIN):
        return []
    problems = []
    for pattern, code, what in (
        (_CONTROL, "control-character", "control character"),
        (_DIRECTION, "direction-override", Reason("reading.reversing_character")),
    ):
        if found := pattern.search(text):
            place = text.count("\n", 0, found.start()) + 1 if line is None else line
            problems.append(Problem(pointer, code, f"{what} U+{ord(found[0]):04X}", line=place))
    return problems
