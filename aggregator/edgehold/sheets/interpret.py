"""Rows of a sheet to a submission as plain values: what each cell means, where it went, what must be asked, and a tally of all rows.

Whether the values fit the protocol is not looked at here; that is for the check. ``site/pages/assets/form/sheet.js`` does the
same in the browser, and the files of ``tests/cases/sheets`` hold the two to each other.
"""

from __future__ import annotations

import copy
import re
from collections import Counter
from collections.abc import Callable, Collection

from edgehold.records.problem import shown
from edgehold.records.read.opening import UNFIT_CHARACTERS
from edgehold.words import Reason, nearest

from .cell_values import CellValue, folded, is_number, number, outcome, reading_value, word, written
from .cells import Question, Table, asking, trimmed
from .filling import Filling, Place, list_in
from .lines import BEGINS, LISTED, NAME_COLUMNS, LineRule, SheetRules

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
        self.to = Filling({**BEGINS, "protocol": {"id": protocol[0], "version": protocol[1]}})
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
        self.last: list[tuple[str, Place, CellValue]] = []

    def read(self) -> Filling:
        for at_row, cells in enumerate(self.table.rows, 1):
            row = [trimmed(cell) for cell in cells]
            if any(row):
                self._characters(at_row, row)
                self.kinds[at_row] = self._row(at_row, row)
        self._last_entries()
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
            return self._unknown_line(at_row, row[0], label, lines)
        several = line["kind"] == "several"
        self._stray(at_row, row, range(len(row) + 1 if several else 3))
        if not any(row[1:]):
            if line["at"]:
                self.to.place(_bound(line["at"], entry, 0), (at_row, 2))
            return "left empty"
        met = (self.part, entry, label)
        if met in self.met:
            self.to.ask((at_row, 1), asking("twice", "sheets.row_twice", "sheets.keep_one", text=shown(row[0]), row=self.met[met]))
            return "lines"
        self.met[met] = at_row
        if self.part == "run" and not line["drawn"]:
            self.begun.add(entry)
        columns = [c for c in range(2, len(row) + 1) if row[c - 1]] if several else [2]
        for inside, column in enumerate(columns):
            if _text(row, column - 1):
                self._cell(line, _bound(line["at"], entry, inside), (at_row, column), row[column - 1], _label(row[0])[1])
        return "lines"

    def _unknown_line(self, at_row: int, text: str, label: str, lines: dict[str, LineRule]) -> str:
        close = nearest(label, lines)
        message, cure = "sheets.no_line" if label else "sheets.nothing_says", "sheets.did_you_mean" if close else "sheets.into_notes"
        self.to.ask((at_row, 1), asking("unknown-line", message, cure, text=shown(text), close=shown(close), remark=self.remark))
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
        if kind == "repeat":
            self._repeat(pointer, place, text)
            return
        if kind == "written" and self.part == "run":
            self.amounts.append((self.run, pointer, place, hint))
        if kind == "last":
            self.last.append((pointer, place, number(text, line["mark"])))
            return
        to.put(pointer, to.take(self._value_of(line, pointer, place, text), pointer, place))

    def _last_entries(self) -> None:
        """Put what belongs to the last entry of a list there, once the whole list is read."""
        for pointer, place, found in self.last:
            entries, _, name = pointer.rpartition("/")
            held = self._at(entries.rpartition("/")[0])
            number_of_last = max(0, len(held) - 1) if isinstance(held, list) else 0
            at = f"{entries.rpartition('/')[0]}/{number_of_last}/{name}"
            self.to.place(at, place)
            self.to.put(at, self.to.take(found, at, place))

    def _repeat(self, pointer: str, place: Place, text: str) -> None:
        """Add a value or an outcome to the list at a pointer."""
        outer, _, name = pointer.rpartition("/")
        inside = self._at(outer)
        if isinstance(inside, dict):
            self._repeats_at(list_in(inside, name), pointer, [(place, text)])

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
            return CellValue(meant, Reason("intake.month", date=date, month=meant))
        return CellValue(meant, "", asking("date", "intake.date", "intake.month_as_text", date=date))

    # -- tables of people and blades -----------------------------------------------------------------------------------

    def _table_row(self, at_row: int, row: list[str]) -> str:
        lines = self.rules["tables"][self.part]
        if self.columns is None:
            self.columns = [_label(text) for text in row]
            self._unknown_columns(at_row, row, self.columns, lambda label: label in lines, "sheets.take_out")
            return "headings"
        named = {label: column for column, (label, _) in enumerate(self.columns, 1) if label in lines}
        self._stray(at_row, row, named.values())
        if self.part in NAME_COLUMNS:
            self._letter(at_row, row, named)
        filled = [label for label, column in named.items() if _text(row, column - 1) and not lines[label]["drawn"]]
        if not filled:
            return "left empty"
        entry = len(self.to.list_of(self.part))
        self.to.list_of(self.part).append(copy.deepcopy(self.rules["entries"].get(self.part, {})))
        self.to.places[f"/{self.part}/{entry}"] = (at_row, 1)
        for label, column in named.items():
            pointer, text = _bound(lines[label]["at"], entry, 0), _text(row, column - 1)
            if text:
                self._cell(lines[label], pointer, (at_row, column), text, self.columns[column - 1][1])
            elif pointer:
                self.to.place(pointer, (at_row, column))
        self._drop_unread(entry)
        return self.part

    def _drop_unread(self, entry: int) -> None:
        """Of a reference edge that was not read after its work, only the first reading stays."""
        readings = self.to.entries(self.part)[entry].get("readings")
        if isinstance(readings, list) and not {"values", "outcomes"} & readings[-1].keys():
            readings.pop()

    def _letter(self, at_row: int, row: list[str], named: dict[str, int]) -> None:
        """Remember what the letter of an entry stands for: the name beside it."""
        column = named.get(NAME_COLUMNS[self.part], 1)
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
                read = text.lower() == name and text != name
                said = Reason("sheets.read_as", text=shown(text), value=shown(name)) if read else ""
                self.to.put(pointer, self.to.take(CellValue(name, said), pointer, place))
                continue
            self.to.asked.add(pointer)
            if (part, known) not in asked:
                self.to.ask(beside, asking("no-name", "sheets.no_name", "sheets.write_name", name=NAME_COLUMNS[part], text=shown(text)))
                asked.add((part, known))

    # -- runs and their readings ---------------------------------------------------------------------------------------

    def _begin_run(self, at_row: int, order: str) -> None:
        if order in self.first_row_of:
            first = self.first_row_of[order]
            self.to.ask((at_row, 1), asking("twice", "sheets.run_twice", "sheets.number_runs", order=order, row=first))
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
            self.to.ask((at_row, 1), asking("twice", "sheets.heading_twice", "sheets.one_heading"))
        self.columns = [_label(text) for text in row]
        unit = self.columns[0][1] or self.rules["work_unit"]
        self.to.put(f"/runs/{self.run}/work_unit", self.to.take(CellValue(unit), f"/runs/{self.run}/work_unit", (at_row, 1)))
        self._unknown_columns(at_row, row, self.columns, lambda label: self._is_repeat(label) or label == self.note, "sheets.call_value")
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
            self.to.ask(place, asking("no-work", "sheets.no_work", "sheets.write_work"), pointer)

    def _repeats(self, reading: dict[str, object], pointer: str, at_row: int, read: list[tuple[int, str]]) -> None:
        repeats = list_in(reading, pointer.rpartition("/")[2]) if read else []
        self._repeats_at(repeats, pointer, [((at_row, column), text) for column, text in read])

    def _repeats_at(self, repeats: list[object], pointer: str, read: list[tuple[Place, str]]) -> None:
        outcomes = self.rules["outcomes"]
        for place, text in read:
            at = f"{pointer}/{len(repeats)}"
            if outcomes:
                repeats.append(self.to.take(outcome(text, outcomes), at, place))
                continue
            value, limit = reading_value(text)
            self.to.places[at] = place
            repeats.append({"written": self.to.take(value, f"{at}/written", place)} | ({"limit": limit} if limit else {}))

    def _reading_note(self, pointer: str, place: Place, text: str) -> None:
        self.to.put(pointer, self.to.take(CellValue(text), pointer, place))
        if self.table.comma and is_number(text):
            self.to.ask(place, asking("decimal-comma", "sheets.number_in_note", "sheets.use_points", text=shown(text)), pointer)

    def _work_units(self) -> None:
        """Every amount of work of a run stands in the unit of its readings; only one unit is kept."""
        for run, pointer, (row, _), hint in self.amounts:
            unit = self.to.entries("runs")[run]["work_unit"]
            if hint and unit != hint:
                asked = asking("other-unit", "sheets.other_unit", "sheets.same_unit", unit=shown(hint), wanted=shown(unit))
                self.to.ask((row, 1), asked, pointer)

    # -- what is asked of any cell -------------------------------------------------------------------------------------

    def _unknown_columns(self, at_row: int, row: list[str], columns: Columns, known: Callable[[str], bool], cure: str) -> None:
        for column, (label, _) in enumerate(columns, 1):
            if label and not known(label) and not (self.part == "run" and column == 1):
                self.to.ask((at_row, column), asking("unknown-column", "sheets.no_column", cure, text=shown(row[column - 1])))

    def _stray(self, at_row: int, row: list[str], allowed: Collection[int]) -> None:
        """Ask about cells that stand where nothing is asked."""
        cure = "sheets.use_points" if self.table.comma else "sheets.move"
        for column, text in enumerate(row, 1):
            if text and column not in allowed:
                self.to.ask((at_row, column), asking("stray-cell", "sheets.stray", cure, text=shown(text)))

    def _characters(self, at_row: int, row: list[str]) -> None:
        for column, text in enumerate(row, 1):
            for unfit in UNFIT_CHARACTERS:
                if found := re.search(unfit["pattern"], text):
                    sign = f"U+{ord(found[0]):04X}"
                    self.to.ask((at_row, column), asking(unfit["code"], "sheets.unfit", "sheets.type_again", sign=sign))

    def _odd_cells(self) -> None:
        for place, odd in self.table.odd.items():
            self.to.ask(place, odd)
        for place, (year, month, day) in self.table.dates.items():
            self.to.ask(place, asking("date", "intake.date", "intake.as_text", date=f"{year:04d}-{month:02d}-{day:02d}"))
        asked = {(question.row, question.column) for question in self.to.questions}
        self.to.asked |= {pointer for pointer, place in self.to.places.items() if place in asked}
        self.to.said = self.table.said | self.to.said

    # -- after the last row --------------------------------------------------------------------------------------------

    def _leave_out_runs(self) -> None:
        """Runs that were drawn and never begun are no runs of the submission."""
        for run in sorted(set(self.rows_of_run) - self.begun, reverse=True):
            self.to.leave_out_run(run)
            self.kinds |= dict.fromkeys(self.rows_of_run[run], Reason("intake.runs_not_begun"))

    def _list_lots_and_instruments(self) -> None:
        for part, patterns in LISTED.items():
            for of, name, use in patterns:
                pointers = [f"/{of}/{entry}/{name}" for entry in range(len(self.to.entries(of)))]
                found = {pointer: self._at(pointer) for pointer in pointers}
                kept = {pointer: key for pointer, key in found.items() if key is not None}
                self.to.list_named(part, list(kept), list(kept.values()), use)

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
