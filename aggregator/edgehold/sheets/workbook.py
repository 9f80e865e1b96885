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

from edgehold.words import Argument, Reason

from .cells import Refused, Table, asking, cell_name, too_much, trimmed, within_bytes

MOST_PARTS = 200
MOST_UNPACKED = 10_000_000  # bytes of all parts together, as the directory states them
_DATE_FORMATS = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}  # ISO/IEC 29500-1, 18.8.30
_PERCENT_FORMATS = {9, 10}
_NOT_A_CODE = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.')
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, ElementTree.ParseError, KeyError, ValueError, IndexError, OSError, EOFError, RuntimeError,
    OverflowError,
)  # fmt: skip


@dataclass(frozen=True)
class _Book:
    """What all worksheets share: texts, what kind of number each style shows, and how days are counted."""

    texts: list[str]
    styles: list[str]
    first_day: datetime.date


def read_xlsx(data: bytes) -> tuple[list[Table], list[Reason]]:
    """The worksheets in which anything stands, and what is said about the file.

    Raises
    ------
    Refused : the file is not read.
    """
    within_bytes(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _within_limits(archive)
            tables = [table for table in _tables(archive) if any(map(any, table.rows))]
            commented = any("/comments" in name.casefold() or "/threadedcomments" in name.casefold() for name in archive.namelist())
    except _DAMAGED as error:
        raise _no_workbook("intake.damaged", kind=type(error).__name__) from None
    return tables, [Reason("intake.comments")] if commented else []


def _no_workbook(message: str, code: str = "not-a-workbook", **arguments: Argument) -> Refused:
    return Refused(asking(code, message, "intake.save_again", **arguments))


def _within_limits(archive: zipfile.ZipFile) -> None:
    """Look at the directory only; nothing is unpacked yet."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    size = sum(entry.file_size for entry in entries)
    if len(entries) > MOST_PARTS:
        raise _no_workbook("intake.many_parts", "too-many-parts", parts=len(entries), most=MOST_PARTS)
    if size > MOST_UNPACKED:
        raise _no_workbook("intake.unpacks_to", "too-large-unpacked", bytes=size, most=MOST_UNPACKED)
    if len(set(names)) < len(names):
        raise _no_workbook("intake.same_name")
    if any(entry.flag_bits & 1 for entry in entries):
        raise Refused(asking("protected", "intake.password", "intake.no_password"))
    lower = [name.casefold() for name in names]
    if any("externallinks/" in name for name in lower):
        raise Refused(asking("external-link", "intake.other_file", "intake.paste_values"))
    if any(name.endswith(("vbaproject.bin", "vbadata.xml")) for name in lower):
        raise Refused(asking("macros", "intake.macros", "intake.no_macros"))


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
    raise _no_workbook("intake.no_workbook")


def _relations(archive: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Kind and target of every relation of a part, by id; links that lead out of the file are left alone."""
    folder, name = posixpath.split(part)
    place = posixpath.join(folder, "_rels", f"{name}.rels")
    found = {}
    for relation in _all(_part(archive, place), "Relationship") if place in archive.namelist() else ():
        kind = relation.get("Type", "").rpartition("/")[2]
        if kind == "externalLink":
            raise Refused(asking("external-link", "intake.other_file", "intake.paste_values"))
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
        raise _no_workbook("intake.not_xml")
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
                table.odd[(number, column)] = asking("hidden", "intake.hidden", "intake.show", cell=cell_name(number, column))
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
        table.odd[(row, column)] = asking("formula", "intake.no_value", "intake.type_value")
        return
    if "f" in parts:
        table.said[(row, column)] = Reason("intake.formula")
    if kind == "s":
        _put(table, row, column, book.texts[int(shown)])
    elif kind == "inlineStr":
        _put(table, row, column, _text_of(parts["is"]) if "is" in parts else "")
    elif kind == "e":
        _put(table, row, column, shown)
        table.odd[(row, column)] = asking("formula", "intake.shows_error", "intake.type_value", error=shown[:20])
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
        table.odd[(row, column)] = asking("date", "intake.no_date", "intake.as_text")
        return
    _put(table, row, column, day.isoformat())
    table.dates[(row, column)] = (day.year, day.month, day.day)


def _put(table: Table, row: int, column: int, text: str) -> None:
    if not trimmed(text):
        return
    asked = too_much(row, column, text)
    if asked:
        raise Refused(asked, sheet=table.name)
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
            table.odd[place] = asking("merged", "intake.merged", "intake.take_apart", cells=reference[:20])


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number
