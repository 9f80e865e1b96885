"""The tables of what was asked of the studies of pooled comparisons: each study's influence, and the comparison as a whole."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Comparison, EndpointResult, Pool, Results
from edgehold.results.model.studies import ByPeople, SmallStudies

from .cells import POOL_COLUMNS, Cell, Table

PAIR_COLUMNS = POOL_COLUMNS | {
    "endpoint": "string: endpoint id",
    "factor": "string: steel or practice",
    "first": "string: numerator of the ratio",
    "second": "string: denominator of the ratio",
}


def each_comparison(results: Results) -> Iterator[tuple[Pool, EndpointResult, Comparison]]:
    """Every comparison with its pool and endpoint."""
    for pool in results.pools:
        for endpoint in pool.endpoints:
            for comparison in endpoint.pairwise:
                yield pool, endpoint, comparison


def pair_cells(pool: Pool, endpoint: EndpointResult, c: Comparison) -> tuple[Cell, ...]:
    """The cells under ``PAIR_COLUMNS``."""
    return (pool.origin, pool.protocol, pool.major, endpoint.id, c.factor, c.first, c.second)


def _three(result: RatioInterval | None) -> tuple[Cell, ...]:
    return (None,) * 3 if result is None else (result.ratio, result.low, result.high)


def influence(results: Results) -> Table:
    """What every study does to its pooled ratio."""
    columns = PAIR_COLUMNS | {
        "study": "integer: number of the study, as in contributions",
        "moves_most": "boolean: without it the pooled ratio moves furthest",
        "hat_percent": "number: leverage, its share of the weights",
        "ratio_without": "number: pooled ratio of the other studies",
        "low_without": "number: lower end; empty where fewer than three studies are left",
        "high_without": "number: upper end; empty where fewer than three studies are left",
        "studentised_residual": "number: externally studentised residual",
        "cooks_distance": "number: Cook's distance",
        "covariance_ratio": "number: variance without it divided by that with it",
        "tau_without": "number: between-study standard deviation of the others, ln scale",
        "reason": "string: why it cannot be told",
    }
    rows = [
        (
            *pair_cells(pool, endpoint, c), s.study, s.study == c.checks.most, s.hat_percent, s.ratio_without, *_three(s.without)[1:],
            s.studentised_residual, s.cooks_distance, s.covariance_ratio, s.tau_without, s.reason,
        )
        for pool, endpoint, c in each_comparison(results)
        if c.checks is not None
        for s in c.checks.studies
    ]  # fmt: skip
    return columns, rows


def study_checks(results: Results) -> Table:
    """Small studies against large ones, and clusters of people, of every pooled comparison."""
    columns = PAIR_COLUMNS | {
        "small_studies": "string: asked, or not asked",
        "slope": "number: change of the ln ratio per unit of standard error",
        "slope_standard_error": "number: its standard error",
        "slope_df": "number: its degrees of freedom",
        "slope_p": "number: its p value",
        "limit_ratio": "number: ratio as the standard error goes to 0",
        "limit_low": "number: lower end",
        "limit_high": "number: upper end",
        "missing": "integer: studies that symmetry lacks (trim and fill)",
        "side": "string: where they would lie, lower or higher",
        "filled_ratio": "number: pooled ratio with them added",
        "filled_low": "number: lower end",
        "filled_high": "number: upper end",
        "small_studies_reason": "string: why it was not asked",
        "clusters": "integer: clusters of studies that share a tester, a sharpener or a blade",
        "by_people_ratio": "number: pooled ratio, cluster-robust (CR2)",
        "by_people_low": "number: lower end",
        "by_people_high": "number: upper end",
        "by_people_standard_error": "number: standard error of the ln ratio",
        "by_people_df": "number: Satterthwaite degrees of freedom",
        "by_people_reason": "string: why there is none",
    }
    rows = [
        (*pair_cells(pool, endpoint, c), *_small(c.checks.small_studies), *_people(c.checks.by_people))
        for pool, endpoint, c in each_comparison(results)
        if c.checks is not None
    ]
    return columns, rows


def _small(s: SmallStudies) -> tuple[Cell, ...]:
    return (s.state, s.slope, s.standard_error, s.df, s.p, *_three(s.limit), s.missing, s.side, *_three(s.filled), s.reason)


def _people(p: ByPeople) -> tuple[Cell, ...]:
    return (p.clusters, *_three(p.result), p.standard_error, p.df, p.reason)
