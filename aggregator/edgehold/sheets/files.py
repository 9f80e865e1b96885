"""A plan as files that a person prints or fills in: a print page, CSV and XLSX."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from edgehold.disk import write_files
from edgehold.errors import InputError
from edgehold.records.model.plan import Plan
from edgehold.records.model.protocol import Protocol
from edgehold.results.tables.cells import csv_bytes
from edgehold.words import Reason

from .cells import cell_name, column_name
from .lines import Line
from .printed import printed_key, printed_sheet
from .rows import SheetPlan, SheetRow, sheet_plan, sheet_rows

_TIMELESS = datetime.datetime(1980, 1, 1)  # the earliest that an archive can hold
_LONGEST_LIST = 255  # characters of a list of words (ISO/IEC 29500-1, 18.3.1.32)
_TEXT = "@"
_WIDTHS = (46, 24, 18, 18, 18, 18, 18, 18, 22, 30)
_LINE_HEIGHT, _ROOM = 15, 4  # points
_ANSWER = PatternFill("solid", fgColor="F3F6F8")
_SIDE = Side("thin", color="9AA7B0")
_LINE = Border(_SIDE, _SIDE, _SIDE, _SIDE)


def write_sheets(
    plan: Plan, protocol: Protocol, folder: Path, figures: Mapping[str, str] | None = None, body: str = ""
) -> tuple[Path, ...]:
    """Write ``sheet.html``, ``sheet.csv`` and ``sheet.xlsx``; where edges are coded, ``key.html`` for whoever codes them.

    Parameters
    ----------
    plan : the drawn order, roles and codes.
    protocol : the version that the plan follows.
    folder : where to; made where it is not there.
    figures : the protocol's drawings as SVG, by path beside the protocol (``figures/rope-hold.svg``).
    body : the method's text, for the sentences that it stresses.

    Returns
    -------
    The files written. Where edges are coded, everything but the key may be given to the tester.

    Raises
    ------
    InputError
        The plan follows another protocol or version.
    """
    named, wanted = (plan.protocol.id, plan.protocol.version), (protocol.id, protocol.version)
    if named != wanted:
        raise InputError(f"the plan follows {' '.join(named)}; wanted a plan for {' '.join(wanted)}")
    shown = sheet_plan(plan)
    files = {
        "sheet.html": printed_sheet(shown, protocol, figures or {}, body).encode(),
        "sheet.csv": sheet_csv(shown, protocol),
        "sheet.xlsx": sheet_xlsx(shown, protocol),
    }
    if plan.blinding != "none":
        files["key.html"] = printed_key(shown, protocol, figures or {}, body).encode()
    write_files({folder / name: content for name, content in files.items()}, folders=True)
    return tuple(folder / name for name in files)


def sheet_csv(plan: SheetPlan, protocol: Protocol) -> bytes:
    """The sheet as CSV (RFC 4180, UTF-8); no cell can start a formula."""
    first, *rest = [row.cells for row in sheet_rows(plan, protocol)]
    return csv_bytes(first, rest)


def sheet_xlsx(plan: SheetPlan, protocol: Protocol) -> bytes:
    """The sheet as XLSX (ISO/IEC 29500): cells for answers hold text, so that nothing becomes a date, and offer the words allowed."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Sheet"
    rows = sheet_rows(plan, protocol)
    people = _names_of("People", rows)
    blades = _names_of("Blades", rows)
    for number, row in enumerate(rows, 1):
        _write_row(sheet, number, row)
    _drop_downs(sheet, rows, {"person": people, "blade": blades})
    _for_printing(sheet, rows)
    out = io.BytesIO()
    book.save(out)
    return timeless(out.getvalue())


def _write_row(sheet: Worksheet, number: int, row: SheetRow) -> None:
    for column, text in enumerate(row.cells, 1):
        if text:
            cell = sheet.cell(number, column)
            cell.value, cell.data_type = text, "s"  # never a formula
            cell.font = Font(bold=row.heading or (column == 1 and bool(row.lines)))
    for column, line in enumerate(row.lines, 2):
        if line is not None:
            several = 4 if line.kind == "several" else 1
            for place in range(column, column + several):
                cell = sheet.cell(number, place)
                cell.number_format, cell.fill, cell.border = _TEXT, _ANSWER, _LINE


def _names_of(title: str, rows: list[SheetRow]) -> str:
    """The cells with the letters of a table, as an absolute range."""
    start = next(number for number, row in enumerate(rows, 1) if row.cells[:1] == (title,)) + 2
    end = start + next((n for n, row in enumerate(rows[start - 1 :]) if not row.cells), len(rows))
    return f"$A${start}:$A${end - 1}"


def _drop_downs(sheet: Worksheet, rows: list[SheetRow], ranges: Mapping[str, str]) -> None:
    """A list of words for every cell that has one; a cell where other words may stand too only offers them."""
    made: dict[tuple[str, bool], DataValidation] = {}
    for number, row in enumerate(rows, 1):
        for column, line in enumerate(row.lines, 2):
            if line is None:
                continue
            formula = _offered(line, ranges)
            if formula:
                strict = line.kind == "word"
                if (formula, strict) not in made:
                    made[(formula, strict)] = _list_of(formula, strict)
                    sheet.add_data_validation(made[(formula, strict)])
                made[(formula, strict)].add(cell_name(number, column))


def _offered(line: Line, ranges: Mapping[str, str]) -> str:
    if line.words:
        formula = f'"{",".join(line.words)}"'
        return formula if len(formula) <= _LONGEST_LIST else ""
    return ranges.get(line.kind, "")


def _list_of(formula: str, strict: bool) -> DataValidation:
    made = DataValidation(type="list", formula1=formula, allow_blank=True)
    made.showErrorMessage = strict
    made.errorTitle, made.error = Reason("intake.word_title"), f"{Reason('intake.word_asks')}."
    return made


def _for_printing(sheet: Worksheet, rows: list[SheetRow]) -> None:
    for column, width in enumerate(_WIDTHS, 1):
        sheet.column_dimensions[column_name(column)].width = width
    for number, row in enumerate(rows, 1):
        remark = len(row.cells) == 1 and not row.heading
        lines = 1 if remark else max((-(-len(text) // width) for text, width in zip(row.cells, _WIDTHS, strict=False)), default=1)
        sheet.row_dimensions[number].height = _LINE_HEIGHT * max(lines, 1) + _ROOM
        for cell in sheet[number]:
            cell.alignment = Alignment(vertical="center", wrap_text=not remark)
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "portrait", 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def timeless(data: bytes) -> bytes:
    """The same archive without the moment it was made: one plan, one file."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as made, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept:
        for entry in made.infolist():
            content = made.read(entry)
            if entry.filename == "docProps/core.xml":
                content = re.sub(rb"<dcterms:(created|modified)[^>]*>[^<]*</dcterms:\1>", b"", content)
            kept.writestr(zipfile.ZipInfo(entry.filename, _TIMELESS.timetuple()[:6]), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
