"""Rows of a sheet to a submission as plain values: what each cell means, where it went, what must be asked, and a tally of all rows.

Whether the values fit the protocol is not looked at here; that is for the check. ``site/pages/assets/form/sheet.js`` does the
same in the browser, and the files of ``tests/sheets/corpus`` hold the two to each other.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Callable, Collection

from edgehold.records.model.submission import SUBMISSION_FORMAT
from edgehold.records.problem import shown
from edgehold.records.read.opening import unfit_characters

from .cell_values import CellValue, folded, is_number, number, outcome, reading_value, word, written
from .cells import Question, Table, trimmed
from .filling import Filling, Place, list_in
from .lines import LineRule, SheetRules

Columns = list[tuple[str, str]]
"""Of each column of a table, what it is called and what stands in parentheses behind it."""

LABEL = re.compile(r"([^(]*)(?:\(([^()]*)\))?[\s\S]*")
RUN = re.compile(r"run ([1-9][0-9]{0,5})")
REPEAT = re.compile(r"(?:value|outcome) [1-9][0-9]?")
DIGIT = re.compile("[0-9¼-¾⅐-⅞]")
VERSION = re.compile(r"(?:version )?([0-9]+\.[0-9]+\.[0-9]+)")
_MONTH = "/month"


def protocol_named(table: Table, marker: str) -> tuple[str, str] | None:
    """Id and version of the protocol that a sheet names, or None where no row begins with the marker."""
    for row in table.rows:
        if row and folded(row[0]) == marker.casefold():
            version = VERSION.fullmatch(_text(row, 2))
            return _text(row, 1), version[1] if version else _text(row, 2)
    return None


def interpret(table: Table, rules: SheetRules, protocol: tuple[str, str]) -> Filling:
    """Read a sheet.

    Parameters
    ----------
    table : its rows.
    rules : ``lines.sheet_rules`` of the protocol it follows.
    protocol : that protocol's id and version.
    """
    return _Reader(table, rules, protocol).read()


class _Reader:
    """One sheet, row by row; it knows which part it is in."""

    def __init__(self, table: Table, rules: SheetRules, protocol: tuple[str, str]) -> None:
        self.table, self.rules, self.remark, self.note = table, rules, rules["remark"], rules["note"]
        followed = {"id": protocol[0], "version": protocol[1]}
        self.to = Filling({"format": SUBMISSION_FORMAT, "protocol": followed, "licence": "CC0-1.0"})
        self.kinds: dict[int, str] = {}
        self.part, self.run = "", -1
        self.columns: Columns | None = None
        self.first_row_of: dict[str, int] = {}
        self.rows_of_run: dict[int, list[int]] = {}
        self.begun: set[int] = set()
        self.met: dict[tuple[str, int, str], int] = {}
        self.letters: dict[str, dict[str, tuple[str, Place]]] = {"people": {}, "blades": {}}
        self.named: list[tuple[str, str, Place, str]] = []
        self.amounts: list[tuple[int, str, Place, str]] = []

    def read(self) -> Filling:
        for at_row, cells in enumerate(self.table.rows, 1):
            row = [trimmed(cell) for cell in cells]
            if any(row):
                self._characters(at_row, row)
                self.kinds[at_row] = self._row(at_row, row)
        self._names()
        self._work_units()
        self._odd_cells()
        self._leave_out_runs()
        self._list_lots_and_instruments()
        self.to.questions = _one_a_cell(self.to.questions, set(self.table.odd) | set(self.table.dates))
        self.kinds |= {question.row: "asked about" for question in self.to.questions}
        asked = {(question.row, question.column) for question in self.to.questions}
        self.to.said = {place: text for place, text in self.to.said.items() if place not in asked}
        self.to.tally = dict(sorted(Counter(self.kinds.values()).items()))
        return self.to

    def _row(self, at_row: int, row: list[str]) -> str:
        """Read one row; what kind of row it is."""
        if row[0].startswith(self.remark):
            self._stray(at_row, row, range(2))
            return "remarks"
        label, _ = _label(row[0])
        run = RUN.fullmatch(label)
        if label == self.rules["marker"].casefold():
            self._stray(at_row, row, range(4))
            return "headings"
        if run or label in self.rules["tables"]:
            self._stray(at_row, row, range(2))
            self.part, self.columns = ("run" if run else label), None
            if run:
                self._begin_run(at_row, run[1])
            return self._of_run(at_row, "headings")
        if self.part in self.rules["tables"]:
            return self._table_row(at_row, row)
        if self.part == "run":
            return self._of_run(at_row, self._run_row(at_row, row, label))
        return self._line(at_row, row, label, self.rules["head"], 0)

    def _of_run(self, at_row: int, kind: str) -> str:
        if self.part == "run":
            self.rows_of_run.setdefault(self.run, []).append(at_row)
        return kind

    # -- lines with a label ------------------------------------------------------------------------------------------

    def _line(self, at_row: int, row: list[str], label: str, lines: dict[str, LineRule], entry: int) -> str:
        line = lines.get(label)
        if line is None:
            return self._unknown_line(at_row, label, lines)
        several = line["kind"] == "several"
        self._stray(at_row, row, range(len(row) + 1 if several else 3))
        if not any(row[1:]):
            if line["at"]:
                self.to.place(_bound(line["at"], entry, 0), (at_row, 2))
            return "left empty"
        met = (self.part, entry, label)
        if met in self.met:
            message = f"{shown(row[0])} stands in row {self.met[met]} already"
            self.to.ask((at_row, 1), "twice", message, "keep the one that is meant")
            return "lines"
        self.met[met] = at_row
        if self.part == "run" and not line["drawn"]:
            self.begun.add(entry)
        columns = [c for c in range(2, len(row) + 1) if row[c - 1]] if several else [2]
        for inside, column in enumerate(columns):
            if _text(row, column - 1):
                self._cell(line, _bound(line["at"], entry, inside), (at_row, column), row[column - 1], _label(row[0])[1])
        return "lines"

    def _unknown_line(self, at_row: int, label: str, lines: dict[str, LineRule]) -> str:
        close = difflib.get_close_matches(label[:60], list(lines), n=1, cutoff=0.7)
        cure = f"did you mean {close[0]!r}?" if close else f'put it into a line for notes, or begin it with "{self.remark}"'
        message = f"{shown(label)} is no line of this part of the sheet" if label else "nothing says what this row is"
        self.to.ask((at_row, 1), "unknown-line", message, cure)
        return "lines"

    def _cell(self, line: LineRule, pointer: str, place: Place, text: str, hint: str) -> None:
        """Write what a cell says into the tree."""
        if not pointer:
            return
        kind, to = line["kind"], self.to
        to.place(pointer, place)
        if kind in ("person", "blade"):
            self.named.append(("people" if kind == "person" else "blades", pointer, place, text))
            return
        if kind == "quantity":
            to.places[f"{pointer}/unit"] = place
            to.put(pointer, {"written": to.take(written(text), f"{pointer}/written", place), "unit": hint})
            return
        if kind == "written":
            self.amounts.append((self.run, pointer, place, hint))
        to.put(pointer, to.take(self._value_of(line, pointer, place, text), pointer, place))

    def _value_of(self, line: LineRule, pointer: str, place: Place, text: str) -> CellValue:
        if pointer == _MONTH and place in self.table.dates:
            return self._month(*self.table.dates.pop(place))
        match line["kind"]:
            case "word":
                return word(text, line["words"])
            case "number":
                return number(text, line["mark"])
            case "written":
                return written(text)
            case _:
                return CellValue(text)

    def _month(self, year: int, month: int, day: int) -> CellValue:
        """A spreadsheet makes the first day of a month of it."""
        meant, date = f"{year:04d}-{month:02d}", f"{year:04d}-{month:02d}-{day:02d}"
        if day == 1:
            return CellValue(meant, f"the date {date} read as the month {meant}")
        return CellValue(meant, "", "date", f"the cell holds the date {date}", "write the month as text, like 2026-05")

    # -- tables of people and blades -----------------------------------------------------------------------------------

    def _table_row(self, at_row: int, row: list[str]) -> str:
        lines = self.rules["tables"][self.part]
        if self.columns is None:
            self.columns = [_label(text) for text in row]
            self._unknown_columns(at_row, row, self.columns, lambda label: label in lines, "take the column out")
            return "headings"
        named = {label: column for column, (label, _) in enumerate(self.columns, 1) if label in lines}
        self._stray(at_row, row, named.values())
        self._letter(at_row, row, named)
        filled = [label for label, column in named.items() if _text(row, column - 1) and not lines[label]["drawn"]]
        if not filled:
            return "left empty"
        entry = len(self.to.list_of(self.part))
        self.to.list_of(self.part).append({})
        self.to.places[f"/{self.part}/{entry}"] = (at_row, 1)
        for label, column in named.items():
            pointer, text = _bound(lines[label]["at"], entry, 0), _text(row, column - 1)
            if text:
                self._cell(lines[label], pointer, (at_row, column), text, self.columns[column - 1][1])
            elif pointer:
                self.to.place(pointer, (at_row, column))
        return self.part

    def _letter(self, at_row: int, row: list[str], named: dict[str, int]) -> None:
        """Remember what the letter of an entry stands for: the name beside it."""
        column = named.get("handle") or named.get("key") or 1
        letter, name = _text(row, named.get(self.rules["letter"], 0) - 1), _text(row, column - 1)
        for known in filter(None, (folded(letter), name)):
            if name or known not in self.letters[self.part]:
                self.letters[self.part][known] = (name, (at_row, column))

    def _names(self) -> None:
        """Names, and letters that stand for one; the tables may stand below what refers to them."""
        asked = set()
        for part, pointer, place, text in self.named:
            letters = self.letters[part]
            known = next((known for known in (text, folded(text)) if known in letters), None)
            if known is None:
                self.to.put(pointer, text)
                continue
            name, beside = letters[known]
            if name:
                said = f"{shown(text)} read as {name!r}" if text.casefold() == name and text != name else ""
                self.to.put(pointer, self.to.take(CellValue(name, said), pointer, place))
                continue
            self.to.asked.add(pointer)
            if (part, known) not in asked:
                what = "handle" if part == "people" else "key"
                self.to.ask(beside, "no-name", f"no {what} stands beside {shown(text)}", f"write the {what} here")
                asked.add((part, known))

    # -- runs and their readings ---------------------------------------------------------------------------------------

    def _begin_run(self, at_row: int, order: str) -> None:
        if order in self.first_row_of:
            message = f"run {order} began in row {self.first_row_of[order]} already"
            self.to.ask((at_row, 1), "twice", message, "number the runs in the order made")
        self.first_row_of.setdefault(order, at_row)
        self.run += 1
        names = {"id": f"run-{order}", "order": int(order), "preparation": f"edge-{order}", "work_unit": self.rules["work_unit"]}
        self.to.list_of("runs").append({**names, "readings": []})
        self.to.list_of("preparations").append({"id": f"edge-{order}"})
        for pointer in (*(f"/runs/{self.run}/{name}" for name in (*names, "readings")), f"/preparations/{self.run}/id"):
            self.to.place(pointer, (at_row, 1))

    def _run_row(self, at_row: int, row: list[str], label: str) -> str:
        if label == self.rules["work"]:
            return self._reading_headings(at_row, row)
        known = label in self.rules["lines"]
        if known or self.columns is None or (label and not DIGIT.search(label)):
            return self._line(at_row, row, label, self.rules["lines"], self.run)
        return self._reading(at_row, row, self.columns)

    def _reading_headings(self, at_row: int, row: list[str]) -> str:
        if self.columns is not None:
            self.to.ask((at_row, 1), "twice", "the readings of this run have a heading already", "keep one heading a run")
        self.columns = [_label(text) for text in row]
        unit = self.columns[0][1] or self.rules["work_unit"]
        self.to.put(f"/runs/{self.run}/work_unit", self.to.take(CellValue(unit), f"/runs/{self.run}/work_unit", (at_row, 1)))
        self._unknown_columns(
            at_row, row, self.columns, lambda label: self._is_repeat(label) or label == self.note, "call it value and its number, or note"
        )
        return "headings"

    def _is_repeat(self, label: str) -> bool:
        return REPEAT.fullmatch(label) is not None

    def _reading(self, at_row: int, row: list[str], headings: Columns) -> str:
        columns = {c: label for c, (label, _) in enumerate(headings, 1) if c > 1 and (self._is_repeat(label) or label == self.note)}
        self._stray(at_row, row, {1, *columns})
        read = [(column, label, row[column - 1]) for column, label in columns.items() if _text(row, column - 1)]
        if not read:
            return "not read"
        self.begun.add(self.run)
        readings = list_in(self.to.entries("runs")[self.run], "readings")
        pointer, name = f"/runs/{self.run}/readings/{len(readings)}", "outcomes" if self.rules["outcomes"] else "values"
        reading: dict[str, object] = {}
        readings.append(reading)
        self.to.places[pointer], self.to.places[f"{pointer}/{name}"] = (at_row, 1), (at_row, 2)
        self._work(f"{pointer}/work", (at_row, 1), row[0])
        self._repeats(reading, f"{pointer}/{name}", at_row, [(c, text) for c, label, text in read if label != self.note])
        for column, label, text in read:
            if label == self.note:
                self._reading_note(f"{pointer}/note", (at_row, column), text)
        return "readings"

    def _work(self, pointer: str, place: Place, text: str) -> None:
        if text:
            self.to.put(pointer, self.to.take(written(text), pointer, place))
        else:
            self.to.ask(place, "no-work", "nothing says how much work was done before this reading", "write the work done", pointer)

    def _repeats(self, reading: dict[str, object], pointer: str, at_row: int, read: list[tuple[int, str]]) -> None:
        outcomes, name = self.rules["outcomes"], pointer.rpartition("/")[2]
        for inside, (column, text) in enumerate(read):
            place, at = (at_row, column), f"{pointer}/{inside}"
            repeats = list_in(reading, name)
            if outcomes:
                repeats.append(self.to.take(outcome(text, outcomes), at, place))
                continue
            value, limit = reading_value(text)
            self.to.places[at] = place
            repeats.append({"written": self.to.take(value, f"{at}/written", place)} | ({"limit": limit} if limit else {}))

    def _reading_note(self, pointer: str, place: Place, text: str) -> None:
        self.to.put(pointer, self.to.take(CellValue(text), pointer, place))
        if self.table.comma and is_number(text):
            message = f"a number, {shown(text)}, stands where the note of a reading belongs: does a decimal comma part cells here?"
            self.to.ask(place, "decimal-comma", message, "write points for decimals, or part the cells by semicolons", pointer)

    def _work_units(self) -> None:
        """Every amount of work of a run stands in the unit of its readings; only one unit is kept."""
        for run, pointer, (row, _), hint in self.amounts:
            unit = self.to.entries("runs")[run]["work_unit"]
            if hint and unit != hint:
                message = f"this line is in {shown(hint)}, the run's readings in {shown(unit)}"
                self.to.ask((row, 1), "other-unit", message, "write both in the same unit, and name it in both headings", pointer)

    # -- what is asked of any cell -------------------------------------------------------------------------------------

    def _unknown_columns(self, at_row: int, row: list[str], columns: Columns, known: Callable[[str], bool], cure: str) -> None:
        for column, (label, _) in enumerate(columns, 1):
            if label and not known(label) and not (self.part == "run" and column == 1):
                self.to.ask((at_row, column), "unknown-column", f"{shown(row[column - 1])} is no column of this table", cure)

    def _stray(self, at_row: int, row: list[str], allowed: Collection[int]) -> None:
        """Ask about cells that stand where nothing is asked."""
        for column, text in enumerate(row, 1):
            if text and column not in allowed:
                cure = "write points for decimals, or part the cells by semicolons" if self.table.comma else "move it to where it belongs"
                self.to.ask((at_row, column), "stray-cell", f"{shown(text)} stands where nothing is asked", cure)

    def _characters(self, at_row: int, row: list[str]) -> None:
        for column, text in enumerate(row, 1):
            for problem in unfit_characters(text):
                self.to.ask((at_row, column), problem.code, problem.message, "delete it, or type the text again")

    def _odd_cells(self) -> None:
        for place, odd in self.table.odd.items():
            self.to.ask(place, odd.code, odd.message, odd.cure)
        for place, (year, month, day) in self.table.dates.items():
            message = f"the cell holds the date {year:04d}-{month:02d}-{day:02d}"
            self.to.ask(place, "date", message, "type what was meant again, in a cell marked as text")
        asked = {(question.row, question.column) for question in self.to.questions}
        self.to.asked |= {pointer for pointer, place in self.to.places.items() if place in asked}
        self.to.said = self.table.said | self.to.said

    # -- after the last row --------------------------------------------------------------------------------------------

    def _leave_out_runs(self) -> None:
        """Runs that were drawn and never begun are no runs of the submission."""
        for run in sorted(set(self.rows_of_run) - self.begun, reverse=True):
            self.to.leave_out_run(run)
            self.kinds |= dict.fromkeys(self.rows_of_run[run], "of runs not begun")

    def _list_lots_and_instruments(self) -> None:
        for part, patterns in (("lots", ("lot", "lot_changes/0/lot")), ("instruments", ("instrument",))):
            pointers = [f"/runs/{run}/{name}" for run in range(len(self.to.entries("runs"))) for name in patterns]
            found = {pointer: self._at(pointer) for pointer in pointers}
            kept = {pointer: key for pointer, key in found.items() if key is not None}
            self.to.list_named(part, list(kept), list(kept.values()))

    def _at(self, pointer: str) -> object:
        inside: object = self.to.tree
        for name in pointer.split("/")[1:]:
            inside = _inside(inside, name)
        return inside


def _inside(value: object, name: str) -> object:
    """What an object or a list holds at a name or a place; None where there is nothing."""
    if isinstance(value, list):
        return value[int(name)]
    return value.get(name) if isinstance(value, dict) else None


def _one_a_cell(questions: list[Question], odd: set[Place]) -> list[Question]:
    """In the order of the cells; what a spreadsheet says of a cell is asked instead of what its text would make one ask."""
    kept: dict[Place, Question] = {}
    for question in questions:
        place = (question.row, question.column)
        if place not in kept or place in odd:
            kept[place] = question
    return [kept[place] for place in sorted(kept)]


def _label(text: str) -> tuple[str, str]:
    """What a line is called, in small letters, and what stands in parentheses behind it."""
    match = LABEL.fullmatch(text)
    name, hint = match.groups() if match else (text, "")  # the pattern fits every text
    return folded(name).removesuffix(":").rstrip(), trimmed(hint or "")


def _text(row: list[str], place: int) -> str:
    return trimmed(row[place]) if 0 <= place < len(row) else ""


def _bound(at: str, entry: int, inside: int) -> str:
    """A pointer with its stars replaced by the numbers of an entry and of a value inside it."""
    return at.replace("*", str(entry), 1).replace("*", str(inside), 1)
