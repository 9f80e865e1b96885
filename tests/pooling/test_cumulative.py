"""Cumulative pooling of the demonstration: the last month is what is published, and no month looks ahead."""

import dataclasses
from pathlib import Path

import pytest

from edgehold.endpoints import endpoint_rows
from edgehold.estimates import estimate_submissions, repeatability_table
from edgehold.pooling.pairwise.comparisons import compare
from edgehold.pooling.pairwise.cumulative import courses
from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey, pool_key
from edgehold.records.interest import interested_submissions

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def pooled():
    """Repository of one protocol's demonstration, estimates, table, comparisons and worthwhile ratios."""
    repository = load_repository(ROOT, earlier=True)
    pool = PoolKey("two-sharpeners-rope", 1, "simulated")
    chosen = [s for s in repository.submissions if pool_key(s) == pool]
    repository = dataclasses.replace(repository, submissions=tuple(chosen))
    rows = endpoint_rows(repository)
    table = repeatability_table(rows, repository.protocols)
    estimates = estimate_submissions(rows, table, repository.protocols)
    worthwhile = {(row.pool, row.endpoint): 1.25 for row in rows}
    return repository, estimates, table, compare(estimates, rows, table, worthwhile, interested_submissions(repository)), worthwhile


def test_the_last_month_is_the_published_comparison_to_the_last_bit(pooled):
    (course,), comparisons = courses(*pooled), pooled[3]
    assert [c.endpoint for c in course.courses] == ["early", "late"]
    for each in course.courses:
        (published,) = [c for c in comparisons if (c.endpoint, c.factor) == (each.endpoint, "practice")]
        last = each.standings[-1]
        assert published.sharpener_variance is not None and published.studies >= 3
        assert last.fit.coefficients == published.fit.coefficients and last.fit.intervals == published.fit.intervals
        assert (last.fit.tau2, last.studies, last.verdict) == (published.fit.tau2, published.studies, published.verdict)


def test_what_is_tested_later_changes_nothing_in_the_months_before(pooled):
    repository, estimates, *rest = pooled
    earlier = [s for s in repository.submissions if s.record.month <= "2026-02"]
    names = {s.record.id for s in earlier}
    cut = dataclasses.replace(repository, submissions=tuple(earlier))
    (whole,), (part,) = courses(*pooled), courses(cut, [e for e in estimates if e.submission in names], *rest)
    assert 0 < len(part.presences) < len(whole.presences)
    for long, short in zip(whole.courses, part.courses, strict=True):
        assert 5 < len(short.standings) < len(long.standings)
        for one, other in zip(long.standings, short.standings, strict=False):
            assert (one.month, one.state, one.studies, one.verdict) == (other.month, other.state, other.studies, other.verdict)
            assert one.fit is None or one.fit.coefficients == other.fit.coefficients
