"""Every line that a sheet asks for, as data: what it is called, where it goes in a submission, and what may stand there.

A line is known by its label: the words before the first parenthesis, without regard to capitals. What stands in parentheses is the
unit, or a hint. Lines may stand in any order within their part. ``site/pages/assets/form/sheet.js`` reads the same data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict, get_args

from pydantic import BaseModel

from edgehold.records.levels import by_condition, told_by_last_abrasive
from edgehold.records.model.base import EdgePart
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import SUBMISSION_FORMAT, Blade, EdgeAngle, Hardness, Person, Preparation, Reference, Run

MARKER = "Edgehold sheet"
"""The first cell of every sheet. What follows it in a CSV file is what parts the cells."""
VERSION_WORD = "version"
"""Stands before the version in its cell, or a spreadsheet would make a date of 1.1.0."""
REMARK = "#"
"""A line that begins so is read by people only."""
WORK = "work done"
NOTE_COLUMN = "note"
LETTER_COLUMN = "on this sheet"
NAME_COLUMNS = {"people": "handle", "blades": "key"}
"""The column of each table that holds what a letter stands for."""
LISTED = {
    "lots": (
        ("runs", "lot", ""),
        ("runs", "lot_changes/0/lot", ""),
        ("references", "lot", ""),
        ("runs", "reading_lot", "read on"),
        ("references", "reading_lot", "read on"),
        ("references", "pack", "reference edges"),
    ),
    "instruments": (("runs", "instrument", ""), ("references", "instrument", ""), ("weights", "instrument", "")),
}
"""What runs, reference edges and weights name and a submission lists once: of which list, where in its entries, and for what use."""
BEGINS = {"format": SUBMISSION_FORMAT, "licence": "CC0-1.0"}
"""What stands in every submission."""


@dataclass(frozen=True)
class Line:
    """One line of a part, or one column of a table.

    Attributes
    ----------
    label : what it is called; how it is recognised.
    at : JSON pointer in the submission, with ``*`` for the number of the run or entry; empty: read, but no part of a submission.
    kind : ``text``, ``word`` (one of ``words``), ``number``, ``last`` (a number that belongs to the last entry of its list),
        ``written`` (a number kept as written), ``quantity`` (the same with the unit of its heading), ``person`` and ``blade`` (a name or
        the letter of a table), ``several`` (one entry a cell), ``repeat`` (a value or outcome that is added to the list there).
    hint : what stands in parentheses behind the label: the unit of a number, or what may be written.
    words : the words allowed.
    drawn : whether it is filled in by the plan; a run in which nothing else is written was not begun.
    secret : whether it says whose edge it is, or would give it away; left empty on the sheet of a tester who is not to know.
    mark : id of the unit whose mark may stand behind a number, such as ° for 15°.
    """

    label: str
    at: str
    kind: str = "text"
    hint: str = ""
    words: tuple[str, ...] = ()
    drawn: bool = False
    secret: bool = False
    mark: str = ""

    @property
    def key(self) -> str:
        """How the line is recognised."""
        return self.label.casefold()

    @property
    def heading(self) -> str:
        """The label with what stands behind it in parentheses."""
        return f"{self.label} ({self.hint})" if self.hint else self.label


class LineRule(TypedDict):
    """A line as a reader of sheets knows it; fields as in `Line`."""

    at: str
    kind: str
    words: tuple[str, ...]
    drawn: bool
    mark: str


class SheetRules(TypedDict):
    """All that a reader of sheets needs: its words, and the lines of each part by key."""

    marker: str
    remark: str
    work: str
    note: str
    letter: str
    head: dict[str, LineRule]
    tables: dict[str, dict[str, LineRule]]
    entries: dict[str, dict[str, object]]
    lines: dict[str, LineRule]
    outcomes: dict[str, str]
    work_unit: str


def _words(model: type[BaseModel], field: str) -> tuple[str, ...]:
    """The words that a field of a record allows."""
    return _literal(model.model_fields[field].annotation)


def _literal(annotation: object) -> tuple[str, ...]:
    inner = get_args(annotation)
    if all(isinstance(word, str) for word in inner):
        return inner
    return next(found for found in map(_literal, inner) if found)


def _word(label: str, at: str, words: tuple[str, ...], *, drawn: bool = False, secret: bool = False) -> Line:
    return Line(label, at, "word", _or(words) if sum(map(len, words)) < 60 else "", words, drawn, secret)


def _unit_of(protocol: Protocol, at: str) -> Line:
    """The unit of the values read: any spelling of it is read, so these words are only offered."""
    units = protocol.reading.accepted_units
    return Line("Reading unit", at, "text", _or(units), units, drawn=True)


def _or(words: tuple[str, ...]) -> str:
    return " or ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


HEAD = (
    Line("Month", "/month", hint="like 2026-05"),
    Line("Sent in by", "/submitted_by", "person"),
    Line("Measured or simulated", "/origin", "word", words=("measured", "simulated"), drawn=True),
    Line("File name", "/id", hint="may stay empty"),
    Line("Plan", "/plan/id", drawn=True),
    Line("Seal", "/plan/sha256", drawn=True),
    Line("Seed", "", drawn=True),
    Line("Note", "/note"),
)
PEOPLE = (
    Line("On this sheet", "", drawn=True),
    Line("Handle", "/people/*/handle", hint="not a name"),
    _word("Agreed to be named", "/people/*/agreed", _words(Person, "agreed")),
    _word("Sharpening", "/people/*/sharpening", _words(Person, "sharpening")),
)
BLADES = (
    Line("On this sheet", "", drawn=True),
    Line("Key", "/blades/*/key", hint="like wren.galley"),
    Line("Steel", "/blades/*/steel/designation", hint="AISI, UNS, EN or JIS, or empty"),
    Line("Hardness", "/blades/*/hardness/hrc", "number", hint="HRC"),
    _word("Hardness known by", "/blades/*/hardness/known_by", _words(Hardness, "known_by")),
    _word("Edge", "/blades/*/edge", _words(Blade, "edge")),
    _word("Profile", "/blades/*/profile", _words(Blade, "profile")),
    _word("Grind", "/blades/*/grind", _words(Blade, "grind")),
    Line("Thickness behind the edge", "/blades/*/thickness_behind_edge", "quantity", hint="mm"),
    Line("Note", "/blades/*/note"),
)
TABLES = {"people": PEOPLE, "blades": BLADES}


def tables_of(protocol: Protocol) -> dict[str, tuple[Line, ...]]:
    """The tables of a protocol's sheet; reference edges and known weights only where it asks for them."""
    asked = protocol.reference
    if asked is None:
        return TABLES
    return TABLES | {"references": _references(protocol)} | ({"weights": _weights(protocol)} if asked.weights else {})


def _references(protocol: Protocol) -> tuple[Line, ...]:
    of = "/references/*"
    return (
        _word("When", f"{of}/when", _words(Reference, "when"), drawn=True),
        Line("Evening", f"{of}/evening", "number", drawn=True),
        Line("Segment", f"{of}/segment", hint="like wren.segment-1"),
        Line("Pack", f"{of}/pack", hint="like wren.segments"),
        Line("Tester", f"{of}/tester", "person"),
        Line("Lot", f"{of}/lot", hint="like wren.coil"),
        Line("Thread or paper", f"{of}/reading_lot", hint="like wren.reel"),
        Line("Instrument", f"{of}/instrument", hint="like wren.scale"),
        *(() if protocol.reading.kind == "pass/fail" else (_unit_of(protocol, f"{of}/reading_unit"),)),
        *_reference_repeats(protocol, "Before", 0),
        Line("Work", f"{of}/readings/1/work", "written", hint=protocol.work.unit, drawn=True),
        *_reference_repeats(protocol, "After", 1),
        Line("Note", f"{of}/note"),
    )


def _reference_repeats(protocol: Protocol, name: str, reading: int) -> list[Line]:
    inside = "outcomes" if protocol.reading.kind == "pass/fail" else "values"
    at = f"/references/*/readings/{reading}/{inside}"
    return [Line(f"{name} {n}", at, "repeat") for n in range(1, protocol.reading.repeats + 1)]


def _weights(protocol: Protocol) -> tuple[Line, ...]:
    return (
        Line("Evening", "/weights/*/evening", "number", drawn=True),
        Line("Instrument", "/weights/*/instrument", hint="like wren.scale"),
        Line("Known weight", "/weights/*/known", "quantity", hint="g"),
        Line("Rig showed", "/weights/*/read", "quantity", hint=protocol.reading.canonical_unit or "N"),
        Line("Note", "/weights/*/note"),
    )


def _condition(protocol: Protocol) -> tuple[Line, ...]:
    """In which of two conditions somebody sharpened, where sharpeners or these conditions are compared."""
    compared = protocol.question.factor == "sharpener" or by_condition(protocol)
    return (Line("Condition", "/preparations/*/condition", hint="such as before the course", drawn=True, secret=True),) if compared else ()


def _level(protocol: Protocol) -> tuple[Line, ...]:
    """Which level an edge was made to, where levels are compared."""
    words = tuple(level.word for level in protocol.question.levels)
    return (_word("Level", "/runs/*/level", words, drawn=True, secret=True),) if words else ()


def _guess(protocol: Protocol) -> tuple[Line, ...]:
    """Which level a blind tester took an edge for."""
    words = tuple(level.word for level in protocol.question.levels)
    return (_word("Guess: which level", "/runs/*/tester_guess/level", words),) if words else ()


def _last_abrasive(protocol: Protocol) -> tuple[Line, ...]:
    """How fine the last abrasive is, where that decides the level of an edge: what a stone has printed on it may be no size."""
    if not told_by_last_abrasive(protocol):
        return ()
    return (Line("Size of the last abrasive", "/preparations/*/stages/*/micrometres", "last", hint="µm", secret=True),)


def run_lines(protocol: Protocol) -> tuple[Line, ...]:
    """The lines of one run's block, without the readings."""
    unit, reading = protocol.work.unit, protocol.reading
    values = () if reading.kind == "pass/fail" else (_unit_of(protocol, "/runs/*/reading_unit"),)
    return (
        Line("Code on the envelope", "", drawn=True),
        Line("Block", "", drawn=True),
        Line("Evening", "/runs/*/evening", "number", drawn=True),
        Line("Blade", "/preparations/*/blade", "blade", drawn=True, secret=True),
        Line("Sharpener", "/preparations/*/sharpener", "person", drawn=True, secret=True),
        *_condition(protocol),
        *_level(protocol),
        _word("Part of the edge", "/preparations/*/edge_part", get_args(EdgePart), drawn=protocol.design.side_by_side == "halves"),
        _word("Old edge", "/preparations/*/start_state", _words(Preparation, "start_state"), secret=True),
        Line("Abrasives as printed", "/preparations/*/stages/*/as_printed", "several", hint="one a cell, in order", secret=True),
        *_last_abrasive(protocol),
        Line("Angle", "/preparations/*/edge_angle/left_deg", "number", hint="degrees", mark="°", secret=True),
        Line("Right side where it differs", "/preparations/*/edge_angle/right_deg", "number", hint="degrees", mark="°", secret=True),
        _word("The angle is", "/preparations/*/edge_angle/basis", _words(EdgeAngle, "basis"), secret=True),
        _word("Angle known by", "/preparations/*/edge_angle/known_by", _words(EdgeAngle, "known_by"), secret=True),
        Line("Burr taken off", "/preparations/*/deburring", secret=True),
        Line("Strop", "/preparations/*/strop", hint="or none", secret=True),
        Line("Sharpening took", "/preparations/*/minutes", "number", hint="minutes", secret=True),
        Line("Note on the sharpening", "/preparations/*/note", secret=True),
        *_partner(protocol),
        Line("Tester", "/runs/*/tester", "person", drawn=True),
        _word("Blinding", "/runs/*/blinding", _words(Run, "blinding"), drawn=True),
        Line("Number of the lot", "", drawn=True),
        Line("Lot", "/runs/*/lot", hint="like wren.coil"),
        *(() if protocol.reference is None else (Line("Thread or paper", "/runs/*/reading_lot", hint="like wren.reel"),)),
        Line("Begun at", "/runs/*/coil_position_m", "number", hint="metres from the outer end", drawn=True),
        Line("Instrument", "/runs/*/instrument", hint="like wren.scale"),
        Line("Temperature", "/runs/*/temperature_c", "number", hint="°C"),
        Line("Humidity", "/runs/*/humidity_percent", "number", hint="%", mark="%"),
        Line("Meant to go to", "/runs/*/planned_last_checkpoint", "written", hint=unit, drawn=True),
        *values,
        _word("Ended", "/runs/*/ended", _words(Run, "ended")),
        Line("Another tester from", "/runs/*/tester_change_at_work", "written", hint=unit),
        Line("New lot from", "/runs/*/lot_changes/0/at_work", "written", hint=unit),
        Line("New lot", "/runs/*/lot_changes/0/lot"),
        Line("Guess: whose edge", "/runs/*/tester_guess/sharpener", "person"),
        Line("Guess: which blade", "/runs/*/tester_guess/blade", "blade"),
        *_guess(protocol),
        Line("How sure", "/runs/*/tester_guess/confidence_percent", "number", hint="0 to 100 %", mark="%"),
        Line("Note on the run", "/runs/*/note"),
    )


def _partner(protocol: Protocol) -> tuple[Line, ...]:
    """Where edges are cut in turn, which other run this one was cut in turn with."""
    if protocol.design.side_by_side is None:
        return ()
    return (Line("Cut in turn with", "/runs/*/partner", hint="like run-2", drawn=True),)


def outcome_words(protocol: Protocol) -> dict[str, str]:
    """What may stand for pass and fail; empty where values are read."""
    return {"pass": "pass", "fail": "fail", "p": "pass", "f": "fail"} if protocol.reading.kind == "pass/fail" else {}


def sheet_rules(protocol: Protocol) -> SheetRules:
    """All that a reader of sheets in another language needs, as JSON values."""
    return {
        "marker": MARKER,
        "remark": REMARK,
        "work": WORK,
        "note": NOTE_COLUMN,
        "letter": LETTER_COLUMN,
        "head": _by_key(HEAD),
        "tables": {name: _by_key(lines) for name, lines in tables_of(protocol).items()},
        "entries": _entries(protocol),
        "lines": _by_key(run_lines(protocol)),
        "outcomes": outcome_words(protocol),
        "work_unit": protocol.work.unit,
    }


def _entries(protocol: Protocol) -> dict[str, dict[str, object]]:
    """What stands in an entry of a table before anything is written."""
    if protocol.reference is None:
        return {}
    works = [{"work": 0}, {"work": protocol.reference.work}]
    return {"references": {"work_unit": protocol.work.unit, "readings": works}}


def _by_key(lines: tuple[Line, ...]) -> dict[str, LineRule]:
    return {line.key: {"at": line.at, "kind": line.kind, "words": line.words, "drawn": line.drawn, "mark": line.mark} for line in lines}
