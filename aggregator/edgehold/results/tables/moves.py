"""The table of how pooled estimates moved."""

from __future__ import annotations

from edgehold.results.model.moves import Happening, StandingResult
from edgehold.results.model.results import Results

from .cells import Cell, Table
from .studies import PAIR_COLUMNS


def moves(results: Results) -> Table:
    """One row a month, pool and endpoint, oldest first."""
    columns = PAIR_COLUMNS | {
        "month": "string: month of the tests and changes, as written in the files",
        "tested": "string: ids of submissions whose test is of this month",
        "corrected": "string: ids of submissions corrected in it",
        "retracted": "string: ids of submissions retracted in it",
        "context": "string: protocol versions and objections: what happened to them, moving nothing",
        "state_before": "string: pooled, listed, single or not estimable, at the end of the month before",
        "submissions_before": "integer: submissions that gave a ratio of the two",
        "studies_before": "integer: studies that these made",
        "ratio_before": "number: pooled ratio",
        "low_before": "number: lower end of its interval",
        "high_before": "number: upper end",
        "state": "string: the same at the end of this month",
        "submissions": "integer: submissions that gave a ratio of the two",
        "studies": "integer: studies that these made",
        "ratio": "number: pooled ratio",
        "low": "number: lower end of its interval",
        "high": "number: upper end",
        "moved_by": "number: pooled ratio divided by that before",
        "verdict": "string: against the worthwhile ratio",
        "sentence": "string: the same in words",
    }
    rows = [
        (
            log.origin, log.protocol, log.major, course.endpoint, course.factor, course.first, course.second,
            month.month, *_ids(month.happened), *_standing(move.before), *_standing(move.after), move.moved_by, move.after.verdict,
            move.sentence,
        )
        for log in results.moves
        for course in log.courses
        for month, move in zip(log.months, course.moves, strict=True)
    ]  # fmt: skip
    return columns, rows


def _ids(happened: tuple[Happening, ...]) -> tuple[Cell, ...]:
    of_kind = [" ".join(h.submission for h in happened if h.kind == kind) for kind in ("tested", "corrected", "retracted")]
    return (*of_kind, "; ".join(_context(h) for h in happened if not h.submission))


def _context(happening: Happening) -> str:
    if happening.kind == "version":
        return f"version {happening.version} {happening.says}"
    invented = " (simulated)" if happening.simulated else ""
    return f"objection {happening.number} to {happening.protocol or 'the analysis'}{invented} {happening.says}"


def _standing(standing: StandingResult) -> tuple[Cell, ...]:
    result = standing.result
    ends = (None, None, None) if result is None else (result.ratio, result.low, result.high)
    return (standing.state, standing.submissions, standing.studies, *ends)
