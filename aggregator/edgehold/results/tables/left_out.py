"""What is left out of which model, and why; nothing leaves a model without a line here."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.endpoints.rows import EXACT, MISSING, EndpointRow
from edgehold.estimates.results import ContrastEstimated
from edgehold.pooling.headline import Headline
from edgehold.results.publish.assemble import EverythingFound
from edgehold.words import Reason, code_of

from .cells import ENDPOINT_COLUMNS, Cell, Table

COLUMNS = ENDPOINT_COLUMNS | {
    "model": "string: all runs (the hierarchical and the crossed model), hierarchical, by studies, or circulating blades",
    "submission": "string: id",
    "run": "string: run id; empty where a whole submission gives nothing to a comparison",
    "comparison": "string: what is compared, where the whole submission is left out of one comparison",
    "reason": "string: why",
    "reason_code": "string: code of the reason in the catalogue of texts",
}
Line = tuple[Cell, ...]


def left_out(found: EverythingFound) -> Table:
    """Every run and submission that some model of its pool goes without."""
    lines = [*_of_all_runs(found), *_one_sided(found), *_of_studies(found), *_of_circulating_blades(found)]
    return COLUMNS, sorted(lines, key=lambda line: tuple(map(str, line)))


def _line(row: EndpointRow, model: str, reason: str) -> Line:
    pool = row.pool
    return (pool.origin, pool.protocol, pool.major, row.endpoint, model, row.submission, row.run, None, reason, code_of(reason))


def _of_all_runs(found: EverythingFound) -> Iterator[Line]:
    """Runs without a value, or tested by two."""
    for row in found.rows:
        if row.status == MISSING:
            yield _line(row, "all runs", row.reason)
        elif row.split_tester:
            yield _line(row, "all runs", Reason("left_out.two_testers"))


def _one_sided(found: EverythingFound) -> Iterator[Line]:
    """Runs of a steel, or level, of which every run is known to one side only."""
    for row in found.rows:
        answered = found.answers.get((row.pool, row.endpoint))
        if answered is None or not row.usable:
            continue
        name = _lost(row, answered.headline)
        if name is not None:
            yield _line(row, "hierarchical", Reason("left_out.one_side_only", name=name))


def _lost(row: EndpointRow, headline: Headline) -> str | None:
    if row.steel in headline.left_out:
        return row.steel
    return row.level if row.level in headline.levels_left_out else None


def _of_studies(found: EverythingFound) -> Iterator[Line]:
    """Submissions that hold both sides of a comparison and give it no ratio."""
    for one in found.comparisons:
        compared = f"{one.factor}: {one.first} against {one.second}"
        for line in one.contributions:
            if not isinstance(line.contrast, ContrastEstimated):
                pool, why = one.pool, line.contrast.reason
                named = (pool.origin, pool.protocol, pool.major, one.endpoint)
                yield (*named, "by studies", line.estimate.submission, None, compared, why, code_of(why))


def _of_circulating_blades(found: EverythingFound) -> Iterator[Line]:
    """Runs of a circulating blade without an exact value."""
    blades = {(one.pool, one.endpoint, one.blade) for one in found.circulated}
    for row in found.rows:
        if (row.pool, row.endpoint, row.blade) in blades and row.usable and row.status != EXACT:
            yield _line(row, "circulating blades", Reason("left_out.no_exact_value"))
