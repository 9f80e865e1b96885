"""The same promises for sheets: CSV and XLSX are read into a submission, or asked about with a cell, whatever is done to them."""

from __future__ import annotations

import csv
import io
import json
import random
import struct
import time
import traceback
import zipfile
from collections.abc import Iterator
from pathlib import Path

from aggregator.records.canonical import Repository
from aggregator.sheets.intake import Intake, sheet_from_bytes
from tests.records.builder import TODAY
from tests.sheets.filling import repository
from tests.sheets.write_corpus import CORPUS

from .mutations import FRAGMENTS, TEXTS, damaged_bytes
from .readers import MOST_BYTES, MOST_SECONDS, Failure, peak_bytes

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
    """Damage sheets of the corpus and read them; every case that broke a promise. Case i has seed + i."""
    known = repository(root)
    good = {name: (CORPUS / name).read_bytes() for name in GOOD}
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        name = rng.choice(GOOD)
        data = damaged_sheet(good[name], name, rng)
        complaint = sheet_complaint(known, data)
        if complaint:
            yield Failure(f"{FOLDER}/{name}", data, complaint)


def sheet_complaint(known: Repository, data: bytes) -> str:
    """What is wrong with how a sheet was taken in; empty if nothing is."""
    before, began = peak_bytes(), time.process_time()
    try:
        intake = sheet_from_bytes(data, known, TODAY)
        json.dumps(intake.submission, allow_nan=False)
    except Exception:
        return traceback.format_exc(limit=-6)
    spent, grown = time.process_time() - began, peak_bytes() - before
    if spent > MOST_SECONDS:
        return f"took {spent:.1f} s of processor time"
    if grown > MOST_BYTES:
        return f"grew by {grown / 2**20:.0f} MiB"
    return _unaccounted(intake)


def _unaccounted(intake: Intake) -> str:
    if any(not question.message or not question.cure or not question.cell for question in intake.questions):
        return f"a question without place or cure: {intake.questions}"
    if intake.submission is None and not intake.questions:
        return "neither read nor refused"
    return "" if intake.submission is None or intake.tally else "read, and no row told of"


def damaged_sheet(data: bytes, name: str, rng: random.Random) -> bytes:
    """A damaged copy: its bytes, or cells and parts of it with the form around them kept."""
    for _ in range(rng.choice((1, 1, 2, 3))):
        if rng.random() < 0.3:
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
    at = rng.randrange(len(parts))
    name, content = parts[at]
    match rng.randrange(5):
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
    """Numbers and words between marks exchanged for others, the marks kept."""
    pieces = content.split(b'"' if rng.random() < 0.5 else b">")
    mark = b'"' if content.count(b'"') == len(pieces) - 1 else b">"
    at = rng.randrange(len(pieces))
    pieces[at] = rng.choice(CELL_TEXTS).encode("utf-8", "surrogatepass")
    return mark.join(pieces)
