"""The tables of comparisons by studies: each comparison, what each submission adds, and what was asked of the studies."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.results import Comparison, EndpointResult, Pool, Prediction, StudyLine
from edgehold.results.model.studies import ByPeople, CumulativeMonth, SmallStudies, StudyInfluence

from .cells import ENDPOINT_COLUMNS, Cell, Table
from .flat import Pooled, flat, pool_cells

PAIR = flat(Comparison, only=("factor", "first", "second"))
PAIR_COLUMNS = ENDPOINT_COLUMNS | PAIR.columns
COMPARISON = flat(Comparison, without=("factor", "first", "second"))
PREDICTION = flat(Prediction, only=("result", "caveat"), prefix="prediction_")
LINE = flat(StudyLine, rename={"cluster": "study"})
INFLUENCE = flat(
    StudyInfluence,
    rename={"without_ratio": "ratio_without_fitted", "without_low": "low_without", "without_high": "high_without"},
)
SMALL = flat(
    SmallStudies,
    rename={
        "state": "small_studies",
        "reason": "small_studies_reason",
        "reason_code": "small_studies_reason_code",
        "reason_arguments": "small_studies_reason_arguments",
        "sentence": "small_studies_sentence",
        "standard_error": "slope_standard_error",
        "df": "slope_df",
        "p": "slope_p",
    },
)
MONTH = flat(CumulativeMonth)
PEOPLE = flat(ByPeople, prefix="by_people_", rename={"clusters": "clusters"})


def each_comparison(results: Pooled) -> Iterator[tuple[Pool, EndpointResult, Comparison]]:
    """Every comparison with its pool and endpoint."""
    for pool in results.pools:
        for endpoint in pool.endpoints:
            for comparison in endpoint.pairwise:
                yield pool, endpoint, comparison


def pair_cells(pool: Pool, endpoint: EndpointResult, c: Comparison) -> tuple[Cell, ...]:
    """The cells under ``PAIR_COLUMNS``."""
    return (*pool_cells(pool), endpoint.id, *PAIR.cells(c))


def comparisons(results: Pooled) -> Table:
    """Every comparison by studies."""
    rows = [
        (*pair_cells(*entry), *COMPARISON.cells(entry[2]), *PREDICTION.cells(entry[2].prediction)) for entry in each_comparison(results)
    ]
    return PAIR_COLUMNS | COMPARISON.columns | PREDICTION.columns, rows


def contributions(results: Pooled) -> Table:
    """What each submission says in each comparison."""
    rows = [(*pair_cells(*entry), *LINE.cells(line)) for entry in each_comparison(results) for line in entry[2].lines]
    return PAIR_COLUMNS | LINE.columns, rows


def influence(results: Pooled) -> Table:
    """What every study does to its pooled ratio."""
    columns = PAIR_COLUMNS | INFLUENCE.columns | {"moves_most": "boolean: Without it the pooled ratio moves furthest."}
    rows = [
        (*pair_cells(pool, endpoint, c), *INFLUENCE.cells(study), study.study == c.checks.most)
        for pool, endpoint, c in each_comparison(results)
        if c.checks is not None
        for study in c.checks.studies
    ]
    return columns, rows


def cumulative(results: Pooled) -> Table:
    """Every pooled comparison as it stood at the end of each month that brought a submission."""
    rows = [(*pair_cells(*entry), *MONTH.cells(month)) for entry in each_comparison(results) for month in entry[2].cumulative]
    return PAIR_COLUMNS | MONTH.columns, rows


def study_checks(results: Pooled) -> Table:
    """Small studies against large ones, and clusters of people, of every pooled comparison."""
    rows = [
        (*pair_cells(pool, endpoint, c), *SMALL.cells(c.checks.small_studies), *PEOPLE.cells(c.checks.by_people))
        for pool, endpoint, c in each_comparison(results)
        if c.checks is not None
    ]
    return PAIR_COLUMNS | SMALL.columns | PEOPLE.columns, rows
