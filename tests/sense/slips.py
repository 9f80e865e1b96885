"""Slips of the hand in an honest, quiet record: what is typed, and at which place it must be asked about.

The record follows two-sharpeners-rope 1.1.0: two people sharpen one blade in turn, read in grams of force, three repeats a checkpoint.
It is invented. ``sheet`` writes a record on the sheet of its protocol, as a person would.
"""

from __future__ import annotations

import copy
import csv
import io
from collections.abc import Callable
from dataclasses import dataclass

from edgehold.records.model.protocol import Protocol
from edgehold.sheets.files import sheet_csv
from edgehold.sheets.ready import ready_plan
from tests.sheets.filling import Rows, csv_text

PROTOCOL = ("two-sharpeners-rope", "1.1.0")
WORKS = (0, 5, 10, 20, 40, 80, 160)
READ = (
    ((98, 103, 101), (131, 128, 137), (152, 161, 149), (187, 176, 192), (236, 228, 241), (294, 287, 279), (371, 356, 362)),
    ((121, 117, 126), (158, 166, 151), (193, 181, 188), (224, 233, 219), (279, 268, 284), (341, 352, 330), (412, 431, 407)),
    ((127, 119, 124), (149, 155, 163), (177, 190, 184), (231, 217, 226), (262, 273, 281), (336, 321, 343), (419, 398, 426)),
    ((91, 97, 95), (122, 129, 119), (157, 147, 151), (173, 182, 169), (219, 231, 226), (281, 272, 293), (349, 361, 338)),
)
SHARPENERS = ("wren", "tern", "tern", "wren")

Change = Callable[[dict], None]


@dataclass(frozen=True)
class Slip:
    """One slip: what it is, what it does to the record, which code is asked, at which place, and words of the question."""

    what: str
    change: Change
    code: str
    place: str
    words: str


def record(unit: str = "gf") -> dict:
    """The honest record."""
    size = {"gf": 1, "N": 9.80665e-3}[unit]
    return {
        "format": "submission/1.0.0",
        "id": "wren-1",
        "protocol": dict(zip(("id", "version"), PROTOCOL, strict=True)),
        "origin": "measured",
        "licence": "CC0-1.0",
        "submitted_by": "wren",
        "month": "2026-05",
        "people": [{"handle": "wren", "agreed": "yes"}, {"handle": "tern", "agreed": "yes"}],
        "blades": [{"key": "wren.galley"}],
        "preparations": [{"id": f"edge-{n}", "blade": "wren.galley", "sharpener": sharpener} for n, sharpener in enumerate(SHARPENERS, 1)],
        "runs": [
            {
                "id": f"run-{n}",
                "order": n,
                "preparation": f"edge-{n}",
                "tester": "wren",
                "work_unit": "cut",
                "reading_unit": unit,
                "planned_last_checkpoint": 160,
                "ended": "last checkpoint",
                "readings": [
                    {"work": work, "values": [{"written": round(value * size, 2) if size != 1 else value} for value in values]}
                    for work, values in zip(WORKS, rows, strict=True)
                ],
            }
            for n, rows in enumerate(READ, 1)
        ],
    }


def _value(run: int, row: int, cell: int, written: object, **more: str) -> Change:
    def change(tree: dict) -> None:
        tree["runs"][run]["readings"][row]["values"][cell] = {"written": written} | more

    return change


def _rows(run: int, **other: tuple[int, int]) -> Change:
    """Rows of a run that take the values of a row of some run: ``to_3=(0, 2)`` writes row 2 of run 0 into row 3."""

    def change(tree: dict) -> None:
        honest = copy.deepcopy(tree)
        for name, (source, row) in other.items():
            tree["runs"][run]["readings"][int(name[3:])]["values"] = honest["runs"][source]["readings"][row]["values"]

    return change


def _times(run: int, row: int, factor: float) -> Change:
    def change(tree: dict) -> None:
        for value in tree["runs"][run]["readings"][row]["values"]:
            value["written"] = round(value["written"] * factor, 4)

    return change


def _field(run: int, **fields: object) -> Change:
    return lambda tree: tree["runs"][run].update(fields)


def _all(*changes: Change) -> Change:
    def change(tree: dict) -> None:
        for one in changes:
            one(tree)

    return change


def _stops(run: int, rows: int) -> Change:
    def change(tree: dict) -> None:
        del tree["runs"][run]["readings"][rows:]

    return change


def _at(run: int, row: int, cell: int = 0) -> str:
    return f"/runs/{run}/readings/{row}/values/{cell}/written"


FAR, UNIT, STRAY = "far-from-neighbours", "unit-in-doubt", "stray-limit"
SLIPS = (
    Slip("a digit too many", _value(0, 5, 0, 2940), FAR, _at(0, 5, 0), "at 80 cuts, first reading: 2940 gf beside 287 and 279: was 294"),
    Slip("a digit too few", _value(1, 3, 1, 23), FAR, _at(1, 3, 1), "at 20 cuts, second reading: 23 gf beside 224 and 219: was 230"),
    Slip("a point slipped by one place", _value(2, 4, 2, "28.1"), FAR, _at(2, 4, 2), "was 281 meant?"),
    Slip("two zeros too many", _value(3, 1, 1, 12900), FAR, _at(3, 1, 1), "was 129 meant?"),
    Slip("two digits turned round", _value(0, 5, 1, 827), FAR, _at(0, 5, 1), "was 287 meant?"),
    Slip("a digit left out", _value(1, 6, 0, 42), FAR, _at(1, 6, 0), "at 160 cuts, first reading: 42 gf"),
    Slip("the work typed as a reading", _value(3, 3, 2, 20), FAR, _at(3, 3, 2), "at 20 cuts, third reading: 20 gf"),
    Slip("a whole checkpoint ten times too high", _times(2, 3, 10), FAR, _at(2, 3), "at 20 cuts: all readings are about 10 times"),
    Slip("the last checkpoint a tenth", _times(1, 6, 0.1), FAR, _at(1, 6), "at 160 cuts: all readings are about 1/10"),
    Slip(
        "two slips in one run",
        _all(_value(0, 1, 2, 13.7), _value(0, 4, 1, 2280)),
        FAR,
        _at(0, 1, 2),
        "was 137 meant? The same is asked at 40 cuts, second reading",
    ),
    Slip("newtons chosen for grams of force", _field(1, reading_unit="N"), UNIT, "/runs/1/reading_unit", "is the unit gf, not N?"),
    Slip("kilograms of force for grams", _field(3, reading_unit="kgf"), UNIT, "/runs/3/reading_unit", "is the unit gf, not kgf?"),
    Slip("ounces of force for grams", _field(2, reading_unit="ozf"), UNIT, "/runs/2/reading_unit", "is the unit gf, not ozf?"),
    Slip("a stray >", _value(0, 4, 1, 228, limit="above"), STRAY, _at(0, 4, 1), "at 40 cuts, second reading: >228 gf"),
    Slip("a stray <", _value(2, 2, 0, 177, limit="below"), STRAY, _at(2, 2, 0), "at 10 cuts, first reading: <177 gf"),
    Slip("a stray > at the dullest reading", _value(1, 6, 1, 431, limit="above"), STRAY, _at(1, 6, 1), ">431 gf"),
    Slip(
        "a run copied from another", _field(2, readings=record()["runs"][1]["readings"]), "run-copied", _at(2, 0), "run 'run-2' throughout"
    ),
    Slip(
        "the second half of a run copied from another",
        _rows(3, to_4=(0, 4), to_5=(0, 5), to_6=(0, 6)),
        "run-copied",
        _at(3, 4),
        "from 40 cuts to 160 cuts",
    ),
    Slip(
        "two lines exchanged",
        _rows(1, to_1=(1, 5), to_5=(1, 1)),
        "sharper-again",
        _at(1, 2),
        "at 10 cuts: 1.8 times sharper than at 5 cuts",
    ),
    Slip(
        "a checkpoint of another run, much sharper",
        _rows(2, to_6=(3, 1)),
        "sharper-again",
        _at(2, 6),
        "at 160 cuts: 2.7 times sharper than at 80 cuts",
    ),
    Slip("a line typed twice", _rows(0, to_3=(0, 2)), "checkpoint-twice", _at(0, 3), "at 20 cuts: the very readings that stand at 10 cuts"),
    Slip("said to have gone to the last checkpoint", _stops(2, 5), "end-disagrees", "/runs/2/ended", "at 40 cuts of 160 cuts"),
    Slip(
        "another tester from 400 cuts on",
        _field(1, tester_change_at_work=400),
        "change-beyond",
        "/runs/1/tester_change_at_work",
        "work of 400 cuts is far beyond",
    ),
)


def slipped(slip: Slip) -> dict:
    """The honest record with one slip."""
    tree = record()
    slip.change(tree)
    return tree


def rows_of(tree: dict, protocol: Protocol) -> Rows:
    """A record of this kind on the sheet of its protocol."""
    rows = Rows(list(row) for row in csv.reader(io.StringIO(sheet_csv(ready_plan(protocol), protocol).decode())))
    rows.write("Month", tree["month"])
    rows.write("Sent in by", "A")
    people = rows.find("People") + 2
    for number, (letter, person) in enumerate(zip("AB", tree["people"], strict=True)):
        rows[people + number] = [letter, person["handle"], "yes"]
    rows[rows.find("Blades") + 2] = ["1", tree["blades"][0]["key"]]
    letters = {person["handle"]: letter for letter, person in zip("AB", tree["people"], strict=True)}
    for number, run in enumerate(tree["runs"], 1):
        rows.write("Sharpener", letters[tree["preparations"][number - 1]["sharpener"]], run=number)
        rows.write("Tester", letters[run["tester"]], run=number)
        rows.write("Reading unit", run["reading_unit"], run=number)
        rows.write("Ended", run["ended"], run=number)
        if "tester_change_at_work" in run:
            rows.write("Another tester from", str(run["tester_change_at_work"]), run=number)
        for reading in run["readings"]:
            rows.write(str(reading["work"]), *map(_cell, reading["values"]), run=number)
    return rows


def _cell(value: dict) -> str:
    sign = {"below": "<", "above": ">"}.get(value.get("limit"), "")
    return f"{sign}{value['written']}"


def sheet(tree: dict, protocol: Protocol) -> bytes:
    """The same as a CSV file."""
    return csv_text(rows_of(tree, protocol)).encode()


def cell_of(tree: dict, protocol: Protocol, place: str) -> str:
    """The cell of that sheet in which the value of a place stands, such as ``B40``."""
    rows, parts = rows_of(tree, protocol), place.split("/")
    labels = {"reading_unit": "Reading unit", "ended": "Ended", "tester_change_at_work": "Another tester from"}
    label = labels.get(parts[3]) or str(tree["runs"][int(parts[2])]["readings"][int(parts[4])]["work"])
    column = int(parts[6]) + 1 if parts[3] == "readings" else 1
    return f"{'ABCDEFGH'[column]}{rows.find(label, int(parts[2]) + 1) + 1}"
