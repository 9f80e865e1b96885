"""Rows of a sheet to a submission as plain values: what each cell means, where it went, what must be asked, and a tally of all rows.

Whether the values fit the protocol is not looked at here; that is for the check. ``site/pages/assets/form/sheet.js`` does the
same in the browser, and the files of ``tests/sheets/corpus`` hold the two to each other.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from dataclasses import dataclass, field

from aggregator.errors import WrittenError
from aggregator.records.model.submission import SUBMISSION_FORMAT
from aggregator.records.opening import unfit_characters
from aggregator.records.problem import shown
from aggregator.records.units import parse_number

from .cells import Question, Table

Rules = dict[str, object]

PLAIN_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{0,14}[1-9])?")
"""A number that loses nothing when it is kept as one: no closing zeros, which say how finely it was read."""
_LABEL = re.compile(r"([^(]*)(?:\(([^()]*)\))?.*", re.DOTALL)
_RUN = re.compile(r"run ([1-9][0-9]{0,5})")
_REPEAT = re.compile(r"(?:value|outcome) [1-9][0-9]?")
_LIMIT = re.compile(r"(?:([<>])|(below|above)\b) *(.+)|(.+?) *\b(below|above)", re.IGNORECASE)
_LIMIT_WORDS = {"<": "below", ">": "above"}
_VERSION = re.compile(r"(?:version )?([0-9]+\.[0-9]+\.[0-9]+)")
_MONTH = "/month"


@dataclass
class Interpreted:
    """What a sheet says.

    Attributes
    ----------
    tree : a submission as plain values, as far as it could be read.
    places : by JSON pointer, the (row, column) that its value stands in.
    asked : JSON pointers that a question stands at already.
    questions : what must be asked.
    said : by (row, column), what was converted and how.
    tally : how many rows are what; together they are all rows in which anything stands.
    """

    tree: dict[str, object]
    places: dict[str, tuple[int, int]] = field(default_factory=dict)
    asked: set[str] = field(default_factory=set)
    questions: list[Question] = field(default_factory=list)
    said: dict[tuple[int, int], str] = field(default_factory=dict)
    tally: dict[str, int] = field(default_factory=dict)


def protocol_named(table: Table, rules: Rules) -> tuple[str, str] | None:
    """Id and version of the protocol that a sheet names, or None where there is no such line."""
    for row in table.rows:
        if _folded(row[0] if row else "") == str(rules["marker"]).casefold():
            version = _VERSION.fullmatch(_text(row, 2))
            return _text(row, 1), version[1] if version else _text(row, 2)
    return None


def interpret(table: Table, rules: Rules, protocol: tuple[str, str]) -> Interpreted:
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

    def __init__(self, table: Table, rules: Rules, protocol: tuple[str, str]) -> None:
        self.table, self.rules = table, rules
        followed = {"id": protocol[0], "version": protocol[1]}
        self.found = Interpreted({"format": SUBMISSION_FORMAT, "protocol": followed, "licence": "CC0-1.0"})
        self.kinds: dict[int, str] = {}
        self.part = ""
        self.columns: list[str] | None = None
        self.run = -1
        self.numbers: dict[str, int] = {}
        self.begun: dict[int, bool] = {}
        self.rows_of_run: dict[int, list[int]] = {}
        self.lines_met: dict[tuple[str, int, str], int] = {}
        self.letters: dict[str, dict[str, tuple[str, int, int]]] = {"people": {}, "blades": {}}
        self.names_asked: set[tuple[str, str]] = set()
        self.work_hints: list[tuple[int, int, str, str]] = []

    def read(self) -> Interpreted:
        for number, cells in enumerate(self.table.rows, 1):
            row = [cell.strip() for cell in cells]
            if any(row):
                self.kinds[number] = self._row(number, row)
                self._characters(number, row)
        self._work_units()
        self._odd_cells()
        self._leave_out_runs()
        self._name_things("lot", "lots")
        self._name_things("instrument", "instruments")
        self.found.questions = _one_a_cell(self.found.questions, set(self.table.odd) | set(self.table.dates))
        self.kinds |= {question.row: "asked about" for question in self.found.questions}
        self.found.tally = dict(sorted(Counter(self.kinds.values()).items()))
        return self.found

    # -- one row ----------------------------------------------------------------------------------------------------

    def _row(self, number: int, row: list[str]) -> str:
        """Read one row; what kind of row it is."""
        if row[0].startswith(str(self.rules["remark"])):
            self._nothing_behind(number, row, 1)
            return "remarks"
        label, _ = _label(row[0])
        if label == str(self.rules["marker"]).casefold():
            self._nothing_behind(number, row, 3)
            return "headings"
        run = _RUN.fullmatch(label)
        if label in self.rules["tables"] or run:
            self._nothing_behind(number, row, 1)
            self.part, self.columns = ("run" if run else label), None
            if run:
                self._begin_run(number, run[1])
            return self._counted(number, "headings")
        if self.part in self.rules["tables"]:
            return self._table_row(number, row)
        if self.part == "run":
            return self._counted(number, self._run_row(number, row, label))
        return self._line(number, row, label, self.rules["head"], 0)

    def _counted(self, number: int, kind: str) -> str:
        if self.part == "run":
            self.rows_of_run.setdefault(self.run, []).append(number)
        return kind

    def _begin_run(self, number: int, written: str) -> None:
        if written in self.numbers:
            self._ask(
                number, 1, "twice", f"run {written} began in row {self.numbers[written]} already", "number the runs in the order made"
            )
        self.numbers.setdefault(written, number)
        self.run += 1
        order = int(written)
        names = {
            "id": f"run-{written}",
            "order": order,
            "preparation": f"edge-{written}",
            "work_unit": self.rules["work_unit"],
            "readings": [],
        }
        _list(self.found.tree, "runs").append(names)
        _list(self.found.tree, "preparations").append({"id": f"edge-{written}"})
        for name in ("id", "order", "preparation", "readings", "work_unit"):
            self.found.places[f"/runs/{self.run}/{name}"] = (number, 1)
        for pointer in (f"/runs/{self.run}", f"/preparations/{self.run}", f"/preparations/{self.run}/id"):
            self.found.places[pointer] = (number, 1)

    def _run_row(self, number: int, row: list[str], label: str) -> str:
        if label == self.rules["work"]:
            return self._reading_headings(number, row)
        if label in self.rules["lines"]:
            return self._line(number, row, label, self.rules["lines"], self.run)
        if self.columns is None:
            return self._unknown_line(number, label, self.rules["lines"])
        return self._reading(number, row)

    # -- lines with a label -----------------------------------------------------------------------------------------

    def _line(self, number: int, row: list[str], label: str, lines: dict, entry: int) -> str:
        line = lines.get(label)
        if line is None:
            return self._unknown_line(number, label, lines)
        several = line["kind"] == "several"
        self._nothing_behind(number, row, len(row) if several else 2)
        if not any(row[1:]):
            self._place(line["at"], entry, number, 2)
            return "left empty"
        met = (self.part, entry, label)
        if met in self.lines_met:
            message = f"{shown(row[0])} stands in row {self.lines_met[met]} already"
            self._ask(number, 1, "twice", message, "keep the one that is meant")
            return "lines"
        self.lines_met[met] = number
        if self.part == "run" and not line["drawn"]:
            self.begun[entry] = True
        hint = _label(row[0])[1]
        for place, column in enumerate([c for c in range(2, len(row) + 1) if row[c - 1]] if several else [2]):
            self._cell(line, (entry, place), number, column, row[column - 1], hint)
        return "lines"

    def _unknown_line(self, number: int, label: str, lines: dict) -> str:
        close = difflib.get_close_matches(label[:60], list(lines), n=1, cutoff=0.7)
        cure = (
            f"did you mean {close[0]!r}?"
            if close
            else f'put it into a line for notes, or begin it with "{self.rules["remark"]}" if it is for people only'
        )
        self._ask(
            number,
            1,
            "unknown-line",
            f"{shown(label)} is no line of this part of the sheet" if label else "nothing says what this row is",
            cure,
        )
        return "lines"

    # -- tables of people and blades ---------------------------------------------------------------------------------

    def _table_row(self, number: int, row: list[str]) -> str:
        lines = self.rules["tables"][self.part]
        if self.columns is None:
            self.columns = [_label(text)[0] for text in row]
            self.hints = [_label(text)[1] for text in row]
            for column, label in enumerate(self.columns, 1):
                if label and label not in lines:
                    self._ask(
                        number, column, "unknown-column", f"{shown(row[column - 1])} is no column of this table", "take the column out"
                    )
            return "headings"
        entry = len(_list(self.found.tree, self.part))
        named = [(column, label) for column, label in enumerate(self.columns, 1) if label in lines]
        filled = [(column, label) for column, label in named if _text(row, column - 1) and not lines[label]["drawn"]]
        self._stray(number, row, [column for column, _ in named])
        self._letter(number, row, named, bool(filled))
        if not filled:
            return "left empty"
        _list(self.found.tree, self.part).append({})
        self.found.places[f"/{self.part}/{entry}"] = (number, 1)
        for column, label in named:
            text = _text(row, column - 1)
            if text:
                self._cell(lines[label], (entry, 0), number, column, text, self.hints[column - 1])
            else:
                self._place(lines[label]["at"], entry, number, column)
        return self.part

    def _letter(self, number: int, row: list[str], named: list[tuple[int, str]], filled: bool) -> None:
        """Remember what the letter of an entry stands for: the name beside it."""
        places = {label: column for column, label in named}
        letter = _text(row, places.get(self.rules["letter"], 0) - 1) if self.rules["letter"] in places else ""
        column = places.get("handle") or places.get("key") or 1
        name = _text(row, column - 1)
        if letter and (filled or name or letter.casefold() not in self.letters[self.part]):
            self.letters[self.part][letter.casefold()] = (name, number, column)
        elif name:
            self.letters[self.part].setdefault(name.casefold(), (name, number, column))

    def _named(self, part: str, pointer: str, number: int, column: int, text: str) -> str | None:
        """A name, or what a letter of the table stands for; None where nothing stands beside the letter."""
        names = {name for name, _, _ in self.letters[part].values()}
        if text in names:
            return text
        if text.casefold() in names:
            self.found.said[(number, column)] = f"{shown(text)} read as {text.casefold()!r}"
            return text.casefold()
        if text.casefold() not in self.letters[part]:
            return text
        name, row, place = self.letters[part][text.casefold()]
        if name:
            return name
        if (part, text.casefold()) not in self.names_asked:
            self.names_asked.add((part, text.casefold()))
            what = "handle" if part == "people" else "key"
            self._ask(row, place, "no-name", f"no {what} stands beside {shown(text)}", f"write the {what} here")
        self.found.asked.add(pointer)
        return None

    # -- readings ---------------------------------------------------------------------------------------------------

    def _reading_headings(self, number: int, row: list[str]) -> str:
        if self.columns is not None:
            self._ask(number, 1, "twice", "the readings of this run have a heading already", "keep one heading a run")
        self.columns = [_label(text)[0] for text in row]
        run = self._tree_run()
        run["work_unit"] = _label(row[0])[1] or self.rules["work_unit"]
        self.found.places[f"/runs/{self.run}/work_unit"] = (number, 1)
        for column, label in enumerate(self.columns[1:], 2):
            if label and not _REPEAT.fullmatch(label) and label != self.rules["note"]:
                self._ask(
                    number,
                    column,
                    "unknown-column",
                    f"{shown(row[column - 1])} is no column of readings",
                    "call it value and its number, or note",
                )
        return "headings"

    def _reading(self, number: int, row: list[str]) -> str:
        columns = [c for c, label in enumerate(self.columns, 1) if c > 1 and (_REPEAT.fullmatch(label) or label == self.rules["note"])]
        self._stray(number, row, [1, *columns])
        read = [(c, self.columns[c - 1], row[c - 1]) for c in columns if _text(row, c - 1)]
        if not read:
            return "not read"
        self.begun[self.run] = True
        readings = self._tree_run()["readings"]
        place = f"/runs/{self.run}/readings/{len(readings)}"
        reading: dict[str, object] = {}
        readings.append(reading)
        self.found.places[place] = (number, 1)
        self._work(reading, f"{place}/work", number, row[0])
        outcomes = self.rules["outcomes"]
        name = "outcomes" if outcomes else "values"
        self.found.places[f"{place}/{name}"] = (number, 2)
        for column, label, text in read:
            if label == self.rules["note"]:
                self._reading_note(reading, f"{place}/note", number, column, text)
                continue
            pointer = f"{place}/{name}/{len(_list(reading, name))}"
            reading[name].append(self._outcome(pointer, number, column, text) if outcomes else self._value(pointer, number, column, text))
        return "readings"

    def _work(self, reading: dict, pointer: str, number: int, text: str) -> None:
        self.found.places[pointer] = (number, 1)
        if not text:
            self._ask(number, 1, "no-work", "nothing says how much work was done before this reading", "write the work done", pointer)
            return
        reading["work"] = self._written(pointer, number, 1, text)

    def _reading_note(self, reading: dict, pointer: str, number: int, column: int, text: str) -> None:
        reading["note"] = text
        self.found.places[pointer] = (number, column)
        if self.table.comma and _is_number(text):
            message = f"a number, {shown(text)}, stands where the note of a reading belongs: a decimal comma parts cells here"
            self._ask(number, column, "decimal-comma", message, "write points for decimals, or part the cells by semicolons", pointer)

    def _outcome(self, pointer: str, number: int, column: int, text: str) -> str:
        self.found.places[pointer] = (number, column)
        outcome = self.rules["outcomes"].get(text.casefold())
        if outcome is None:
            self._ask(number, column, "unknown-word", f"{shown(text)} is neither pass nor fail", "write pass or fail", pointer)
            return text
        if outcome != text:
            self.found.said[(number, column)] = f"{shown(text)} read as {outcome!r}"
        return outcome

    def _value(self, pointer: str, number: int, column: int, text: str) -> dict[str, object]:
        self.found.places[pointer] = self.found.places[f"{pointer}/written"] = (number, column)
        match = _LIMIT.fullmatch(text)
        if match is None:
            return {"written": self._written(f"{pointer}/written", number, column, text)}
        sign, before, first, second, behind = match.groups()
        limit = _LIMIT_WORDS.get(sign or "") or (before or behind).casefold()
        written = self._written(f"{pointer}/written", number, column, (first or second).strip())
        self.found.said[(number, column)] = f"{shown(text)} read as {written}, limit {limit}"
        return {"written": written, "limit": limit}

    def _tree_run(self) -> dict:
        return self.found.tree["runs"][self.run]

    # -- one cell ---------------------------------------------------------------------------------------------------

    def _cell(self, line: dict, stars: tuple[int, int], number: int, column: int, text: str, hint: str) -> None:
        """Write what a cell says into the tree."""
        if not line["at"]:
            return
        pointer = _bound(line["at"], stars)
        self._place(line["at"], stars[0], number, column, stars[1])
        value: object = text
        match line["kind"]:
            case "word":
                value = self._word(line, pointer, number, column, text)
            case "number":
                value = self._number(line, pointer, number, column, text)
            case "written":
                value = self._written(pointer, number, column, text)
                self.work_hints.append((self.run, number, pointer, hint))
            case "quantity":
                written = self._written(f"{pointer}/written", number, column, text)
                self.found.places[f"{pointer}/written"] = self.found.places[f"{pointer}/unit"] = (number, column)
                value = {"written": written, "unit": hint}
            case "person" | "blade" as kind:
                value = self._named("people" if kind == "person" else "blades", pointer, number, column, text)
        if pointer == _MONTH and (number, column) in self.table.dates:
            value = self._month(number, column)
        if value is not None:
            _write(self.found.tree, pointer, value)

    def _month(self, number: int, column: int) -> str:
        year, month, day = self.table.dates.pop((number, column))
        if day != 1:
            message = f"the cell holds the date {year:04d}-{month:02d}-{day:02d}"
            self._ask(number, column, "date", message, "write the month as text, like 2026-05", _MONTH)
        self.found.said[(number, column)] = f"the date {year:04d}-{month:02d}-{day:02d} read as the month {year:04d}-{month:02d}"
        return f"{year:04d}-{month:02d}"

    def _word(self, line: dict, pointer: str, number: int, column: int, text: str) -> str:
        if text in line["words"]:
            return text
        alike = [word for word in line["words"] if word.casefold() == _folded(text)]
        if alike:
            self.found.said[(number, column)] = f"{shown(text)} read as {alike[0]!r}"
            return alike[0]
        close = difflib.get_close_matches(_folded(text)[:60], line["words"], n=1, cutoff=0.6)
        cure = "write " + " or ".join(line["words"]) + (f"; did you mean {close[0]!r}?" if close else "")
        self._ask(number, column, "unknown-word", f"{shown(text)} is none of the words for this", cure, pointer)
        return text

    def _number(self, line: dict, pointer: str, number: int, column: int, text: str) -> object:
        if PLAIN_NUMBER.fullmatch(text):
            return _plain(text)
        try:
            parsed = parse_number(text)
        except WrittenError as error:
            self._ask(number, column, "not-a-number", error.problem, error.cure, pointer)
            return text
        if parsed.uncertainty is not None or parsed.unit not in (None, line["mark"]):
            self._ask(
                number,
                column,
                "not-a-number",
                f"{shown(text)} is more than a number",
                "write the number alone, the rest into a note",
                pointer,
            )
            return text
        self.found.said[(number, column)] = f"{shown(text)} read as {parsed.value:g}"
        return int(parsed.exact) if parsed.exact.denominator == 1 else parsed.value

    def _written(self, pointer: str, number: int, column: int, text: str) -> object:
        """A number as written: text stays text unless nothing is lost."""
        if PLAIN_NUMBER.fullmatch(text):
            return _plain(text)
        try:
            parsed = parse_number(text)
        except WrittenError as error:
            self._ask(number, column, "not-a-number", error.problem, error.cure, pointer)
            return text
        if not re.fullmatch(r"-?[0-9]+\.[0-9]+", text):
            about = f" with uncertainty {parsed.uncertainty:g}" if parsed.uncertainty is not None else ""
            self.found.said[(number, column)] = f"{shown(text)} kept as written, read as {parsed.value:g}{about}"
        return text

    def _work_units(self) -> None:
        """Every amount of work of a run stands in the unit of its readings; only one unit is kept."""
        for run, number, pointer, hint in self.work_hints:
            unit = self.found.tree["runs"][run]["work_unit"]
            if hint and unit != hint:
                message = f"this line is in {shown(hint)}, the run's readings in {shown(unit)}"
                self._ask(number, 1, "other-unit", message, "write both in the same unit, and name it in both headings", pointer)

    # -- questions --------------------------------------------------------------------------------------------------

    def _ask(self, number: int, column: int, code: str, message: str, cure: str, pointer: str = "") -> None:
        self.found.questions.append(Question(self.table.name, number, column, code, message, cure))
        if pointer:
            self.found.asked.add(pointer)

    def _place(self, at: str, entry: int, number: int, column: int, inside: int = 0) -> None:
        """Remember where a value stands; what lies around it stands there too, unless it has a place of its own."""
        pointer = _bound(at, (entry, inside)) if at else ""
        self.found.places[pointer] = (number, column)
        while pointer.count("/") > 1:
            pointer = pointer[: pointer.rindex("/")]
            self.found.places.setdefault(pointer, (number, column))

    def _nothing_behind(self, number: int, row: list[str], most: int) -> None:
        self._stray(number, row, list(range(1, most + 1)))

    def _stray(self, number: int, row: list[str], expected: list[int]) -> None:
        for column, text in enumerate(row, 1):
            if text and column not in expected:
                cure = "write points for decimals, or part the cells by semicolons" if self.table.comma else "move it to where it belongs"
                self._ask(number, column, "stray-cell", f"{shown(text)} stands where nothing is asked", cure)

    def _characters(self, number: int, row: list[str]) -> None:
        for column, text in enumerate(row, 1):
            for problem in unfit_characters(text):
                self._ask(number, column, problem.code, problem.message, "delete it, or type the text again")

    def _odd_cells(self) -> None:
        for (number, column), odd in self.table.odd.items():
            self._ask(number, column, odd.code, odd.message, odd.cure)
        for (number, column), (year, month, day) in self.table.dates.items():
            message = f"the cell holds the date {year:04d}-{month:02d}-{day:02d}"
            self._ask(number, column, "date", message, "type what was meant again, in a cell marked as text")
        asked = {(q.row, q.column) for q in self.found.questions}
        self.found.asked |= {pointer for pointer, place in self.found.places.items() if place in asked}
        self.found.said = {**self.table.said, **self.found.said}

    # -- after the last row -----------------------------------------------------------------------------------------

    def _leave_out_runs(self) -> None:
        """Runs that were drawn and never begun are no runs of the submission."""
        for run in sorted(self.rows_of_run, reverse=True):
            if self.begun.get(run):
                continue
            del self.found.tree["runs"][run], self.found.tree["preparations"][run]
            self.found.places = dict(_without(self.found.places.items(), run))
            self.found.asked = {pointer for pointer, _ in _without([(pointer, (0, 0)) for pointer in self.found.asked], run)}
            for number in self.rows_of_run[run]:
                self.kinds[number] = "of runs not begun"

    def _name_things(self, field_name: str, part: str) -> None:
        """Lots and instruments are named in the runs; the submission lists each once."""
        for place, run in enumerate(self.found.tree.get("runs", ())):
            later = [(f"/runs/{place}/lot_changes/{n}/lot", c.get("lot")) for n, c in enumerate(run.get("lot_changes", ()))]
            for pointer, key in [(f"/runs/{place}/{field_name}", run.get(field_name)), *(later if field_name == "lot" else [])]:
                listed = self.found.tree.get(part, [])
                if key is None or any(entry["key"] == key for entry in listed):
                    continue
                _list(self.found.tree, part).append({"key": key})
                self.found.places[f"/{part}/{len(listed) if listed else 0}/key"] = self.found.places[pointer]


def _one_a_cell(questions: list[Question], odd: set[tuple[int, int]]) -> list[Question]:
    """In the order of the cells; what a spreadsheet says of a cell is asked instead of what its text would make one ask."""
    kept: dict[tuple[int, int], Question] = {}
    for question in questions:
        place = (question.row, question.column)
        if place not in kept or place in odd:
            kept[place] = question
    return [kept[place] for place in sorted(kept)]


def _without(places: object, run: int):
    """Places by pointer without those of one run; later runs move up."""
    for pointer, place in places:
        parts = pointer.split("/")
        if parts[1:2] in (["runs"], ["preparations"]) and len(parts) > 2:
            if int(parts[2]) == run:
                continue
            if int(parts[2]) > run:
                parts[2] = str(int(parts[2]) - 1)
        yield "/".join(parts), place


def _label(text: str) -> tuple[str, str]:
    """What a line is called, in small letters, and what stands in parentheses behind it."""
    name, hint = _LABEL.fullmatch(text).groups()
    return _folded(name), (hint or "").strip()


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold().removesuffix(":").rstrip()


def _text(row: list[str], place: int) -> str:
    return row[place].strip() if 0 <= place < len(row) else ""


def _is_number(text: str) -> bool:
    try:
        parse_number(text)
    except WrittenError:
        return False
    return True


def _plain(text: str) -> int | float:
    return float(text) if "." in text else int(text)


def _bound(at: str, stars: tuple[int, int]) -> str:
    """A pointer with its stars replaced by the numbers of entries."""
    for number in stars:
        at = at.replace("*", str(number), 1)
    return at


def _list(tree: dict, name: str) -> list:
    return tree.setdefault(name, [])


def _write(tree: dict, pointer: str, value: object) -> None:
    """Put a value into the tree; objects and lists on the way are made."""
    names = pointer.split("/")[1:]
    inside: object = tree
    for name, following in zip(names, [*names[1:], ""], strict=True):
        fresh: object = value if not following else [] if following.isdigit() else {}
        if isinstance(inside, list):
            if int(name) >= len(inside):
                inside.append(fresh)
            inside = inside[int(name)]
        elif following:
            inside = inside.setdefault(name, fresh)
        else:
            inside[name] = value
