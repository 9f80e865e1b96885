"""A CSV file to rows of texts (RFC 4180), whichever way a spreadsheet wrote it, or the questions that stand in its way.

What parts the cells is known for certain: it follows the first cell, which is the same on every sheet.
``site/pages/assets/form/csv.js`` does the same in the browser.
"""

from __future__ import annotations

import re

from .cells import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS, Question, Table, whole_file
from .lines import MARKER

SAVE_AGAIN = 'save it again as "CSV UTF-8"'
_SEPARATOR_LINE = re.compile(r"\A\ufeff?sep=.(?:\r\n|\r|\n)", re.IGNORECASE)  # some spreadsheets put it first, and show no row for it
_FIRST_CELL = re.compile(rf'(?:\A|[\r\n])"?{MARKER}"?[ ]*([,;\t])', re.IGNORECASE)
_LOOKED_AT = 4_000  # characters in which the first cell must stand
_BREAK = re.compile(r"\r\n|\r|\n")


def read_csv(data: bytes) -> tuple[Table | None, list[Question], list[str]]:
    """The table of a CSV file; the questions where there is none; and what was converted."""
    if len(data) > MOST_BYTES:
        return None, [whole_file("file-too-large", f"{len(data)} bytes; at most {MOST_BYTES} are read", "leave out what is no sheet")], []
    text, said = _decoded(data)
    if text is None:
        return None, [whole_file("not-text", said[0], SAVE_AGAIN)], []
    text = _SEPARATOR_LINE.sub("", text)
    first = _FIRST_CELL.search(text[:_LOOKED_AT])
    if first is None:
        cure = "fill in a sheet that was drawn for a protocol, and leave its first cell as it is"
        return None, [whole_file("not-a-sheet", f"no line begins with {MARKER!r}", cure)], []
    rows, question = _split(text, first[1])
    if question:
        return None, [question], []
    if first[1] != ",":
        said.append(f"cells are parted by {'semicolons' if first[1] == ';' else 'tabs'}")
    return Table("", rows, comma=first[1] == ","), [], said


def _decoded(data: bytes) -> tuple[str | None, list[str]]:
    """The text, and in what it was written where that was not plain UTF-8; or None and what stands in the way."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return None, ["the file is UTF-32"]
    for mark, encoding, name in (
        (b"\xef\xbb\xbf", "utf-8", "UTF-8"),
        (b"\xff\xfe", "utf-16-le", "UTF-16"),
        (b"\xfe\xff", "utf-16-be", "UTF-16"),
    ):
        if data.startswith(mark):
            return _strictly(data.removeprefix(mark), encoding, [f"the file is {name} with a byte order mark"])
    if b"\x00" in data[:200]:
        return None, ["the file holds zero bytes: UTF-16 without a byte order mark, or no text at all"]
    return _strictly(data, "utf-8", [])


def _strictly(data: bytes, encoding: str, said: list[str]) -> tuple[str | None, list[str]]:
    try:
        return data.decode(encoding), said
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return None, [f"what stands in line {line} is not {'UTF-8' if encoding == 'utf-8' else 'UTF-16'}"]


def _split(text: str, mark: str) -> tuple[list[list[str]], Question | None]:
    """Rows of cells; a cell that begins with a quotation mark goes to the one that closes it."""
    rows: list[list[str]] = []
    row: list[str] = []
    at = 0
    while at < len(text):
        cell, at, problem = _quoted(text, at, mark) if text[at] == '"' else _bare(text, at, mark)
        row.append(cell)
        question = _bad_quotes(problem, len(rows) + 1) if problem else _too_much(len(rows) + 1, len(row), cell)
        if question:
            return [], question
        if at < len(text) and text[at] == mark:
            at += 1
            if at == len(text):
                row.append("")
        else:
            rows.append(row)
            row = []
            line_end = _BREAK.match(text, at)
            at = line_end.end() if line_end else at
    return [*rows, row] if row else rows, None


def _bare(text: str, start: int, mark: str) -> tuple[str, int, str]:
    end = start
    while end < len(text) and text[end] != mark and text[end] not in "\r\n":
        end += 1
    return text[start:end], end, ""


def _quoted(text: str, start: int, mark: str) -> tuple[str, int, str]:
    """A quoted cell, where it ends, and what is wrong with it."""
    at = start + 1
    while True:
        end = text.find('"', at)
        if end < 0:
            return "", len(text), "a quotation mark is never closed"
        if text[end + 1 : end + 2] != '"':
            break
        at = end + 2
    after = text[end + 1 : end + 2]
    if after and after not in (mark, "\r", "\n"):
        return "", end, "something follows a closing quotation mark"
    return text[start + 1 : end].replace('""', '"'), end + 1, ""


def _bad_quotes(problem: str, row: int) -> Question:
    return whole_file("bad-quotes", problem, "put two quotation marks where one is meant, or save the file again", row)


def _too_much(row: int, column: int, cell: str) -> Question | None:
    if column > MOST_COLUMNS:
        return whole_file("too-wide", f"the sheet has more than {MOST_COLUMNS} columns", "leave out what is no part of the sheet", row)
    if row > MOST_ROWS:
        return whole_file("too-long", f"the sheet has more than {MOST_ROWS} rows", "leave out what is no part of the sheet", row)
    if len(cell) > LONGEST_CELL:
        return whole_file("cell-too-long", f"a cell has {len(cell)} characters; at most {LONGEST_CELL} are read", "shorten it", row)
    return None
