"""Fill in a sheet as a person would: find the line by its label, write behind it."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from edgehold.records.model.protocol import Protocol
from edgehold.sheets.files import sheet_csv
from edgehold.sheets.ready import ready_plan
from tests.records.builder import PASS_FAIL, SMALL_LEVELS, TODAY, make_repository, protocol

VALUES = {0: ("1.1", "1.05"), 5: ("1.4", "1.5"), 10: ("1.9", "1.8"), 20: ("2.4", "2.5"), 40: ("3.4", "3.5")}

__all__ = [
    "TODAY",
    "VALUES",
    "Rows",
    "csv_text",
    "filled",
    "filled_levels",
    "filled_paper",
    "filled_with_references",
    "load_repository",
    "ready",
    "repository",
]


class Rows(list):
    """Rows of a sheet, found by their labels; runs are counted from 1, 0 is above the first run."""

    def find(self, label: str, run: int = 0) -> int:
        """Index of the row of a label, without what stands in parentheses, within a run or above the first one."""
        starts = [0, *(n for n, row in enumerate(self) if row and row[0].startswith("Run "))]
        for number in range(starts[run], len(self)):
            if self[number] and (self[number][0] == label or self[number][0].partition(" (")[0] == label):
                return number
        raise AssertionError(f"no line {label!r} in run {run}")

    def write(self, label: str, *cells: str, run: int = 0) -> None:
        """Write cells behind a label."""
        row = self[self.find(label, run)]
        row[1:] = [*cells, *row[1 + len(cells) :]]

    def append_to(self, label: str, row: list[str], run: int = 0) -> None:
        """Put a row below the one with a label."""
        self.insert(self.find(label, run) + 1, row)


def repository(root: Path) -> Repository:
    """The small repository of the tests of records, with a protocol of either kind."""
    make_repository(root, [], [protocol(), protocol(PASS_FAIL), protocol(SMALL_LEVELS)])
    return load_repository(root, today=TODAY)


def ready(changes: dict[str, object] | None = None) -> Rows:
    """The ready-drawn sheet of the small protocol, as its CSV says."""
    record = Protocol.model_validate_json(json.dumps(protocol(changes)))
    text = sheet_csv(ready_plan(record), record).decode()
    return Rows(list(row) for row in csv.reader(io.StringIO(text)))


def filled() -> Rows:
    """A sheet filled in without a slip: two people, one blade, two runs."""
    rows = _with_people(ready())
    for run in (1, 2):
        rows.write("Reading unit", "N", run=run)
        for work, values in VALUES.items():
            rows.write(str(work), *values, run=run)
    return rows


def filled_with_references(asked: dict[str, object]) -> Rows:
    """The same for a protocol that asks for a reference edge and known weights: both edges read, one weight hung."""
    rows = _with_people(ready({"/reference": asked}))
    for run in (1, 2):
        rows.write("Reading unit", "N", run=run)
        for line, key in (("Lot", "wren.coil"), ("Thread or paper", "wren.reel"), ("Instrument", "wren.scale")):
            rows.write(line, key, run=run)
        for work, values in VALUES.items():
            rows.write(str(work), *values, run=run)
    table = rows.find("References") + 1
    named = {"Tester": "wren", "Pack": "wren.segments", "Lot": "wren.coil", "Thread or paper": "wren.reel", "Instrument": "wren.scale"}
    read = [("0.9", "1.0", "1.4", "1.5"), ("1.0", "1.1", "1.5", "1.6")]
    for n, values in enumerate(read, 1):
        own = named | {"Segment": f"wren.segment-{n}", "Reading unit": "N"}
        own |= dict(zip(("Before 1", "Before 2", "After 1", "After 2"), values, strict=True))
        rows[table + n] = [own.get(heading.partition(" (")[0], there) for heading, there in _beside(rows[table], rows[table + n])]
    table = rows.find("Weights") + 1
    own = {"Instrument": "wren.scale", "Known weight": "500", "Rig showed": "5.4"}
    rows[table + 1] = [own.get(heading.partition(" (")[0], there) for heading, there in _beside(rows[table], rows[table + 1])]
    return rows


def _beside(headings: list[str], row: list[str]) -> list[tuple[str, str]]:
    return list(zip(headings, [*row, *[""] * (len(headings) - len(row))], strict=True))


def filled_paper() -> Rows:
    """The same for the protocol that reads pass or fail: the edges fail from 20 cuts on."""
    rows = _with_people(ready(PASS_FAIL))
    for run in (1, 2):
        for work in VALUES:
            rows.write(str(work), *["pass" if work < 20 else "fail"] * 2, run=run)
    return rows


def filled_levels() -> Rows:
    """The same for the protocol that compares levels told by the last abrasive: one person, one blade, an edge of each level."""
    rows = ready(SMALL_LEVELS)
    rows.write("Month", "2026-05")
    rows.write("Sent in by", "A")
    rows[rows.find("People") + 2] = ["A", "wren", "yes", "practised"]
    rows[rows.find("Blades") + 2] = ["1", "wren.galley"]
    for run in range(1, 1 + sum(1 for row in rows if row and row[0].startswith("Run "))):
        for label, cell in (("Tester", "A"), ("Ended", "last checkpoint"), ("Reading unit", "N")):
            rows.write(label, cell, run=run)
        for work, values in VALUES.items():
            rows.write(str(work), *values, run=run)
    return rows


def _with_people(rows: Rows) -> Rows:
    rows.write("Month", "2026-05")
    rows.write("Sent in by", "A")
    people = rows.find("People") + 2
    rows[people] = ["A", "wren", "yes", "practised"]
    rows[people + 1] = ["B", "tern", "yes", "novice"]
    rows[rows.find("Blades") + 2] = ["1", "wren.galley"]
    for run in (1, 2):
        rows.write("Tester", "A", run=run)
        rows.write("Ended", "last checkpoint", run=run)
    return rows


def csv_text(rows: Rows, mark: str = ",", line_end: str = "\r\n") -> str:
    """The rows as a spreadsheet saves them."""
    out = io.StringIO()
    csv.writer(out, delimiter=mark, lineterminator=line_end).writerows(rows)
    return out.getvalue()
