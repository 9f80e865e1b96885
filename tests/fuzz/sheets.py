"""The same promises for sheets: CSV and XLSX are read into a submission, or asked about with a cell, whatever is done to them."""

from __future__ import annotations

import csv
import io
import json
import random
import re
import struct
import time
import traceback
import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.sax.saxutils import escape

from edgehold.records.canonical import Repository
from edgehold.sheets.cells import trimmed
from edgehold.sheets.csv_table import read_csv
from edgehold.sheets.intake import Intake, sheet_from_bytes
from edgehold.sheets.interpret import protocol_named
from edgehold.sheets.lines import MARKER
from edgehold.sheets.workbook import read_xlsx
from tests.records.builder import TODAY
from tests.sheets.filling import repository
from tests.sheets.write_corpus import CORPUS

from .mutations import FRAGMENTS, TEXTS, damaged_bytes
from .readers import FINE, LOST, TRACEBACK, Case, Complaint, Failure, beyond_limits, peak_bytes

FOLDER = "sheets"
GOOD = ("clean.csv", "semicolons.csv", "utf-16.csv", "paper-clean.csv", "clean.xlsx", "shared-runs.xlsx", "numbers.xlsx")
CELL_TEXTS = (
    *TEXTS,
    "Run 1",
    "Run 2",
    "People",
    "Blades",
    "Work done (m)",
    "A",
    "31 above",
    "<",
    "#",
    '"',
    ";",
    "=1+1",
    "Value 9",
    "(" * 60,
)
XML_TEXTS = (
    b"<f>1</f>",
    b'<c r="B7"/>',
    b't="s"',
    b't="d"',
    b"<v>1e999</v>",
    b"<v>-5</v>",
    b'r="ZZZ9"',
    b"<!DOCTYPE a>",
    b"&a;",
    b'hidden="1"',
    b"</row>",
    b'date1904="1"',
)


def sheet_failures(root: Path, seed: int, cases: int) -> Iterator[Failure]:
    """Every case of ``damaged_sheets`` that broke a promise."""
    return (Failure(case.path, case.data, case.complaint) for case in damaged_sheets(root, seed, cases) if case.complaint)


def damaged_sheets(root: Path, seed: int, cases: int) -> Iterator[Case]:
    """Damage sheets of the corpus and read them. Case i has seed + i."""
    known = repository(root)
    good = {name: (CORPUS / name).read_bytes() for name in GOOD}
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        name = rng.choice(GOOD)
        data = damaged_sheet(good[name], name, rng)
        began = time.process_time()
        complaint = sheet_complaint(known, data)
        yield Case(f"{FOLDER}/{name}", data, complaint, time.process_time() - began)


def sheet_complaint(known: Repository, data: bytes) -> Complaint:
    """What is wrong with how a sheet was taken in; empty if nothing is."""
    before, began = peak_bytes(), time.process_time()
    try:
        intake = sheet_from_bytes(data, known, TODAY)
        json.dumps(intake.submission, allow_nan=False)
    except Exception:
        return Complaint(TRACEBACK, traceback.format_exc(limit=-6))
    spent, grown = time.process_time() - began, peak_bytes() - before
    return beyond_limits(spent, grown) or _unaccounted(intake) or _lost_rows(intake, data)


def _lost_rows(intake: Intake, data: bytes) -> Complaint:
    """Every row of the sheet in which anything stands is counted once."""
    if intake.submission is None:
        return FINE
    tables = read_xlsx(data)[0] if data.startswith(b"PK") else [read_csv(data)[0]]
    sheet = next(table for table in tables if protocol_named(table, MARKER))
    rows = sum(any(map(trimmed, row)) for row in sheet.rows)
    return FINE if sum(intake.tally.values()) == rows else Complaint(LOST, f"{rows} rows, told of {intake.tally}")


def _unaccounted(intake: Intake) -> Complaint:
    if any(not question.message or not question.cure or not question.cell for question in intake.questions):
        return Complaint(TRACEBACK, f"a question without place or cure: {intake.questions}")
    if intake.submission is None and not intake.questions:
        return Complaint(LOST, "neither read nor refused")
    return FINE


def damaged_sheet(data: bytes, name: str, rng: random.Random) -> bytes:
    """A damaged copy: its bytes, or cells and parts of it with the form around them kept."""
    for _ in range(rng.choice((1, 1, 2, 3))):
        if rng.random() < (0.1 if name.endswith(".xlsx") else 0.3):
            data = damaged_bytes(data, rng)
        else:
            data = _other_part(data, rng) if name.endswith(".xlsx") else _other_cells(data, rng)
    return data


def _other_cells(data: bytes, rng: random.Random) -> bytes:
    """Some cells exchanged; the file is written again as a spreadsheet would."""
    text = data.decode("utf-16" if data[:2] == b"\xff\xfe" else "utf-8", "replace")
    mark = next((mark for mark in ",;\t" if f"Edgehold sheet{mark}" in text), ",")
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))
    except csv.Error:
        return damaged_bytes(data, rng)
    for _ in range(rng.choice((1, 2, 8))):
        if rows:
            row = rng.choice(rows)
            row[rng.randrange(len(row) + 1) : rng.randrange(len(row) + 2)] = [rng.choice(CELL_TEXTS) for _ in range(rng.randrange(3))]
    if rng.random() < 0.2:
        rng.shuffle(rows)
    out = io.StringIO()
    csv.writer(out, delimiter=rng.choice(",;\t")).writerows(rows)
    return out.getvalue().encode("utf-8", "surrogatepass")


def _other_part(data: bytes, rng: random.Random) -> bytes:
    """One part of a workbook damaged, left out or doubled; sometimes the directory tells another size than is true."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = [(entry.filename, archive.read(entry)) for entry in archive.infolist()]
    except (zipfile.BadZipFile, ValueError, OSError, EOFError, RuntimeError, NotImplementedError, struct.error, zipfile.zlib.error):
        return damaged_bytes(data, rng)
    if not parts:
        return data
    sheet = [n for n, (name, _) in enumerate(parts) if name.endswith(("sheet1.xml", "sharedStrings.xml"))]
    at = rng.choice(sheet) if sheet and rng.random() < 0.7 else rng.randrange(len(parts))
    name, content = parts[at]
    match rng.randrange(8):
        case 0:
            del parts[at]
        case 1:
            parts[at] = (name, damaged_bytes(content, rng))
        case 2:
            place = rng.randrange(len(content) + 1)
            parts[at] = (name, content[:place] + rng.choice((*XML_TEXTS, *FRAGMENTS)) + content[place:])
        case 3:
            parts[at] = (rng.choice(("xl/workbook.xml", "xl/externalLinks/a.xml", "../a", "xl/styles.xml", "é")), content)
        case _:
            parts[at] = (name, _exchanged(content, rng))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))) as archive:
        for place, (other, inside) in enumerate(dict(parts).items()):
            archive.writestr(zipfile.ZipInfo(other or str(place)), inside)
    return out.getvalue()


def _exchanged(content: bytes, rng: random.Random) -> bytes:
    """Texts between marks, or values of attributes, exchanged for others; the marks stay."""
    pieces = re.split(rb"(<[^>]*>)", content) if rng.random() < 0.7 else re.split(rb'("[^"]*")', content)
    for _ in range(rng.choice((1, 3, 10))):
        at = rng.randrange(len(pieces))
        text = escape(rng.choice(CELL_TEXTS)).encode("utf-8", "surrogatepass")
        if pieces[at].startswith(b'"'):
            pieces[at] = b'"%s"' % text.replace(b'"', b"&quot;")
        elif not pieces[at].startswith(b"<"):
            pieces[at] = text
    return b"".join(pieces)
