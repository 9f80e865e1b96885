"""Sheets as people and spreadsheets leave them, written to tests/cases/sheets with what each must lead to.

What is expected is said here by hand and never computed by the reader of sheets. Run this again after changing a case or the lines
of a sheet::

    python -m tests.sheets.write_corpus
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.sheets.filling import Rows, csv_text, filled, filled_levels, filled_paper

CORPUS = Path(__file__).parents[1] / "cases" / "sheets"
ABSENT = "(nothing stands here)"
FIRST = "/runs/0/readings/1/values/0/written"  # the first value after 5 cuts


@dataclass(frozen=True)
class Case:
    """One file and what it must lead to.

    Attributes
    ----------
    why : what happened to it.
    asks : every question of the reader of sheets: cell and code.
    checked : every further question, of the check against the protocol: cell and code.
    values : what must stand in the submission, by JSON pointer.
    said : cells of which something must be said.
    """

    name: str
    why: str
    data: bytes
    asks: tuple[tuple[str, str], ...] = ()
    checked: tuple[tuple[str, str], ...] = ()
    values: dict[str, object] = field(default_factory=dict)
    said: tuple[str, ...] = ()


class Sheet:
    """A sheet filled in without a slip, before something happens to it."""

    def __init__(self, rows: Rows | None = None) -> None:
        self.rows = filled() if rows is None else rows

    def write(self, label: str, *cells: str, run: int = 0) -> Sheet:
        self.rows.write(label, *cells, run=run)
        return self

    def label(self, old: str, new: str, run: int = 0) -> Sheet:
        self.rows[self.rows.find(old, run)][0] = new
        return self

    def below(self, label: str, *cells: str, run: int = 0) -> Sheet:
        self.rows.append_to(label, list(cells), run)
        return self

    def at(self, label: str, column: str = "B", run: int = 0, further: int = 0) -> str:
        """The name of a cell beside a label, or in a row further down."""
        return f"{column}{self.rows.find(label, run) + 1 + further}"

    def case(self, name: str, why: str, *asks: tuple[str, str], **more: object) -> Case:
        return Case(f"{name}.csv", why, csv_text(self.rows).encode(), asks, **more)


GOOD = {
    FIRST: 1.4,
    "/runs/1/ended": "last checkpoint",
    "/preparations/1/sharpener": "tern",
    "/people/0/handle": "wren",
    "/submitted_by": "wren",
    "/month": "2026-05",
    "/runs/1/readings/4/values/1/written": 3.5,
    "/blades/0/key": "wren.galley",
    "/runs/0/work_unit": "cut",
}


def as_saved() -> list[Case]:
    """The same sheet as different spreadsheets save it."""
    text, tabs = csv_text(filled()), csv_text(filled(), "\t")
    decimal = filled()
    for run in (1, 2):
        for work in ("0", "5", "10", "20", "40"):
            row = decimal[decimal.find(work, run)]
            row[1:3] = [cell.replace(".", ",") for cell in row[1:3]]
    fives = [decimal.find("5", run) + 1 for run in (1, 2)]
    unquoted = csv_text(decimal).replace('5,"1,4","1,5"', "5,1,4,1,5")
    parted = tuple((f"{column}{row}", code) for row in fives for column, code in (("D", "decimal-comma"), ("E", "stray-cell")))
    widest = max(map(len, filled()))
    padded = Rows([*row, *[""] * (widest - len(row))] for row in filled())
    return [
        Case("clean.csv", "nothing is wrong", text.encode(), values=GOOD),
        Case(
            "byte-order-mark.csv", "CSV UTF-8 as a spreadsheet saves it", b"\xef\xbb\xbf" + text.encode(), values=GOOD, said=("the file",)
        ),
        Case("utf-16.csv", "Unicode text: UTF-16 with tabs", b"\xff\xfe" + tabs.encode("utf-16-le"), values=GOOD, said=("the file",)),
        Case("utf-16-other-way.csv", "UTF-16, the high byte first", b"\xfe\xff" + tabs.encode("utf-16-be"), values=GOOD),
        Case(
            "semicolons.csv",
            "semicolons and decimal commas",
            csv_text(decimal, ";").encode(),
            values={FIRST: "1,4"},
            said=(f"B{fives[0]}",),
        ),
        Case("line-feeds.csv", "line feeds only", csv_text(filled(), line_end="\n").encode(), values=GOOD),
        Case("carriage-returns.csv", "carriage returns only", csv_text(filled(), line_end="\r").encode(), values=GOOD),
        Case(
            "separator-line.csv",
            "a first line that names what parts the cells",
            b"sep=;\r\n" + csv_text(filled(), ";").encode(),
            values=GOOD,
        ),
        Case("quoted-decimal-commas.csv", "decimal commas in quotation marks", csv_text(decimal).encode(), values={FIRST: "1,4"}),
        Case("decimal-commas-part-cells.csv", "decimal commas without them, in one row of each run", unquoted.encode(), parted),
        Case("padded.csv", "every row as wide as the widest", csv_text(padded).encode(), values=GOOD),
        Sheet()
        .write("Note on the run", 'said "fine", then\nrested', run=1)
        .case(
            "note-of-two-lines",
            "a note with quotation marks, a comma and a line break",
            values={"/runs/0/note": 'said "fine", then\nrested'},
        ),
    ]


def as_written() -> list[Case]:
    """What people write into cells."""
    fractions = Sheet().write("5", "3 1/8", "25 (5)", run=1).write("10", "2.50", "½", run=1)
    thick = Sheet()
    heading = thick.rows.find("Blades") + 1
    thick.rows[heading][8] = "Thickness behind the edge (in)"
    thick.rows[heading + 1] = ["1", "wren.galley", "AISI 1095", "60,5", "Measured", "plain", "", "", '1-5/8"', "reground"]
    limits = Sheet().write("20", "31 above", "> 31", run=1).write("0", "below 0", "0 below", run=1)
    units = Sheet().write("Angle", "15°", run=1).write("The angle is", "Per Side", run=1).write("Humidity", "60 %", run=1)
    units.write("How sure", "75%", run=1).write("Guess: whose edge", "b", run=1).write("Guess: which blade", "1", run=1)
    stages = Sheet().write("Abrasives as printed", "coarse", "", "fine", run=2).write("Sharpening took", "12,5", run=2)
    lots = Sheet().write("Lot", "wren.coil", run=1).write("Lot", "wren.coil", run=2).write("New lot from", "20", run=2)
    lots.write("New lot", "wren.second", run=2).write("Instrument", "wren.scale", run=1).write("Another tester from", "10", run=2)
    early = Sheet().label("20", "22", run=1)
    cases = [
        fractions.case(
            "fractions",
            "fractions, an uncertainty, closing zeros",
            values={
                FIRST: "3 1/8",
                "/runs/0/readings/1/values/1/written": "25 (5)",
                "/runs/0/readings/2/values/0/written": "2.50",
                "/runs/0/readings/2/values/1/written": "½",
            },
            said=(fractions.at("5", "B", 1), fractions.at("5", "C", 1), fractions.at("10", "C", 1)),
        ),
        thick.case(
            "inches",
            "a heading in inches, a mark behind the number, a decimal comma in the hardness",
            values={
                "/blades/0/thickness_behind_edge": {"written": '1-5/8"', "unit": "in"},
                "/blades/0/hardness": {"hrc": 60.5, "known_by": "measured"},
                "/blades/0/steel/designation": "AISI 1095",
                "/blades/0/note": "reground",
            },
            said=(f"D{heading + 2}", f"E{heading + 2}", f"I{heading + 2}"),
        ),
        limits.case(
            "limits",
            "over and under the scale's end",
            values={
                "/runs/0/readings/3/values/0": {"written": 31, "limit": "above"},
                "/runs/0/readings/3/values/1": {"written": 31, "limit": "above"},
                "/runs/0/readings/0/values/0": {"written": 0, "limit": "below"},
                "/runs/0/readings/0/values/1": {"written": 0, "limit": "below"},
            },
        ),
        units.case(
            "marks",
            "marks of units behind numbers, words in capitals, letters of people",
            values={
                "/preparations/0/edge_angle": {"left_deg": 15, "basis": "per side"},
                "/runs/0/humidity_percent": 60,
                "/runs/0/tester_guess": {"sharpener": "tern", "blade": "wren.galley", "confidence_percent": 75},
            },
        ),
        stages.case(
            "stages",
            "two abrasives with an empty cell between",
            values={"/preparations/1/stages": [{"as_printed": "coarse"}, {"as_printed": "fine"}], "/preparations/1/minutes": 12.5},
        ),
        lots.case(
            "lots",
            "lots and instruments named in the runs",
            values={
                "/lots": [{"key": "wren.coil"}, {"key": "wren.second"}],
                "/instruments": [{"key": "wren.scale"}],
                "/runs/1/lot_changes": [{"at_work": 20, "lot": "wren.second"}],
                "/runs/1/tester_change_at_work": 10,
            },
        ),
        early.case("read-at-22", "read at 22 cuts instead of 20", values={"/runs/0/readings/3/work": 22}),
        Sheet()
        .write("Note", "=1+1")
        .write("Note on the run", "-2 to go", run=1)
        .case("formula-as-text", "texts that look like formulas stay texts", values={"/note": "=1+1", "/runs/0/note": "-2 to go"}),
    ]
    slips = [
        ("january", "5", "3-Jan", "not-a-number", "a spreadsheet made a date of a fraction"),
        ("ambiguous-comma", "5", "1,234", "not-a-number", "a thousand, or a decimal"),
        ("range", "5", "1.4-1.6", "not-a-number", "a range"),
        ("with-unit", "5", "1.4 N", "not-a-number", "a unit behind a value"),
        ("hash-marks", "5", "###", "not-a-number", "the column was too narrow when it was copied"),
        ("unknown-ending", "Ended", "chipped", "unknown-word", "an ending of the tester's own"),
        ("misspelt-ending", "Ended", "Last chekpoint", "unknown-word", "a word mistyped"),
        ("angle-with-uncertainty", "Angle", "15 (2)", "not-a-number", "a field that keeps no uncertainty"),
        ("angle-in-percent", "Angle", "15%", "not-a-number", "the mark of another unit"),
    ]
    for name, label, text, code, why in slips:
        sheet = Sheet().write(label, text, run=1)
        if label == "Angle":
            sheet.write("The angle is", "per side", run=1)
        cases.append(sheet.case(name, why, (sheet.at(label, run=1), code)))
    return cases


def as_laid_out() -> list[Case]:
    """Lines, columns and runs that are more, fewer or other than drawn."""
    nobody = Sheet()
    nobody.rows[nobody.rows.find("People") + 3][1] = ""
    no = Sheet()
    no.rows[no.rows.find("People") + 3][2] = "no"
    weather = Sheet().below("Ended", "Weather", "rain", run=2)
    misspelt = Sheet().label("Ended", "Endet", run=1)
    columns = Sheet()
    columns.rows[columns.rows.find("Work done", 1)][3:] = ["Note", "Mood"]
    columns.rows[columns.rows.find("5", 1)][3:] = ["", "good"]
    third = Sheet()
    third.rows[third.rows.find("Work done", 1)][3] = "Value 3"
    third.rows[third.rows.find("Work done", 1)].append("Note")
    third.rows[third.rows.find("5", 1)][3:] = ["1.6", "the thread slipped"]
    beside = Sheet().write("Tester", "A", "B", run=1)
    moods = Sheet()
    moods.rows[moods.rows.find("People") + 1].append("Mood")
    nameless = Sheet().below("Note", "", "rained all evening")
    headed = Sheet().below("10", "Work done (cut)", "Value 1", "Value 2", run=1)
    twice = Sheet().below("Ended", "Ended", "dull", run=1)
    again = Sheet().label("Run 2", "Run 1")
    left = Sheet()
    for label in ("Tester", "Ended"):
        left.write(label, "", run=2)
    for work in ("0", "5", "10", "20", "40"):
        left.write(work, "", "", run=2)
    more = Sheet()
    start = more.rows.find("Run 2")
    more.rows += [[], *[list(row) for row in more.rows[start:]]]
    more.rows[len(more.rows) - (len(more.rows) - start - 1) // 2][0] = "Run 3"
    work = Sheet().label("20", "", run=1)
    unit = Sheet().label("Work done", "Work done (m)", run=1)
    remark = Sheet().below("Ended", "# rained all evening", "a lot", run=1)
    missing = Sheet().write("Tester", "", run=2).write("Reading unit", "", run=1)
    stranger = Sheet().write("Sharpener", "gannet", run=1)
    repeats = Sheet().write("5", "1.4", "", run=1)
    characters = Sheet().write("Note", "a \u202eb").write("Note on the run", "bell \x07", run=1)
    ordered = Sheet()
    people = ordered.rows[ordered.rows.find("People") : ordered.rows.find("Blades")]
    del ordered.rows[ordered.rows.find("People") : ordered.rows.find("Blades")]
    ordered.rows += [[], *people]
    own = Sheet().below("Ended", "# for ourselves: rained", run=1)
    return [
        nobody.case("no-handle", "a letter without a handle", (nobody.at("People", "B", further=3), "no-name")),
        no.case("not-agreed", "somebody said no", (no.at("People", "C", further=3), "unknown-word")),
        weather.case("own-line", "a line that the sheet does not have", (weather.at("Weather", "A", 2), "unknown-line")),
        misspelt.case(
            "misspelt-line",
            "a label mistyped",
            (misspelt.at("Endet", "A", 1), "unknown-line"),
            checked=((misspelt.at("Run 1", "A"), "missing-field"),),
        ),
        columns.case(
            "own-column",
            "a column that the sheet does not have",
            (columns.at("Work done", "E", 1), "unknown-column"),
            (columns.at("5", "E", 1), "stray-cell"),
        ),
        third.case(
            "third-value",
            "a column for one repeat more",
            values={"/runs/0/readings/1/values/2/written": 1.6, "/runs/0/readings/1/note": "the thread slipped"},
        ),
        beside.case("beside", "something beside the cell for it", (beside.at("Tester", "C", 1), "stray-cell")),
        Case(
            "beside-semicolons.csv",
            "the same, parted by semicolons",
            csv_text(beside.rows, ";").encode(),
            ((beside.at("Tester", "C", 1), "stray-cell"),),
        ),
        moods.case(
            "own-column-of-people", "a column for people that the sheet does not have", (moods.at("On this sheet", "E"), "unknown-column")
        ),
        nameless.case("no-label", "a row that nothing is written before", (nameless.at("Note", "A", 0, 1), "unknown-line")),
        headed.case("heading-twice", "the heading of the readings again", (headed.at("10", "A", 1, 1), "twice")),
        twice.case("line-twice", "a line that was copied and changed", (twice.at("Ended", "A", 1, 1), "twice")),
        again.case("run-twice", "two runs of one number", (f"A{again.rows.find('Run 1', 2) + 1}", "twice")),
        left.case(
            "not-begun",
            "a run that was drawn and never begun",
            values={"/runs/1": ABSENT, "/preparations/1": ABSENT, "/runs/0/ended": "last checkpoint"},
        ),
        more.case("third-run", "a block copied for a third run", values={"/runs/2/order": 3, "/runs/2/readings/4/values/1/written": 3.5}),
        work.case("no-work", "a reading without the amount of work", (f"A{work.rows.find('10', 1) + 2}", "no-work")),
        unit.case(
            "other-unit",
            "the readings in a unit that the rest of the run is not in",
            (unit.at("Meant to go to", "A", 1), "other-unit"),
            checked=((unit.at("Work done", "A", 1), "wrong-unit"),),
        ),
        remark.case(
            "beside-a-remark", "something beside a line for people only", (remark.at("# rained all evening", "B", 1), "stray-cell")
        ),
        own.case("own-remark", "a line for people only", values=GOOD),
        missing.case("left-empty", "no tester, no unit", checked=((missing.at("Tester", "B", 2), "missing-field"),)),
        stranger.case(
            "stranger", "a sharpener who is not among the people", checked=((stranger.at("Sharpener", "B", 1), "unknown-person"),)
        ),
        repeats.case("one-repeat", "one value where two were meant", values={"/runs/0/readings/1/values/1": ABSENT}),
        characters.case(
            "characters",
            "characters that nobody types",
            (characters.at("Note"), "direction-override"),
            (characters.at("Note on the run", "B", 1), "control-character"),
        ),
        ordered.case("people-last", "the people below the runs", values=GOOD),
    ]


def refused() -> list[Case]:
    """Files that are no sheet, or too much of one."""
    text = csv_text(filled())
    wide = Sheet()
    wide.rows[wide.rows.find("5", 1)] += ["x"] * 170
    other = text.replace("version 1.0.0", "version 7.0.0", 1)
    return [
        Case(
            "latin.csv",
            "saved in an old encoding, with an accent in it",
            text.replace("Note,", "Note,caf\u00e9", 1).encode("cp1252", "ignore"),
            (("the file", "not-text"),),
        ),
        Case("utf-16-without-mark.csv", "UTF-16 without a byte order mark", text.encode("utf-16-le"), (("the file", "not-text"),)),
        Case("utf-32.csv", "UTF-32", b"\xff\xfe\x00\x00" + text.encode("utf-32-le"), (("the file", "not-text"),)),
        Case("own-table.csv", "a table of somebody's own", b"cuts,force\r\n0,1.1\r\n5,1.4\r\n", (("the file", "not-a-sheet"),)),
        Case("empty.csv", "nothing at all", b"", (("the file", "not-a-sheet"),)),
        Case("other-version.csv", "a version that there is not", other.encode(), checked=(("the file", "unknown-protocol"),)),
        Case(
            "open-quotes.csv",
            "a quotation mark that is never closed",
            (text + 'Note,"and').encode(),
            ((f"row {text.count(chr(10)) + 1}", "bad-quotes"),),
        ),
        Case(
            "inch-marks-in-quotes.csv",
            "quotation marks inside a quoted cell that are not doubled",
            text.replace("Note,", 'Note,"a 3" blade"', 1).encode(),
            (("row 19", "bad-quotes"),),
        ),
        Case("170-columns.csv", "170 columns more", csv_text(wide.rows).encode(), ((f"row {wide.rows.find('5', 1) + 1}", "too-wide"),)),
        Case("too-many-rows.csv", "5,000 rows more", (text + "\r\n" * 5_001).encode(), (("row 5001", "too-long"),)),
        Case(
            "long-cell.csv",
            "a cell of six thousand characters",
            text.replace("Note,", "Note," + "a" * 6_000, 1).encode(),
            (("row 19", "cell-too-long"),),
        ),
    ]


def pass_or_fail() -> list[Case]:
    """Sheets of a protocol that reads pass or fail."""
    short = Sheet(filled_paper()).write("5", "P", "f", run=1)
    maybe = Sheet(filled_paper()).write("5", "pass", "maybe", run=1)
    return [
        Sheet(filled_paper()).case("paper-clean", "nothing is wrong", values={"/runs/0/readings/0/outcomes": ["pass", "pass"]}),
        short.case(
            "paper-letters", "first letters", values={"/runs/0/readings/1/outcomes": ["pass", "fail"]}, said=(short.at("5", "B", 1),)
        ),
        maybe.case("paper-maybe", "neither pass nor fail", (maybe.at("5", "C", 1), "unknown-word")),
    ]


def levels() -> list[Case]:
    """Sheets of a protocol whose levels are told by the last abrasive."""
    rows = filled_levels()
    words = {run: rows[rows.find("Level", run)][1] for run in range(1, 1 + sum(1 for row in rows if row and row[0].startswith("Run ")))}
    coarse, fine = (next(run for run, word in words.items() if word == wanted) for wanted in ("coarse", "fine"))
    sized = Sheet(filled_levels()).write("Abrasives as printed", "grey", "brown", run=coarse)
    sized.write("Size of the last abrasive", "35", run=coarse).write("Abrasives as printed", "white", run=fine)
    sized.write("Size of the last abrasive", "3,5", run=fine)
    # The size above the abrasives, as somebody who moved the lines would have it, and a word where a number belongs.
    moved = Sheet(filled_levels()).write("Abrasives as printed", "grey", "brown", run=coarse)
    line = moved.rows.pop(moved.rows.find("Size of the last abrasive", coarse))
    moved.rows.insert(moved.rows.find("Abrasives as printed", coarse), [line[0], "coarse"])
    alone = Sheet(filled_levels()).write("Size of the last abrasive", "35", run=coarse)
    return [
        sized.case(
            "levels-sized",
            "the last abrasive's size belongs to the last of those printed",
            values={
                f"/preparations/{coarse - 1}/stages": [{"as_printed": "grey"}, {"as_printed": "brown", "micrometres": 35}],
                f"/preparations/{fine - 1}/stages": [{"as_printed": "white", "micrometres": 3.5}],
                f"/runs/{coarse - 1}/level": "coarse",
            },
            said=(sized.at("Size of the last abrasive", "B", fine),),
        ),
        moved.case(
            "levels-moved", "the size stands first, and is a word", (moved.at("Size of the last abrasive", "B", coarse), "not-a-number")
        ),
        alone.case(
            "levels-alone",
            "a size, and no abrasive that it is of",
            checked=((alone.at("Abrasives as printed", "B", coarse), "missing-field"),),
            values={f"/preparations/{coarse - 1}/stages": [{"micrometres": 35}]},
        ),
    ]


def csv_cases() -> list[Case]:
    """Every CSV file of the corpus."""
    return [*as_saved(), *as_written(), *as_laid_out(), *refused(), *pass_or_fail(), *levels()]


def write(folder: Path = CORPUS) -> None:
    """Write every file, and what each must lead to beside them."""
    from tests.sheets.workbooks import xlsx_cases

    folder.mkdir(parents=True, exist_ok=True)
    cases = [*csv_cases(), *xlsx_cases()]
    for case in cases:
        (folder / case.name).write_bytes(case.data)
    expected = [{name: value for name, value in asdict(case).items() if name != "data" and value} for case in cases]
    (folder / "expected.json").write_text(json.dumps(expected, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
