"""A filled-in sheet to a submission that the check accepts, or questions with sheet and cell."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import get_args

from pydantic import BaseModel

from edgehold.disk import read_file
from edgehold.errors import ERROR, FileError, InputError
from edgehold.records.canonical import LoadedProtocol, Repository
from edgehold.records.codes import CODES
from edgehold.records.model.plan import Plan
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem, shown
from edgehold.records.read.against_protocol import readings_by
from edgehold.records.read.form import read_record
from edgehold.records.read.session import reserved_id
from edgehold.records.rules.references import reference_problems
from edgehold.records.rules.submissions import own_problems
from edgehold.words import Reason

from .cells import MOST_QUESTIONS, Question, Refused, Table, asking, cell_name, whole_file
from .csv_table import read_csv
from .filling import Filling
from .interpret import interpret, protocol_named
from .lines import MARKER, sheet_rules
from .workbook import read_xlsx

_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # compound files: XLS, and XLSX with a password
_ARCHIVE = b"PK"
_LETTERS = "bcdfghjkmnpqrstvwxz23456789"  # nothing that reads as a word or as another sign


@dataclass(frozen=True)
class Intake:
    """What came of one file.

    Attributes
    ----------
    submission : plain values in the form of a submission, as far as they could be read; None where the file was refused.
    questions : what must be asked; while there is one, the submission is a half-done file for the form.
    remarks : (place, text) of what the check would warn of.
    said : (place, text) of what was converted.
    tally : how many rows are what; together, all rows in which anything stands.
    text : where a finished record was brought, the file as it was written; None for a sheet.
    """

    submission: dict[str, object] | None
    questions: tuple[Question, ...]
    remarks: tuple[tuple[str, str], ...] = ()
    said: tuple[tuple[str, str], ...] = ()
    tally: Mapping[str, int] = field(default_factory=dict)
    text: str | None = None

    @property
    def whole(self) -> bool:
        """Whether nothing has to be asked."""
        return not self.questions


def read_sheet(path: Path, repository: Repository, today: datetime.date, plan: Plan | None = None) -> Intake:
    """Read a filled-in sheet.

    Parameters
    ----------
    path : a CSV or XLSX file.
    repository : where the protocols and the register of steels are.
    today : what "in the future" is measured from.
    plan : the plan that the sheet was made from; it says whose edge is whose where the sheet leaves that open.

    Raises
    ------
    InputError
        The file cannot be read, is far too large or no ordinary file.
    """
    return sheet_from_bytes(sheet_bytes(path), repository, today, plan)


def sheet_bytes(path: Path) -> bytes:
    """The bytes of a file that somebody brings.

    Raises
    ------
    InputError
        The file cannot be read, is far too large or no ordinary file.
    """
    try:
        return read_file(path)
    except FileError as error:
        raise InputError(Reason("intake.no_file", told=str(error))) from None


def sheet_from_bytes(data: bytes, repository: Repository, today: datetime.date, plan: Plan | None = None) -> Intake:
    """As `read_sheet`, for the bytes of a file."""
    try:
        tables, said = _tables(data)
        sheet, key = _sheet_of(tables)
        protocol = _protocol_of(sheet, key, repository)
    except Refused as refused:
        return Intake(None, (refused.question,))
    found = interpret(sheet, sheet_rules(protocol.record), key)
    if plan is not None:
        _from_plan(found, plan)
    _name_file(found.tree, data)
    more = [_of_another_sheet(table) for table in tables if table is not sheet]
    return _checked(found, more, said, sheet.name, protocol, repository, today)


def _tables(data: bytes) -> tuple[list[Table], list[Reason]]:
    if data.startswith(_OLD_WORKBOOK):
        raise Refused(asking("not-a-workbook", "intake.old_workbook", "intake.save_without_password"))
    if data.startswith(_ARCHIVE):
        return read_xlsx(data)
    table, said = read_csv(data)
    return [table], said


def _sheet_of(tables: list[Table]) -> tuple[Table, tuple[str, str]]:
    """The one table that is a sheet, with the protocol that it names."""
    sheets = [(table, key) for table in tables if (key := protocol_named(table, MARKER))]
    if not sheets:
        raise Refused(asking("not-a-sheet", "intake.no_sheet", "sheets.leave_first_cell", marker=shown(MARKER)))
    if len(sheets) > 1:
        raise Refused(asking("not-a-sheet", "intake.several_sheets", "intake.own_files", marker=shown(MARKER)))
    return sheets[0]


def _protocol_of(sheet: Table, key: tuple[str, str], repository: Repository) -> LoadedProtocol:
    if key not in repository.protocols:
        named, known = map(shown, key), ", ".join(map(" ".join, sorted(repository.protocols)))
        arguments = dict(zip(("protocol", "version"), named, strict=True))
        raise Refused(asking("unknown-protocol", "intake.no_protocol", "intake.known", known=known, **arguments), sheet=sheet.name)
    return repository.protocols[key]


def _of_another_sheet(table: Table) -> Question:
    asked = asking("other-worksheet", "intake.other_worksheet", "intake.move_rows", rows=sum(map(any, table.rows)))
    return whole_file(asked, sheet=table.name)


def _in_order(model: type[BaseModel], tree: dict[str, object]) -> dict[str, object]:
    """The same values, with the fields of every record in the order of the schema."""
    inner = {name: _record_in(field.annotation) for name, field in model.model_fields.items()}
    return {name: _inner_in_order(record, tree[name]) for name, record in inner.items() if name in tree}


def _inner_in_order(model: type[BaseModel] | None, value: object) -> object:
    """The same for what a field holds: a record, a list of them, or anything else."""
    if model is None:
        return value
    if isinstance(value, list):
        return [_inner_in_order(model, entry) for entry in value]
    return _in_order(model, value) if isinstance(value, dict) else value


def _record_in(annotation: object) -> type[BaseModel] | None:
    """The record that a field holds, alone or in a list."""
    if isinstance(annotation, type):
        return annotation if issubclass(annotation, BaseModel) else None
    return next(filter(None, map(_record_in, get_args(annotation))), None)


def _name_file(tree: dict[str, object], data: bytes) -> None:
    """An id where none is written: who sends it in, the month, and three signs that differ from file to file."""
    if "id" not in tree and all(isinstance(tree.get(name), str) for name in ("submitted_by", "month")):
        digest = hashlib.sha256(data).digest()
        signs = "".join(_LETTERS[byte % len(_LETTERS)] for byte in digest[:3])
        tree["id"] = f"{tree['submitted_by']}-{tree['month']}-{signs}"


def _from_plan(found: Filling, plan: Plan) -> None:
    """The plan itself, opened, and whose edge is whose where the sheet leaves it open; where it says otherwise than the plan, ask."""
    planned = {run.order: run for run in plan.runs}
    for place, (run, preparation) in enumerate(zip(found.entries("runs"), found.entries("preparations"), strict=True)):
        order = run["order"]
        drawn = planned.get(order) if isinstance(order, int) else None
        if drawn is None:
            continue
        for part, record, name in (
            ("preparations", preparation, "blade"),
            ("preparations", preparation, "sharpener"),
            ("runs", run, "tester"),
        ):
            pointer = f"/{part}/{place}/{name}"
            meant = getattr(drawn, name)
            if record.setdefault(name, meant) != meant and pointer not in found.asked:
                told = {"meant": shown(meant), "name": name, "order": str(order), "got": shown(record[name])}
                asked = asking("plan-disagrees", "intake.plan_says", "intake.without_plan", **told)
                found.ask(found.places[pointer], asked, pointer)
    on_sheet = found.tree.get("plan")
    named = on_sheet.get("id", plan.id) if isinstance(on_sheet, dict) else plan.id
    if named != plan.id:
        asked = asking("plan-disagrees", "intake.other_plan", "intake.give_plan", named=shown(named), given=shown(plan.id))
        found.ask(found.places["/plan/id"], asked, "/plan/id")
    seal = {} if plan.sha256 is None else {"sha256": plan.sha256}
    found.tree["plan"] = {"id": plan.id, **seal, "opened": plan.model_dump(mode="json", exclude_none=True)}


def _checked(
    found: Filling,
    more: list[Question],
    said: list[Reason],
    sheet: str,
    protocol: LoadedProtocol,
    repository: Repository,
    today: datetime.date,
) -> Intake:
    questions, remarks = [*found.questions, *more], []
    for problem in _problems(found.tree, protocol, repository, today):
        row, column = _place(found, problem.pointer)
        code = CODES[problem.code]
        if any(problem.pointer == asked or asked.startswith(f"{problem.pointer}/") for asked in found.asked if problem.pointer):
            continue
        if code.severity == ERROR:
            questions.append(Question(sheet, row, column, problem.code, problem.message, problem.cure or code.cure))
        else:
            remarks.append((_named(sheet, row, column), problem.message))
    questions = sorted(
        {replace(question, sheet=question.sheet or sheet) for question in questions}, key=lambda q: (q.sheet, q.row, q.column, q.code)
    )
    kept = _counted(questions)
    told: list[tuple[str, str]] = [(cell_name(0, 0), text) for text in said]
    told += [(_named(sheet, *place), text) for place, text in sorted(found.said.items())]
    return Intake(_in_order(Submission, found.tree), tuple(kept), tuple(remarks), tuple(told), found.tally)


def _counted(questions: list[Question]) -> list[Question]:
    if len(questions) <= MOST_QUESTIONS:
        return questions
    more = len(questions) - MOST_QUESTIONS + 1
    return [*questions[: MOST_QUESTIONS - 1], whole_file(asking("too-many-questions", "intake.more", "intake.answer", more=more))]


def _named(sheet: str, row: int, column: int) -> str:
    return f"{sheet} {cell_name(row, column)}".strip()


def _place(found: Filling, pointer: str) -> tuple[int, int]:
    """The cell of a value, or of the nearest one around it."""
    while pointer and pointer not in found.places:
        pointer = pointer[: pointer.rindex("/")]
    return found.places.get(pointer, (0, 0))


def _problems(tree: dict[str, object], protocol: LoadedProtocol, repository: Repository, today: datetime.date) -> list[Problem]:
    """What the check finds in a submission that stands alone."""
    record, problems = read_record(Submission, tree)
    if record is None:
        return problems
    by_itself = [
        *reserved_id(record.id),
        *reference_problems(record),
        *own_problems(record, today, repository.steels),
    ]
    _, problems = readings_by(protocol.record, repository.events.get(protocol.record.id, ()), record)
    return [*by_itself, *problems]
