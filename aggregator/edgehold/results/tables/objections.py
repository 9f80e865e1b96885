"""The table of objections."""

from __future__ import annotations

from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results

from .cells import Cell, Table
from .flat import flat

OBJECTION = flat(ObjectionResult, without=("statement", "proposed_change", "notes"))


def objections(results: Results) -> Table:
    """One row an objection; of a struck one nothing but what it was against, its state and its month."""
    columns = OBJECTION.columns | {
        "decided": "string: Month of the last outcome in its own thread; empty without one.",
        "responses": "integer: Responses in its thread.",
    }
    return columns, [(*OBJECTION.cells(objection), *_thread(objection)) for objection in results.objections]


def _thread(o: ObjectionResult) -> tuple[Cell, ...]:
    decided = [entry.month for entry in o.entries if entry.kind == "outcome"]
    return (decided[-1] if decided else "", sum(entry.kind == "response" for entry in o.entries))
