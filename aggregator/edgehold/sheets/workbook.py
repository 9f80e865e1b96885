"""An XLSX file to tables of texts (ISO/IEC 29500), or the questions that stand in its way.

Read with the standard library only, so that every limit is applied to the archive's directory before a part of it is unpacked, and
no part may define entities of its own. Formulas are never computed, links never followed.
"""

from __future__ import annotations

import datetime
import io
import math
import posixpath
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

from .cells import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS, Odd, Question, Table, cell_name, trimmed, whole_file

MOST_PARTS = 200
MOST_UNPACKED = 10_000_000  # bytes of all parts together, as the directory states them
_SAVE_AGAIN = "open it in a spreadsheet and save it again as XLSX, or as CSV"
_DATE_FORMATS = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}  # ISO/IEC 29500-1, 18.8.30
_PERCENT_FORMATS = {9, 10}
_NOT_A_CODE = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.')
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, ElementTree.ParseError, KeyError, ValueError, IndexError, OSError, EOFError, RuntimeError,
    OverflowError,
)  # fmt: skip


class _Refused(Exception):
    """The file is refused; the question says why."""

    def __init__(self, code: str, message: str, cure: str) -> None:
        self.question = whole_file(code, message, cure)
        super().__init__(message)


@dataclass(frozen=True)
class _Book:
    """What all worksheets share: texts, what kind of number each style shows, and how days are counted."""

    texts: list[str]
    styles: list[str]
    first_day: datetime.date


def read_xlsx(data: bytes) -> tuple[list[Table], list[Question], list[str]]:
    """The worksheets in which anything stands; the questions where the file is refused; and what is said about it."""
    if len(data) > MOST_BYTES:
        return [], [whole_file("file-too-large", f"{len(data)} bytes; at most {MOST_BYTES} are read", "leave out what is no sheet")], []
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _within_limits(archive)
            tables = [table for table in _tables(archive) if any(map(any, table.rows))]
            commented = any("/comments" in name.casefold() or "/threadedcomments" in name.casefold() for name in archive.namelist())
    except _Refused as refused:
        return [], [refused.question], []
    except _DAMAGED as error:
        return [], [whole_file("not-a-workbook", f"the file cannot be read as XLSX ({type(error).__name__})", _SAVE_AGAIN)], []
    return tables, [], ["comments beside cells are not read: what matters belongs into a note"] if commented else []


def _within_limits(archive: zipfile.ZipFile) -> None:
    """Look at the directory only; nothing is unpacked yet."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    size = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_PARTS:
        raise _Refused("too-many-parts", f"the archive has {len(entries)} parts; at most {MOST_PARTS} are read", _SAVE_AGAIN)
    if size > MOST_UNPACKED:
        raise _Refused("too-large-unpacked", f"the archive unpacks to {size} bytes; at most {MOST_UNPACKED} are read", _SAVE_AGAIN)
    if len(set(names)) < len(names):
        raise _Refused("not-a-workbook", "the archive holds two parts of the same name", _SAVE_AGAIN)
    if any(entry.flag_bits & 1 for entry in entries):
        raise _Refused("protected", "the file is protected by a password", "take the password away")
    lower = [name.casefold() for name in names]
    if any("externallinks/" in name for name in lower):
        raise _Refused(
            "external-link", "the file takes values from another file", "copy those cells and paste their values; no links are read"
        )
    if any(name.endswith(("vbaproject.bin", "vbadata.xml")) for name in lower):
        raise _Refused("macros", "the file holds a program (macros)", "save it as XLSX without macros; none are read")


def _tables(archive: zipfile.ZipFile) -> Iterator[Table]:
    workbook = _office_document(archive)
    root = _part(archive, workbook)
    related = _relations(archive, workbook)
    properties = next(_all(root, "workbookPr"), None)
    old = properties is not None and properties.get("date1904") in ("1", "true")
    book = _Book(_texts(archive, related), _styles(archive, related), datetime.date(1904, 1, 1) if old else datetime.date(1899, 12, 30))
    for sheet in _all(root, "sheet"):
        identity = next((value for name, value in sheet.attrib.items() if name.endswith("}id")), "")
        yield _table(_part(archive, related[identity][1]), sheet.get("name", "")[:60], book)


def _office_document(archive: zipfile.ZipFile) -> str:
    for kind, target in _relations(archive, "").values():
        if kind == "officeDocument":
            return target
    raise _Refused("not-a-workbook", "the archive holds no workbook", "save it as XLSX, or as CSV")


def _relations(archive: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Kind and target of every relation of a part, by id; links that lead out of the file are left alone."""
    folder, name = posixpath.split(part)
    place = posixpath.join(folder, "_rels", f"{name}.rels")
    found = {}
    for relation in _all(_part(archive, place), "Relationship") if place in archive.namelist() else ():
        kind = relation.get("Type", "").rpartition("/")[2]
        if kind == "externalLink":
            raise _Refused("external-link", "the file takes values from another file", "copy those cells and paste their values")
        if relation.get("TargetMode") != "External":
            target = relation.get("Target", "")
            target = target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join(folder, target))
            found[relation.get("Id", "")] = (kind, target)
    return found


def _part(archive: zipfile.ZipFile, name: str) -> ElementTree.Element:
    """A part as a tree: UTF-8 without a document type, so that no entity can be defined."""
    data = archive.read(name)
    head = data[:200]
    declared = re.search(rb"encoding\s*=\s*[\"']([^\"']*)", head)
    if b"\x00" in head or (declared and declared[1].lower() not in (b"utf-8", b"us-ascii")) or b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise _Refused("not-a-workbook", "a part of the file is not plain XML in UTF-8", _SAVE_AGAIN)
    return ElementTree.fromstring(data)


def _all(root: ElementTree.Element, name: str) -> Iterator[ElementTree.Element]:
    """Elements of a name, whichever of the standard's namespaces they are in."""
    return (element for element in root.iter() if element.tag.rpartition("}")[2] == name)


def _related_part(archive: zipfile.ZipFile, related: dict[str, tuple[str, str]], kind: str) -> ElementTree.Element | None:
    target = next((target for found, target in related.values() if found == kind), None)
    return None if target is None else _part(archive, target)


def _texts(archive: zipfile.ZipFile, related: dict[str, tuple[str, str]]) -> list[str]:
    root = _related_part(archive, related, "sharedStrings")
    return [] if root is None else [_text_of(item) for item in root]


def _text_of(item: ElementTree.Element) -> str:
    """The text of a cell in all its runs, without reading aids."""
    found = []
    for child in item:
        name = child.tag.rpartition("}")[2]
        if name == "t":
            found.append(child.text or "")
        elif name == "r":
            found += [t.text or "" for t in _all(child, "t")]
    return "".join(found)


def _styles(archive: zipfile.ZipFile, related: dict[str, tuple[str, str]]) -> list[str]:
    """What each cell style makes of a number: ``date``, ``percent`` or nothing."""
    root = _related_part(archive, related, "styles")
    if root is None:
        return []
    codes = {form.get("numFmtId"): form.get("formatCode", "") for form in _all(root, "numFmt")}
    formats = next(_all(root, "cellXfs"), ())
    return [_shows(form.get("numFmtId", "0"), codes) for form in formats]


def _shows(identity: str, codes: dict[str | None, str]) -> str:
    code = _NOT_A_CODE.sub("", codes.get(identity, "")).casefold()
    if "%" in code or (identity.isdigit() and int(identity) in _PERCENT_FORMATS and identity not in codes):
        return "percent"
    known = identity.isdigit() and int(identity) in _DATE_FORMATS and identity not in codes
    return "date" if known or (code != "general" and re.search("[dmyhs]", code)) else ""


def _table(root: ElementTree.Element, name: str, book: _Book) -> Table:
    table = Table(name, [])
    hidden = [(int(c.get("min", "1")), int(c.get("max", "1"))) for c in _all(root, "col") if c.get("hidden") in ("1", "true")]
    number = 0
    for row in _all(root, "row"):
        number = int(row.get("r", number + 1))
        column = 0
        for cell in row:
            column = _column(cell, number, column)
            _read_cell(table, number, column, cell, book)
            if _at(table, number, column) and (row.get("hidden") in ("1", "true") or any(low <= column <= high for low, high in hidden)):
                table.odd[(number, column)] = Odd(
                    "hidden", f"{cell_name(number, column)} is hidden", "show it, or delete it if it does not count"
                )
    _merged(table, root)
    return table


def _column(cell: ElementTree.Element, row: int, before: int) -> int:
    """The column of a cell; a cell that does not say stands beside the one before."""
    reference = cell.get("r")
    if reference is None:
        return before + 1
    found = _REFERENCE.fullmatch(reference)
    column = _column_number(found[1]) if found else 0
    if found is None or int(found[2]) != row or column <= before:
        raise ValueError(f"cell {reference[:20]} in row {row}")
    return column


def _read_cell(table: Table, row: int, column: int, cell: ElementTree.Element, book: _Book) -> None:
    parts = {child.tag.rpartition("}")[2]: child for child in cell}
    kind, shown = cell.get("t", "n"), (parts["v"].text or "") if "v" in parts else ""
    if "f" in parts and not shown:
        _put(table, row, column, f"={parts['f'].text or ''}")
        table.odd[(row, column)] = Odd("formula", "a formula without the value it gives", "type the value itself")
        return
    if "f" in parts:
        table.said[(row, column)] = "computed by a formula; the value it showed last is taken"
    if kind == "s":
        _put(table, row, column, book.texts[int(shown)])
    elif kind == "inlineStr":
        _put(table, row, column, _text_of(parts["is"]) if "is" in parts else "")
    elif kind == "e":
        _put(table, row, column, shown)
        table.odd[(row, column)] = Odd("formula", f"the cell shows the error {shown[:20]}", "type the value itself")
    elif kind == "n" and shown:
        style = int(cell.get("s", "0"))
        _put_number(table, row, column, float(shown), book.styles[style] if style < len(book.styles) else "", book.first_day)
    elif shown:
        _put(table, row, column, {"0": "FALSE", "1": "TRUE"}.get(shown, shown) if kind == "b" else shown)


def _put_number(table: Table, row: int, column: int, value: float, shows: str, first_day: datetime.date) -> None:
    if not math.isfinite(value):
        raise ValueError(f"{value} in a cell")
    if shows == "date":
        _put_date(table, row, column, value, first_day)
    elif shows == "percent":
        _put(table, row, column, f"{_digits(float(f'{value * 100:.12g}'))}%")
    else:
        _put(table, row, column, _digits(value))


def _digits(value: float) -> str:
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _put_date(table: Table, row: int, column: int, value: float, first_day: datetime.date) -> None:
    """A date, kept for whoever asks for one; a time of day is none."""
    try:
        day = first_day + datetime.timedelta(days=math.floor(value))
    except OverflowError:
        day = first_day
    if value < 1 or day == first_day:
        _put(table, row, column, repr(value))
        table.odd[(row, column)] = Odd(
            "date", "the cell holds a time or a date out of range", "type what was meant again, in a cell marked as text"
        )
        return
    _put(table, row, column, day.isoformat())
    table.dates[(row, column)] = (day.year, day.month, day.day)


def _put(table: Table, row: int, column: int, text: str) -> None:
    if not trimmed(text):
        return
    if column > MOST_COLUMNS:
        raise _Refused("too-wide", f"{table.name} has more than {MOST_COLUMNS} columns", "leave out what is no part of the sheet")
    if row > MOST_ROWS:
        raise _Refused("too-long", f"{table.name} has more than {MOST_ROWS} rows", "leave out what is no part of the sheet")
    if len(text) > LONGEST_CELL:
        raise _Refused(
            "cell-too-long", f"{cell_name(row, column)} has {len(text)} characters; at most {LONGEST_CELL} are read", "shorten it"
        )
    while len(table.rows) < row:
        table.rows.append([])
    line = table.rows[row - 1]
    line += [""] * (column - len(line))
    line[column - 1] = text


def _at(table: Table, row: int, column: int) -> str:
    line = table.rows[row - 1] if row <= len(table.rows) else []
    return line[column - 1] if column <= len(line) else ""


def _merged(table: Table, root: ElementTree.Element) -> None:
    for merge in _all(root, "mergeCell"):
        reference = merge.get("ref", "")
        corner = _REFERENCE.match(reference)
        if corner is None:
            raise ValueError(f"merged cells {reference!r}")
        place = (int(corner[2]), _column_number(corner[1]))
        if ":" in reference and _at(table, *place):
            table.odd[place] = Odd(
                "merged",
                f"the cells {reference[:20]} are merged into one",
                "take the merge apart, and write into each cell what belongs there",
            )


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number
