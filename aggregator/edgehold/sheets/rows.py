"""A plan as rows of cells: what CSV and XLSX files hold, and what a person fills in."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.records.model.plan import Plan, PlannedRun
from edgehold.records.model.protocol import Protocol
from edgehold.records.sharpeners import FACTORY
from edgehold.words import Reason
from edgehold.words.cautions import CAUTIONS

from .lines import BLADES, HEAD, MARKER, PEOPLE, REMARK, VERSION_WORD, WORK, Line, run_lines, tables_of

HOW = (Reason("blank_sheet.cells"), Reason("blank_sheet.limits"), Reason("blank_sheet.lines"))
ASKED_BESIDE = ("references", "weights")
OPEN = ("", "none")
"""Blinding where the tester may know everything; under any other, the seed would let them draw the order again."""
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MOST_LETTERS = len(_LETTERS)
_SPARE_ENTRIES = 1


@dataclass(frozen=True)
class SheetRun:
    """One run as a sheet shows it. ``blade``, ``sharpener`` and ``tester`` are names, or letters where names are not known yet."""

    order: int
    block: int
    blade: str
    sharpener: str
    tester: str
    code: str = ""
    evening: str = ""
    lot: str = ""
    begun_at_m: str = ""
    edge_part: str = ""
    partner: str = ""
    condition: str = ""
    level: str = ""


@dataclass(frozen=True)
class SheetPlan:
    """What a sheet needs to know of a plan.

    Attributes
    ----------
    people, blades : (letter, name); the name is empty where it is to be filled in.
    blinding : as in a plan; unless ``none``, what would give an edge away is left empty.
    plan, seal, seed : of the plan; empty where there is none.
    origin : measured, or simulated where a program will fill it in.
    last : how far every run is meant to go; None: to the last checkpoint.
    """

    runs: tuple[SheetRun, ...]
    people: tuple[tuple[str, str], ...]
    blades: tuple[tuple[str, str], ...]
    blinding: str = ""
    plan: str = ""
    seal: str = ""
    seed: str = ""
    origin: str = "measured"
    last: float | None = None


@dataclass(frozen=True)
class SheetRow:
    """A row, and for each cell behind its label that is to be filled in, the line it belongs to."""

    cells: tuple[str, ...]
    lines: tuple[Line | None, ...] = ()
    heading: bool = False


def sheet_plan(plan: Plan) -> SheetPlan:
    """The plan as a sheet shows it."""
    named = {name for run in plan.runs for name in (run.sharpener, run.tester)} | ({plan.coder} if plan.coder else set())
    people = sorted(named - {FACTORY})  # in the drawn order they would tell who is first
    blades = sorted({run.blade for run in plan.runs})
    return SheetPlan(
        runs=tuple(map(_sheet_run, plan.runs)),
        people=tuple((_letter(n), name) for n, name in enumerate(people)),
        blades=tuple((str(n), name) for n, name in enumerate(blades, 1)),
        blinding=plan.blinding,
        plan=plan.id,
        seal=plan.sha256 or "",
        seed=str(plan.seed),
        origin=plan.origin,
        last=plan.planned_last_checkpoint,
    )


def _sheet_run(run: PlannedRun) -> SheetRun:
    evening, lot, begun = ("" if value is None else f"{value:g}" for value in (run.evening, run.lot, run.coil_position_m))
    partner = "" if run.partner is None else f"run-{run.partner}"
    part = "" if run.edge_part == "whole" else run.edge_part
    return SheetRun(
        run.order, run.block, run.blade, run.sharpener, run.tester, run.code or "", evening, lot, begun, part, partner,
        run.condition or "", run.level or "",
    )  # fmt: skip


def _letter(number: int) -> str:
    return _LETTERS[number] if number < _MOST_LETTERS else f"{_LETTERS[number % _MOST_LETTERS]}{number // _MOST_LETTERS}"


def sheet_rows(plan: SheetPlan, protocol: Protocol) -> list[SheetRow]:
    """Every row of the sheet, in order."""
    rows = [SheetRow((MARKER, protocol.id, f"{VERSION_WORD} {protocol.version}"), heading=True)]
    rows += [SheetRow((f"{REMARK} {text}",)) for text in (protocol.title, *CAUTIONS, *protocol.cautions, *HOW)]
    rows += [_filled(line, _head_value(line, plan)) for line in HEAD]
    rows += [SheetRow(()), *_table("People", PEOPLE, plan.people), SheetRow(()), *_table("Blades", BLADES, plan.blades)]
    rows += _asked_beside(plan, protocol)
    for run in plan.runs:
        rows += [SheetRow(()), *_block(run, plan, protocol)]
    return rows


def _head_value(line: Line, plan: SheetPlan) -> str:
    return {
        "Measured or simulated": plan.origin,
        "Plan": plan.plan,
        "Seal": plan.seal,
        "Seed": plan.seed if plan.blinding in OPEN else "",
    }.get(line.label, "")


def _filled(line: Line, value: str) -> SheetRow:
    return SheetRow((line.heading, value), (line,))


def _table(title: str, lines: tuple[Line, ...], entries: tuple[tuple[str, str], ...]) -> list[SheetRow]:
    empty = [("", "")] * _SPARE_ENTRIES
    headings = SheetRow(tuple(line.heading for line in lines), heading=True)
    return [SheetRow((title,), heading=True), headings, *(SheetRow(entry, (*lines[1:],)) for entry in (*entries, *empty))]


def _asked_beside(plan: SheetPlan, protocol: Protocol) -> list[SheetRow]:
    """Tables of reference edges and known weights, where the protocol asks for them: two edges and as many weights an evening."""
    evenings = sorted({run.evening for run in plan.runs}, key=lambda text: (len(text), text))
    rows: list[SheetRow] = []
    for name, lines in tables_of(protocol).items():
        if name not in ASKED_BESIDE:
            continue
        rows += [SheetRow(()), SheetRow((name.capitalize(),), heading=True), SheetRow(tuple(line.heading for line in lines), heading=True)]
        for evening, when in ((evening, when) for evening in evenings for when in ("start", "end")):
            drawn = {"when": when, "evening": evening, "work": f"{protocol.reference.work:g}" if protocol.reference else ""}
            cells = tuple(drawn.get(line.key, _one_unit(line)) for line in lines)
            rows.append(SheetRow(cells, (*lines[1:],)))
    return rows


def _one_unit(line: Line) -> str:
    """The unit of a line for which there is only one."""
    return line.words[0] if line.key == "reading unit" and len(line.words) == 1 else ""


def _block(run: SheetRun, plan: SheetPlan, protocol: Protocol) -> list[SheetRow]:
    """One run: its lines, and a row for every checkpoint."""
    unused = () if any(each.condition for each in plan.runs) else ("condition",)
    before = [line for line in run_lines(protocol) if line.key not in (*AFTER_READINGS, *unused)]
    after = [line for line in run_lines(protocol) if line.key in AFTER_READINGS]
    repeats = [f"{'Outcome' if protocol.reading.kind == 'pass/fail' else 'Value'} {n}" for n in range(1, protocol.reading.repeats + 1)]
    cells = tuple(reading_line(protocol) for _ in repeats)
    note = Line("Note", "/runs/*/readings/*/note")
    return [
        SheetRow((f"Run {run.order}",), heading=True),
        *(_filled(line, run_value(line, run, plan, protocol)) for line in before),
        SheetRow((f"{WORK.capitalize()} ({protocol.work.unit})", *repeats, "Note"), heading=True),
        *(SheetRow((f"{work:g}",), (*cells, note)) for work in protocol.work.checkpoints),
        *(_filled(line, "") for line in after),
    ]


AFTER_READINGS = (
    "ended", "another tester from", "new lot from", "new lot", "guess: whose edge", "guess: which blade", "guess: which level",
    "how sure", "note on the run",
)  # fmt: skip
"""Lines that stand below the readings, because they are written last."""


def reading_line(protocol: Protocol) -> Line:
    """What may stand in the cell of a repeat."""
    if protocol.reading.kind == "pass/fail":
        return Line("Outcome", "/runs/*/readings/*/outcomes/*", "word", words=("pass", "fail"))
    return Line("Value", "/runs/*/readings/*/values/*", "written")


def run_value(line: Line, run: SheetRun, plan: SheetPlan, protocol: Protocol) -> str:
    """What the plan says for a line of a run; empty where it says nothing, or where the tester is not to know."""
    values = {
        "code on the envelope": run.code,
        "block": str(run.block),
        "blade": run.blade,
        "sharpener": run.sharpener,
        "condition": run.condition,
        "level": run.level,
        "tester": run.tester,
        "blinding": plan.blinding,
        "meant to go to": f"{plan.last or protocol.work.checkpoints[-1]:g}",
        "evening": run.evening,
        "number of the lot": run.lot,
        "begun at": run.begun_at_m,
        "part of the edge": run.edge_part,
        "old edge": FACTORY if run.sharpener == FACTORY else "",
        "cut in turn with": run.partner,
        "reading unit": line.words[0] if len(line.words) == 1 else "",
    }
    return "" if line.secret and _gives_away(line.key, plan) else values.get(line.key, "")


def _gives_away(key: str, plan: SheetPlan) -> bool:
    """Whether a value would tell a tester who is not to know whose edge it is."""
    if plan.blinding in OPEN or key not in ("blade", "sharpener", "condition", "level"):
        return False
    return len({getattr(run, key) for run in plan.runs}) > 1
