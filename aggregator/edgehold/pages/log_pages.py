"""The log of how pooled estimates moved: an overview, and a page a pool."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.moves import CourseResult, MonthResult, Move, PoolLog
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import addresses
from .formatting import ROLE_ORDER
from .log_plot import log_plot
from .page import Findable, Page, render

CHANGELOG = "aggregator/CHANGELOG.md"
UNMOVED = (None, 1.0)
SHOWN = 12  # submissions of one month by link; the table to download has all


def log_pages(results: Results) -> Iterator[Page]:
    """The overview, and the months of every pool."""
    logs = sorted(results.moves, key=lambda log: (log.origin != "measured", log.protocol, -log.major))
    shared = {
        "changelog": addresses.repository_file(results.provenance.repository_url, CHANGELOG),
        "program_version": results.provenance.program_version,
        "SHOWN": SHOWN,
    }
    removed = sorted({r.month for r in results.removed}, reverse=True)
    taken_out = [(month, sum(r.month == month for r in results.removed)) for month in removed]
    html = render("logs.html", latest=[(log, _latest(log)) for log in logs], taken_out=taken_out, **shared)
    yield Page("/results/log/", Reason("pages.logs_title"), html, "Results", Reason("pages.logs_told"))
    shown = {(p.protocol, p.major, p.origin) for p in results.pools}
    for log in logs:
        yield _log(log, (log.protocol, log.major, log.origin) in shown, shared)


def address_of(results: Results, protocol: str, major: int, origin: str) -> str:
    """The log of one pool; empty where it has none."""
    found = [log for log in results.moves if (log.protocol, log.major, log.origin) == (protocol, major, origin)]
    return addresses.log(found[0]) if found else ""


def _latest(log: PoolLog) -> tuple[CourseResult, Move] | None:
    """The last month that moved the primary endpoint's ratio, or changed what may be done with it."""
    primary = [course for course in log.courses if course.primary]
    moved = [(course, move) for course in primary for move in course.moves if _moved(move)]
    return moved[-1] if moved else None


def _moved(move: Move) -> bool:
    return move.moved_by not in UNMOVED or move.before.state != move.after.state


def _log(log: PoolLog, has_pool: bool, shared: dict[str, object]) -> Page:
    courses = sorted(log.courses, key=lambda course: (not course.primary, ROLE_ORDER[course.role], course.endpoint))
    html = render(
        "log.html",
        log=log,
        latest=_latest(log),
        courses=[(course, _rows(log, course)) for course in courses],
        drawing=log_plot(log, courses),
        file=f"plot-log-{addresses.segment(log.protocol)}-v{log.major}-{log.origin}",
        months=tuple(reversed(log.months)),
        numbers=_numbers(log),
        has_pool=has_pool,
        **shared,
    )
    name = Reason("pages.log_title", protocol=log.protocol, major=log.major, origin=log.origin)
    return Page(addresses.log(log), name, html, "Results", record=True, found=Findable("log"), simulated=log.origin == "simulated")


def _rows(log: PoolLog, course: CourseResult) -> list[tuple[MonthResult, Move]]:
    """Newest month first."""
    return list(zip(reversed(log.months), reversed(course.moves), strict=True))


def _numbers(log: PoolLog) -> dict[str, int]:
    """A number for every submission, by month: ids can hold handles, which stand on pages of submissions alone."""
    met = [h.submission for month in log.months for h in month.happened if h.submission]
    return {name: number for number, name in enumerate(dict.fromkeys(met), 1)}
