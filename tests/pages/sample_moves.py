"""Hand-made logs of how estimates moved, for the tests of pages."""

from __future__ import annotations

from sample_analyses import STEELS, interval

from edgehold.results.model.moves import CourseResult, Happening, MonthResult, Move, PoolLog, StandingResult


def happening(kind: str, **facts: object) -> Happening:
    empty = {"submission": "", "version": "", "protocol": "", "number": None, "says": "", "simulated": False}
    return Happening(kind=kind, **(empty | facts))


def standing(state: str, studies: int, ratio: float | None = None) -> StandingResult:
    result = None if ratio is None else interval(ratio)
    verdict = "undecided" if ratio else ""
    return StandingResult(state=state, submissions=studies, studies=studies, one_sided=0, result=result, verdict=verdict)


def log(origin: str, submissions: list[str], protocol: str, objected: bool = False) -> PoolLog:
    """The log of a pool in which one submission was tested each month, and in the last one was retracted."""
    months = [
        MonthResult(month="2025-11", happened=(happening("version", version="1.0.0", says="released"),)),
        MonthResult(month="2026-01", happened=tuple(happening("tested", submission=name) for name in submissions[:3])),
        MonthResult(
            month="2026-10",
            happened=(
                happening("retracted", submission=submissions[0], says="The thread was changed."),
                *([happening("objection", protocol=protocol, number=1, says="revised: Damp rope", simulated=True)] if objected else ()),
            ),
        ),
    ]
    course = CourseResult(
        endpoint="late",
        title="Sharpness after 160 cuts",
        role="late",
        primary=True,
        worthwhile_ratio=1.25,
        factor="steel",
        first=STEELS[0],
        second=STEELS[1],
        moves=(
            Move(month="2025-11", before=standing("not estimable", 0), after=standing("not estimable", 0), moved_by=None, sentence="None."),
            Move(
                month="2026-01",
                before=standing("not estimable", 0),
                after=standing("pooled", 3, 1.4),
                moved_by=None,
                sentence="There are three.",
            ),
            Move(
                month="2026-10",
                before=standing("pooled", 3, 1.4),
                after=standing("pooled", 3, 1.2),
                moved_by=1.2 / 1.4,
                sentence="One was retracted, and the ratio fell.",
            ),
        ),
    )
    return PoolLog(
        protocol=protocol,
        major=1,
        origin=origin,
        title="Steels exchanged, rope",
        months=tuple(months),
        courses=(course,) if len(submissions) >= 3 else (),
    )
