"""Rows of texts as a sheet holds them, and what has to be asked about a cell."""

from __future__ import annotations

from dataclasses import dataclass, field

from edgehold.words import Argument, Reason

MOST_BYTES = 1_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 64
LONGEST_CELL = 5_000  # characters; the longest note of a submission
MOST_QUESTIONS = 100
_EDGES = "\t\n\v\f\r \u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u2028\u2029\u202f\u205f\u3000\ufeff"


@dataclass(frozen=True, order=True)
class Question:
    """Something about one cell that only the person who wrote it can say.

    Attributes
    ----------
    sheet : name of the worksheet; empty in a CSV file.
    row, column : 1-based; row 0 is the whole file, column 0 the whole row.
    code : short stable kind, lower case with hyphens.
    message : what is wrong, naming what was found.
    cure : what would be right.
    """

    sheet: str
    row: int
    column: int
    code: str
    message: str
    cure: str

    @property
    def cell(self) -> str:
        """The place as a spreadsheet shows it: B7; "row 7", or "the file"."""
        return cell_name(self.row, self.column)


@dataclass(frozen=True)
class Asked:
    """What must be asked; attributes as in `Question`."""

    code: str
    message: str
    cure: str


class Refused(Exception):
    """A file is refused; the question says why."""

    def __init__(self, asked: Asked, row: int = 0, sheet: str = "") -> None:
        self.question = whole_file(asked, row, sheet)
        super().__init__(asked.message)


@dataclass
class Table:
    """One worksheet, or a whole CSV file.

    Attributes
    ----------
    name : of the worksheet; empty in a CSV file.
    rows : texts, row by row from row 1; empty cells are empty texts.
    odd : by (row, column), what a spreadsheet says of a cell beside its text, so that the text alone must not be trusted.
    said : by (row, column), what was converted before the text was taken.
    dates : by (row, column), the year, month and day of a cell that holds a date.
    comma : whether cells are parted by commas, so that a decimal comma may have parted a number.
    """

    name: str
    rows: list[list[str]]
    odd: dict[tuple[int, int], Asked] = field(default_factory=dict)
    said: dict[tuple[int, int], str] = field(default_factory=dict)
    dates: dict[tuple[int, int], tuple[int, int, int]] = field(default_factory=dict)
    comma: bool = False


def trimmed(text: str) -> str:
    """A text without white space at its ends, as ECMAScript's ``trim`` does it, so that the form reads the same."""
    return text.strip(_EDGES)


def asking(code: str, message: str, cure: str, **arguments: Argument) -> Asked:
    """What must be asked, by the codes of its two patterns."""
    return Asked(code, Reason(message, **arguments), Reason(cure, **arguments))


def whole_file(asked: Asked, row: int = 0, sheet: str = "") -> Question:
    """A question about a file, or one of its rows, before its cells are known."""
    return Question(sheet, row, 0, asked.code, asked.message, asked.cure)


def within_bytes(data: bytes) -> None:
    """Refuse a file that is larger than any sheet."""
    if len(data) > MOST_BYTES:
        raise Refused(asking("file-too-large", "sheets.file_too_large", "sheets.leave_out", bytes=len(data), most=MOST_BYTES))


def too_much(row: int, column: int, text: str) -> Asked | None:
    """What is asked where a sheet holds more than is read."""
    if column > MOST_COLUMNS:
        return asking("too-wide", "sheets.too_wide", "sheets.leave_out_part", most=MOST_COLUMNS)
    if row > MOST_ROWS:
        return asking("too-long", "sheets.too_long", "sheets.leave_out_part", most=MOST_ROWS)
    if len(text) > LONGEST_CELL:
        cell = cell_name(row, column)
        return asking("cell-too-long", "sheets.cell_too_long", "sheets.shorten", cell=cell, signs=len(text), most=LONGEST_CELL)
    return None


def column_name(number: int) -> str:
    """Letters of a column: 1 is A, 27 is AA."""
    name = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def cell_name(row: int, column: int) -> str:
    """A cell as a spreadsheet shows it; a whole row or file in words."""
    if row == 0:
        return "the file"
    return f"row {row}" if column == 0 else f"{column_name(column)}{row}"
