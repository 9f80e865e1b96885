"""Workbooks as people and spreadsheets leave them: written by openpyxl, and changed in their parts where it cannot write what others do."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Callable
from typing import TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.comments import Comment

from edgehold.sheets.files import timeless
from tests.sheets.filling import Rows, filled

if TYPE_CHECKING:
    from tests.sheets.write_corpus import Case

_OFFICE = b"http://schemas.openxmlformats.org/officeDocument/2006"
FIRST = "/runs/0/readings/1/values/0/written"


class Book:
    """A filled-in sheet as a workbook, before something happens to it."""

    def __init__(self) -> None:
        self.rows: Rows = filled()
        self.book = Workbook()
        self.sheet = self.book.active
        self.sheet.title = "Sheet"
        for number, row in enumerate(self.rows, 1):
            for column, text in enumerate(row, 1):
                if text:
                    cell = self.sheet.cell(number, column)
                    cell.value, cell.data_type = text, "s"

    def at(self, label: str, column: str = "B", run: int = 0) -> str:
        return f"{column}{self.rows.find(label, run) + 1}"

    def set(self, label: str, value: object, column: str = "B", run: int = 0, form: str = "General") -> str:
        place = self.at(label, column, run)
        self.sheet[place].value = value
        self.sheet[place].number_format = form
        return place

    def data(self) -> bytes:
        out = io.BytesIO()
        self.book.save(out)
        return timeless(out.getvalue())


def with_parts(data: bytes, change: Callable[[str, bytes], bytes | None], more: dict[str, bytes] | None = None) -> bytes:
    """An archive with its parts changed, left out (None) or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as made, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept:
        parts = {entry.filename: made.read(entry) for entry in made.infolist()} | (more or {})
        for name, content in parts.items():
            changed = change(name, content)
            if changed is not None:
                kept.writestr(zipfile.ZipInfo(name), changed, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _sheet_part(pattern: bytes, instead: bytes) -> Callable[[str, bytes], bytes]:
    def change(name: str, content: bytes) -> bytes:
        if name != "xl/worksheets/sheet1.xml":
            return content
        assert re.search(pattern, content), pattern
        return re.sub(pattern, instead, content)

    return change


def _unchanged(name: str, content: bytes) -> bytes:
    return content


def xlsx_cases() -> list[Case]:
    """Every XLSX file of the corpus."""
    return [*_with_values(), *_with_layout(), *_refused()]


def _case(name: str, why: str, data: bytes, *asks: tuple[str, str], **more: object) -> Case:
    from tests.sheets.write_corpus import Case

    return Case(f"{name}.xlsx", why, data, asks, **more)


def _with_values() -> list[Case]:
    from tests.sheets.write_corpus import GOOD

    numbers = Book()
    numbers.set("5", 1.4, run=1)
    numbers.set("5", 1.5, "C", run=1)
    numbers.set("10", 2, run=1)
    numbers.set("Humidity", 0.6, run=1, form="0%")
    numbers.set("Sharpening took", 12.5, run=1)
    numbers.set("Code on the envelope", 7, run=1)
    month, day, value, time = Book(), Book(), Book(), Book()
    month_at = month.set("Month", datetime.date(2026, 5, 1), form="mmm yy")
    day_at = day.set("Month", datetime.date(2026, 5, 17), form="dd/mm/yyyy")
    value_at = value.set("5", datetime.date(2026, 1, 3), run=1, form="d-mmm")
    time_at = time.set("5", datetime.time(3, 8), run=1, form="h:mm")
    formula, cached, error, truth = Book(), Book(), Book(), Book()
    formula_at = formula.set("5", "=1.2+0.2", run=1)
    cached_at = cached.set("5", "=1.2+0.2", run=1)
    error_at = error.set("5", "=1/0", run=1)
    truth_at = truth.set("5", True, run=1)
    inline, rich, bare = Book(), Book(), Book()
    inline_at, rich_at = inline.set("5", 1.4, run=1), rich.set("5", 1.4, run=1)
    several = b'<is><r><t>1.</t></r><r><rPr><b/></rPr><t>4</t></r><rPh sb="0" eb="1"><t>x</t></rPh></is>'
    return [
        _case("clean", "nothing is wrong", Book().data(), values=GOOD),
        _case(
            "numbers",
            "numbers with all their binary digits, a share shown as a percentage",
            with_parts(numbers.data(), _sheet_part(rb"<v>1.4</v>", b"<v>1.3999999999999999</v>")),
            values={
                FIRST: 1.4,
                "/runs/0/readings/1/values/1/written": 1.5,
                "/runs/0/readings/2/values/0/written": 2,
                "/runs/0/humidity_percent": 60,
                "/preparations/0/minutes": 12.5,
            },
        ),
        _case("month", "a spreadsheet made a date of the month", month.data(), values={"/month": "2026-05"}, said=(month_at,)),
        _case("day", "a whole date where the month belongs", day.data(), (day_at, "date")),
        _case("january", "3-Jan where a number was", value.data(), (value_at, "date")),
        _case("clock", "a time where a number was", time.data(), (time_at, "date")),
        _case("formula", "a formula that was never computed", formula.data(), (formula_at, "formula")),
        _case(
            "formula-with-value",
            "a formula with the value that it showed last",
            with_parts(cached.data(), _sheet_part(rb"<f>1.2\+0.2</f><v ?/>|<f>1.2\+0.2</f><v></v>", b"<f>1.2+0.2</f><v>1.4</v>")),
            values={FIRST: 1.4},
            said=(cached_at,),
        ),
        _case(
            "error",
            "a formula that failed",
            with_parts(
                error.data(),
                _sheet_part(
                    rb'<c r="%s"[^>]*><f>1/0</f><v ?/?>(</v>)?</c>' % error_at.encode(),
                    b'<c r="%s" t="e"><f>1/0</f><v>#DIV/0!</v></c>' % error_at.encode(),
                ),
            ),
            (error_at, "formula"),
        ),
        _case("truth", "TRUE where a number was", truth.data(), (truth_at, "not-a-number")),
        _case(
            "inline",
            "a text inside the cell, in several runs",
            with_parts(
                inline.data(),
                _sheet_part(
                    rb'<c r="%s"[^>]*><v>1.4</v></c>' % inline_at.encode(),
                    b'<c r="%s" t="inlineStr">%s</c>' % (inline_at.encode(), several),
                ),
            ),
            values={FIRST: 1.4},
        ),
        _case("shared-runs", "a shared text in several runs", _as_shared(rich.data(), rich_at, several), values={FIRST: 1.4}),
        _case(
            "no-references",
            "cells that do not say where they stand",
            with_parts(
                _every_cell(bare).data(),
                lambda name, content: re.sub(rb'<(c|row) r="[A-Z]*[0-9]+"', rb"<\1", content) if "worksheets" in name else content,
            ),
            values=GOOD,
        ),
    ]


def _every_cell(book: Book) -> Book:
    """Write an empty text into every cell, so that place follows from order."""
    widest = max(map(len, book.rows))
    for number in range(1, len(book.rows) + 1):
        for column in range(1, widest + 1):
            cell = book.sheet.cell(number, column)
            if cell.value is None:
                cell.value, cell.data_type = "", "s"
    return book


def _as_shared(data: bytes, place: str, several: bytes) -> bytes:
    """All texts in one shared part, as most spreadsheets write them; one cell's text in several runs."""
    items: list[bytes] = []

    def refer(match: re.Match[bytes]) -> bytes:
        items.append(b"<si>%s</si>" % match[2])
        return b'%s t="s"><v>%d</v></c>' % (match[1], len(items) - 1)

    def change(name: str, content: bytes) -> bytes:
        if name == "xl/worksheets/sheet1.xml":
            content = re.sub(
                rb'<c r="%s"[^>]*><v>1.4</v></c>' % place.encode(), b'<c r="%s" t="inlineStr">%s</c>' % (place.encode(), several), content
            )
            return re.sub(rb'(<c r="[A-Z0-9]+"(?: s="[0-9]+")?) t="inlineStr"><is>(.*?)</is></c>', refer, content, flags=re.DOTALL)
        return content

    changed = with_parts(data, change)
    table = b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">%s</sst>' % b"".join(items)
    relation = b'<Relationship Id="rId99" Type="%s/relationships/sharedStrings" Target="/xl/sharedStrings.xml"/></Relationships>' % _OFFICE
    kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    typed = b'<Override PartName="/xl/sharedStrings.xml" ContentType="%s"/></Types>' % kind

    def connect(name: str, content: bytes) -> bytes:
        content = content.replace(b"</Types>", typed)
        return content.replace(b"</Relationships>", relation) if name == "xl/_rels/workbook.xml.rels" else content

    return with_parts(changed, connect, {"xl/sharedStrings.xml": table})


def _with_layout() -> list[Case]:
    merged, row, column, other, empty, nowhere, comment = Book(), Book(), Book(), Book(), Book(), Book(), Book()
    merged.sheet.merge_cells(f"{merged.at('5', 'B', 1)}:{merged.at('5', 'C', 1)}")
    row.sheet.row_dimensions[row.rows.find("5", 1) + 1].hidden = True
    column.sheet.column_dimensions["D"].hidden = True
    hidden = [(f"D{number}", "hidden") for number, cells in enumerate(column.rows, 1) if len(cells) > 3 and cells[3]]
    other.book.create_sheet("Scribbles").append(["rope", "dry"])
    empty.book.create_sheet("Sheet2")
    nowhere.sheet["A1"].value = "My evening"
    comment.sheet[comment.at("5", "B", 1)].comment = Comment("the thread slipped", "wren")
    wide = Book()
    wide.sheet.cell(3, 170).value = "x"
    deep = Book()
    deep.sheet.cell(900_000, 1).value = "x"
    return [
        _case("merged", "two values merged into one cell", merged.data(), (merged.at("5", "B", 1), "merged")),
        _case("hidden-row", "a reading hidden", row.data(), *[(f"{letter}{row.rows.find('5', 1) + 1}", "hidden") for letter in "ABC"]),
        _case("hidden-column", "a column hidden", column.data(), *hidden),
        _case("other-worksheet", "scribbles on a second worksheet", other.data(), ("the file", "other-worksheet")),
        _case("empty-worksheet", "a second worksheet with nothing on it", empty.data(), values={FIRST: 1.4}),
        _case("no-first-cell", "the first cell changed", nowhere.data(), ("the file", "not-a-sheet")),
        _case("comment", "a comment beside a cell", comment.data(), values={FIRST: 1.4}, said=("the file",)),
        _case("170-columns", "a cell in column 170", wide.data(), ("the file", "too-wide")),
        _case("row-900000", "a cell in row 900,000", deep.data(), ("the file", "too-long")),
    ]


def _refused() -> list[Case]:
    data = Book().data()
    bomb = with_parts(data, _unchanged, {"xl/media/image1.png": bytes(60_000_000)})
    link = with_parts(data, _unchanged, {"xl/externalLinks/externalLink1.xml": b"<externalLink/>"})
    macro = with_parts(data, _unchanged, {"xl/vbaProject.bin": b"\x00"})
    parts = with_parts(data, _unchanged, {f"xl/media/{n}.bin": b"" for n in range(300)})
    entities = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    laughs = with_parts(
        data, lambda name, content: re.sub(rb"<worksheet", entities + b"<worksheet", content, count=1) if "worksheets" in name else content
    )
    wide = with_parts(data, lambda name, content: content.decode().encode("utf-16") if "worksheets" in name else content)
    twice = with_parts(data, _unchanged, {"xl/workbook.xmk": b"<workbook/>"}).replace(b"xl/workbook.xmk", b"xl/workbook.xml")
    lost = with_parts(data, lambda name, content: None if name == "xl/worksheets/sheet1.xml" else content)
    return [
        _case("zip-bomb", "sixty million zero bytes in one part", bomb, ("the file", "too-large-unpacked")),
        _case("external-link", "takes values from another file", link, ("the file", "external-link")),
        _case("macros", "holds a program", macro, ("the file", "macros")),
        _case("too-many-parts", "three hundred parts more", parts, ("the file", "too-many-parts")),
        _case("entities", "entities that grow when they are read", laughs, ("the file", "not-a-workbook")),
        _case("utf-16-part", "a part in UTF-16", wide, ("the file", "not-a-workbook")),
        _case("part-twice", "two parts of one name", twice, ("the file", "not-a-workbook")),
        _case("cut-off", "the end is missing", data[: len(data) // 2], ("the file", "not-a-workbook")),
        _case("part-lost", "the worksheet's part is missing", lost, ("the file", "not-a-workbook")),
        _case(
            "password",
            "an old workbook, or one with a password",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600),
            ("the file", "not-a-workbook"),
        ),
        _case(
            "other-archive",
            "an archive of something else",
            _archive({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}),
            ("the file", "not-a-workbook"),
        ),
    ]


def _archive(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()
