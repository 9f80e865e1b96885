"""The table of how pooled estimates moved."""

from __future__ import annotations

from edgehold.results.model.moves import CourseResult, Happening, Move, StandingResult
from edgehold.results.model.results import Results

from .cells import POOL_COLUMNS, Cell, Table
from .flat import flat, pool_cells

COURSE = flat(CourseResult, only=("endpoint", "factor", "first", "second"))
BEFORE, AFTER = flat(StandingResult, suffix="_before"), flat(StandingResult)
MOVE = flat(Move, only=("moved_by", "sentence"))


def moves(results: Results) -> Table:
    """One row a month, pool and endpoint, oldest first."""
    happened = {
        "month": "string: month of the tests and changes, as written in the files",
        "tested": "string: ids of submissions whose test is of this month",
        "corrected": "string: ids of submissions corrected in it",
        "retracted": "string: ids of submissions retracted in it",
        "context": "string: protocol versions and objections: what happened to them, moving nothing",
    }
    rows = [
        (
            *pool_cells(log), *COURSE.cells(course), month.month, *_ids(month.happened),
            *BEFORE.cells(move.before), *AFTER.cells(move.after), *MOVE.cells(move),
        )
        for log in results.moves
        for course in log.courses
        for month, move in zip(log.months, course.moves, strict=True)
    ]  # fmt: skip
    return POOL_COLUMNS | COURSE.columns | happened | BEFORE.columns | AFTER.columns | MOVE.columns, rows


def _ids(happened: tuple[Happening, ...]) -> tuple[Cell, ...]:
    of_kind = [" ".join(h.submission for h in happened if h.kind == kind) for kind in ("tested", "corrected", "retracted")]
    return (*of_kind, "; ".join(_context(h) for h in happened if not h.submission))


def _context(happening: Happening) -> str:
    if happening.kind == "version":
        return f"version {happening.version} {happening.says}"
    invented = " (simulated)" if happening.simulated else ""
    return f"objection {happening.number} to {happening.protocol or 'the analysis'}{invented} {happening.says}"
