"""A CSV file to rows of texts (RFC 4180), whichever way a spreadsheet wrote it, or the questions that stand in its way.

What parts the cells is known for certain: it follows the first cell, which is the same on every sheet.
``site/pages/assets/form/csv.js`` does the same in the browser.
"""

from __future__ import annotations

import re

from edgehold.records.problem import shown
from edgehold.words import Reason

from .cells import Refused, Table, asking, too_much, within_bytes
from .lines import MARKER

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
SEPARATOR_LINE = re.compile(r"(?i)^\ufeff?sep=[^\r\n](?:\r\n|\r|\n)")  # some spreadsheets put it first, and show no row for it
FIRST_CELL = re.compile(rf'(?i)(?:^|[\r\n])"?{MARKER}"?[ ]*([{"".join(SEPARATORS)}])')
LOOKED_AT = 4_000  # characters in which the first cell must stand
ENCODINGS = (
    ((0xFF, 0xFE, 0, 0), "", "UTF-32"),
    ((0, 0, 0xFE, 0xFF), "", "UTF-32"),
    ((0xEF, 0xBB, 0xBF), "utf-8", "UTF-8"),
    ((0xFF, 0xFE), "utf-16le", "UTF-16"),
    ((0xFE, 0xFF), "utf-16be", "UTF-16"),
)
"""The bytes that a file begins with, the encoding that it is then read in (empty: in none), and its name."""
_BREAK = re.compile(r"\r\n|\r|\n")


def read_csv(data: bytes) -> tuple[Table, list[Reason]]:
    """The table of a CSV file, and what was converted.

    Raises
    ------
    Refused : there is no table in it.
    """
    within_bytes(data)
    text, said = _decoded(data)
    text = SEPARATOR_LINE.sub("", text)
    first = FIRST_CELL.search(text[:LOOKED_AT])
    if first is None:
        raise Refused(asking("not-a-sheet", "sheets.no_first_cell", "sheets.leave_first_cell", marker=shown(MARKER)))
    if first[1] != ",":
        said.append(Reason("sheets.parted_by", mark=SEPARATORS[first[1]]))
    return Table("", _split(text, first[1]), comma=first[1] == ","), said


def _decoded(data: bytes) -> tuple[str, list[Reason]]:
    """The text, and in what it was written where that was not plain UTF-8."""
    found = next((entry for entry in ENCODINGS if data.startswith(bytes(entry[0]))), None)
    mark, encoding, name = found or ((), "utf-8", "UTF-8")
    if not encoding:
        raise Refused(asking("not-text", "sheets.never_read", "sheets.save_as_csv", encoding=name))
    if not found and b"\x00" in data[:200]:
        raise Refused(asking("not-text", "sheets.zero_bytes", "sheets.save_as_csv"))
    data = data[len(mark) :]
    try:
        return data.decode(encoding), [Reason("sheets.byte_order_mark", encoding=name)] if found else []
    except UnicodeDecodeError:
        line = data.decode(encoding, "replace").partition("\ufffd")[0].count("\n") + 1
        raise Refused(asking("not-text", "sheets.not_text", "sheets.save_as_csv", line=line, encoding=name)) from None


def _split(text: str, mark: str) -> list[list[str]]:
    """Rows of cells; a cell that begins with a quotation mark goes to the one that closes it."""
    rows: list[list[str]] = []
    row: list[str] = []
    at = 0
    while at < len(text):
        cell, at = _quoted(text, at, mark, len(rows) + 1) if text[at] == '"' else _bare(text, at, mark)
        row.append(cell)
        asked = too_much(len(rows) + 1, len(row), cell)
        if asked:
            raise Refused(asked, len(rows) + 1)
        if at < len(text) and text[at] == mark:
            at += 1
            if at == len(text):
                row.append("")
        else:
            rows.append(row)
            row = []
            line_end = _BREAK.match(text, at)
            at = line_end.end() if line_end else at
    return [*rows, row] if row else rows


def _bare(text: str, start: int, mark: str) -> tuple[str, int]:
    end = start
    while end < len(text) and text[end] != mark and text[end] not in "\r\n":
        end += 1
    return text[start:end], end


def _quoted(text: str, start: int, mark: str, row: int) -> tuple[str, int]:
    """A quoted cell, and where it ends."""
    at = start + 1
    while True:
        end = text.find('"', at)
        if end < 0:
            raise Refused(asking("bad-quotes", "sheets.never_closed", "sheets.two_marks"), row)
        if text[end + 1 : end + 2] != '"':
            break
        at = end + 2
    after = text[end + 1 : end + 2]
    if after and after not in (mark, "\r", "\n"):
        raise Refused(asking("bad-quotes", "sheets.after_closing", "sheets.two_marks"), row)
    return text[start + 1 : end].replace('""', '"'), end + 1
