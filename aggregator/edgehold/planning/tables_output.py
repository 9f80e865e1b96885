"""A shared plan as text and as JSON: the whole for whoever drew it, and for each table what is done there."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict

from edgehold.records.model.plan import Plan, PlannedRun
from edgehold.records.units import plural
from edgehold.results.model.numbers import readable_json
from edgehold.words import Reason
from edgehold.words.cautions import CAUTIONS

from .chances import SIGHTS
from .output import in_evenings, listed, table_lines, wrapped
from .tables import Shared, Visit


def shared_text(shared: Shared) -> str:
    """The whole: what it shows, then every table."""
    parts = [*_answer(shared), "", *_cautions(shared)]
    for number in range(1, len(shared.tables) + 1):
        parts += ["", *_table(shared, number)]
    return "\n".join(parts)


def table_text(shared: Shared, number: int) -> str:
    """What one table is handed: its order, what it sends and what it gets, cautions first."""
    part = shared.plan.tables[number - 1]
    head = Reason("tables.order_head", plan=part.id, table=number, tables=len(shared.tables))
    hidden = (
        [] if part.coder is None else [wrapped(Reason("plan.coder_only", coder=part.coder, testers=shared.tables[number - 1].tester)), ""]
    )
    return "\n".join([head, "", *hidden, *_cautions(shared), "", *_table(shared, number), "", *_seal(shared)]).rstrip() + "\n"


def shared_json(shared: Shared) -> str:
    """The same for programs."""
    return readable_json(
        {
            "plan": shared.plan.model_dump(mode="json"),
            "changes": [{"code": change.code, "arguments": change.arguments, "text": change} for change in shared.changes],
            "visits": [asdict(visit) for visit in shared.visits],
            "pairs_an_evening": shared.pairs,
            "run_m": shared.run_m,
            "half_width": shared.half_width,
            "seen": shared.seen,
            "joined": shared.joined,
            "apart": shared.apart,
        }
    )


def _answer(shared: Shared) -> Iterator[str]:
    asked = shared.asked
    yield wrapped(asked.protocol.question.text)
    yield ""
    if shared.half_width is None:
        yield wrapped(Reason("tables.tells_nothing"))
    else:
        lesser, larger = (in_evenings(shared.seen[true]) for true in SIGHTS)
        width = Reason("plan.width_short", width=math.exp(shared.half_width))
        told = Reason("plan.add_told", width=width, seen15=lesser, seen20=larger)
        yield wrapped(Reason("tables.tells", tables=len(shared.tables), told=told, title=asked.rule.title))
    yield wrapped(" ".join(shared.apart))
    yield wrapped(Reason("tables.without"))
    if "stone" in shared.asked.protocol.design.holds:
        yield wrapped(Reason("tables.stone"))
    if shared.changes:
        yield Reason("plan.changed_head")
        yield from listed(shared.changes)
    if len(shared.visits) < shared.pairs * len(shared.tables) * asked.stock.evenings:
        yield wrapped(Reason("tables.more_blades", pairs=shared.pairs))
    yield from _seal(shared)


def _cautions(shared: Shared) -> Iterator[str]:
    yield "BEFORE YOU CUT"
    yield from listed([*CAUTIONS, *shared.asked.protocol.cautions])


def _seal(shared: Shared) -> Iterator[str]:
    if shared.plan.sha256 is not None:
        yield wrapped(Reason("tables.seal", sha256=shared.plan.sha256))


def _table(shared: Shared, number: int) -> Iterator[str]:
    table, part = shared.tables[number - 1], shared.plan.tables[number - 1]
    yield f"TABLE {number}"
    codes = "" if table.coder is None else Reason("tables.codes", coder=table.coder)
    yield wrapped(Reason("tables.people", sharpener=table.sharpener, tester=table.tester, codes=codes))
    metres = Reason("tables.medium", metres=math.ceil(len(part.runs) * shared.run_m * 11) / 10, medium=shared.asked.protocol.medium.name)
    yield from listed([metres])
    yield from listed(_sent(shared, visit) for visit in shared.visits if visit.sender == number)
    yield from listed(_arrives(shared, visit) for visit in shared.visits if visit.host == number)
    yield from table_lines(
        [("run", "evening", "at m", "code", "sharpener", "blade", "half", Reason("plan.in_turn_with")), *map(_row, part.runs)]
    )
    yield wrapped(Reason("plan.run_end", last=shared.asked.last_checkpoint, units=plural(shared.asked.protocol.work.unit)))


def _row(run: PlannedRun) -> tuple[str, ...]:
    code, at = run.code or "-", f"{run.coil_position_m:g}"
    return str(run.order), str(run.evening), at, code, run.sharpener, run.blade, run.edge_part, str(run.partner)


def _sent(shared: Shared, visit: Visit) -> Reason:
    guest, _ = _pair(shared.plan.tables[visit.host - 1], visit)
    return Reason(
        "tables.sends",
        evening=visit.evening,
        sharpener=guest.sharpener,
        half=guest.edge_part,
        blade=visit.blade,
        host=visit.host,
        name=shared.tables[visit.host - 1].sharpener,
        coded="" if guest.code is None else Reason("tables.sent_code", letters=guest.code),
    )


def _arrives(shared: Shared, visit: Visit) -> Reason:
    _, own = _pair(shared.plan.tables[visit.host - 1], visit)
    return Reason(
        "tables.arrives", evening=visit.evening, blade=visit.blade, sender=visit.sender, sharpener=own.sharpener, half=own.edge_part
    )


def _pair(part: Plan, visit: Visit) -> tuple[PlannedRun, PlannedRun]:
    """The visiting run of a visit and its host's."""
    pair = [run for run in part.runs if (run.evening, run.blade) == (visit.evening, visit.blade)]
    guest = next(run for run in pair if run.from_table is not None)
    return guest, next(run for run in pair if run is not guest)
