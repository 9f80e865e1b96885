"""The table of objections."""

from __future__ import annotations

from edgehold.results.model.objections import ObjectionResult
from edgehold.results.model.results import Results

from .cells import Cell, Table


def objections(results: Results) -> Table:
    """One row an objection; of a struck one nothing but what it was against, its state and its month."""
    columns = {
        "protocol": "string: protocol id; empty for an objection to the analysis",
        "number": "integer: its number under that protocol, or under the analysis, for good",
        "version": "string: the version read by the objector",
        "step": "string: the step objected to",
        "endpoint": "string: the endpoint objected to",
        "title": "string: the flaw in one line; empty where struck",
        "threat": "string: kind of flaw",
        "severity": "string: blocking, material or minor",
        "state": "string: open, upheld and unresolved, revised, rebutted, withdrawn or struck",
        "month": "string: month in which it was raised",
        "decided": "string: month of the last outcome in its own thread; empty without one",
        "by": "string: handle of the objector; empty where struck",
        "interest": "string: the objector's interest; empty where struck",
        "simulated": "boolean: invented, with all that is said below it",
        "revised_in": "string: the version that cures it; empty unless revised",
        "stands_against": "string: versions it stands against, with a space between them",
        "repeats": "integer: number of the objection that it repeats",
        "responses": "integer: responses in its thread",
        "probes": "string: probes that it and its responses point at, with a space between them",
    }
    return columns, [_row(objection) for objection in results.objections]


def _row(o: ObjectionResult) -> tuple[Cell, ...]:
    decided = [entry.month for entry in o.entries if entry.kind == "outcome"]
    responses = sum(entry.kind == "response" for entry in o.entries)
    return (
        o.protocol, o.number, o.version, o.step, o.endpoint, o.title, o.threat, o.severity, o.state, o.month,
        decided[-1] if decided else "", o.by, o.interest, o.simulated, o.revised_in, " ".join(o.stands_against), o.repeats, responses,
        " ".join(o.probes),
    )  # fmt: skip
