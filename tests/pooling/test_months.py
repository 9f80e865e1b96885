"""The answer of the demonstration month by month: the last is the headline of what counts now, and no month looks ahead."""

import dataclasses
from pathlib import Path

import pytest

from edgehold.endpoints import endpoint_rows
from edgehold.endpoints.rows import MISSING
from edgehold.engine.digest import Digests
from edgehold.estimates import estimate_submissions, repeatability_table
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.gather import months
from edgehold.pooling.gather.months import SAMPLED, courses
from edgehold.pooling.gather.of_protocols import asked_of, by_endpoint
from edgehold.pooling.headline import headline_of
from edgehold.pooling.pairwise.comparisons import compare
from edgehold.pooling.run_labels import all_labels
from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey, pool_key
from edgehold.records.interest import interested_submissions
from edgehold.records.linkage import Linkage

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def pooled():
    """Repository of one protocol's demonstration, rows, estimates, table, comparisons, what its protocol asks, and all as linked."""
    repository = load_repository(ROOT, earlier=True)
    pool = PoolKey("two-sharpeners-rope", 1, "simulated")
    chosen = [s for s in repository.submissions if pool_key(s) == pool]
    repository = dataclasses.replace(repository, submissions=tuple(chosen))
    rows = endpoint_rows(repository)
    table = repeatability_table(rows, repository.protocols)
    estimates = estimate_submissions(rows, table, repository.protocols)
    worthwhile = {(row.pool, row.endpoint): 1.25 for row in rows}
    comparisons = compare(estimates, rows, table, worthwhile, interested_submissions(repository))
    origins = Linkage({s.record.id: s.record.submitted_by for s in chosen}, frozenset(s.record.id for s in chosen))
    return repository, rows, estimates, table, comparisons, by_endpoint(repository, asked_of), origins


def test_the_last_month_is_the_headline_of_what_counts_now(pooled):
    """The log takes the posterior of the spreads as normal here; the headline samples it: limits within 4 % of the half-width."""
    (course,), rows, asked = courses(*pooled), pooled[1], pooled[-2]
    assert [c.endpoint for c in course.courses] == ["early", "late"]
    for each in course.courses:
        own = [row for row in rows if row.endpoint == each.endpoint and row.status != MISSING and not row.split_tester]
        assert len(own) > SAMPLED
        runs = checked_runs([row.low for row in own], [row.high for row in own], all_labels(own))
        found = asked[(course.pool, each.endpoint)]
        published, last = headline_of(runs, found.rule.worthwhile_ratio, found.priors).practice, each.standings[-1]
        half = (published.interval.high - published.interval.low) / 2
        assert (last.estimate, last.interval.low, last.interval.high) == pytest.approx(
            (published.estimate, published.interval.low, published.interval.high), abs=0.04 * half
        )
        assert last.verdict == published.verdict.kind and last.studies >= 3


def test_what_is_tested_later_changes_nothing_in_the_months_before(pooled):
    repository, rows, estimates, *rest = pooled
    earlier = [s for s in repository.submissions if s.record.month <= "2026-02"]
    names = {s.record.id for s in earlier}
    cut = dataclasses.replace(repository, submissions=tuple(earlier))
    (whole,), (part,) = (
        courses(*pooled),
        courses(cut, [r for r in rows if r.submission in names], [e for e in estimates if e.submission in names], *rest),
    )
    assert 0 < len(part.presences) < len(whole.presences)
    for long, short in zip(whole.courses, part.courses, strict=True):
        assert 5 < len(short.standings) < len(long.standings)
        for one, other in zip(long.standings, short.standings, strict=False):
            assert (one.month, one.state, one.studies, one.verdict) == (other.month, other.state, other.studies, other.verdict)
            assert (one.estimate, one.interval) == (other.estimate, other.interval)


def test_a_month_keeps_within_the_bounds_of_what_is_linked(pooled):
    """With half of the senders linked the last line moves by a fifth of their half-width at most, and has their verdict."""
    *given, origins = pooled
    people = sorted(set(origins.senders.values()))[::2]
    linked = frozenset(name for name, who in origins.senders.items() if who in people)
    (found,) = courses(*given, dataclasses.replace(origins, linked=linked))
    rows = [row for row in given[1] if row.submission in linked]
    repository = dataclasses.replace(given[0], submissions=tuple(s for s in given[0].submissions if s.record.id in linked))
    (alone,) = courses(repository, rows, [e for e in given[2] if e.submission in linked], *given[3:], origins)
    for within, by_itself in zip(found.courses, alone.courses, strict=True):
        last, own = within.standings[-1], by_itself.standings[-1]
        half = (own.interval.high - own.interval.low) / 2
        assert abs(last.estimate - own.estimate) <= 0.2 * half * (1 + 1e-6) and last.verdict == own.verdict


class Untouched:
    """What must not be looked at."""

    def _touched(self, *_: object) -> object:
        raise AssertionError("a month was fitted from what does not decide what is kept of it")

    __eq__ = __lt__ = __hash__ = __bool__ = __str__ = __repr__ = __float__ = __int__ = __len__ = __iter__ = __format__ = _touched


def test_a_month_is_fitted_from_nothing_but_what_decides_what_is_kept_of_it(pooled, monkeypatch):
    """With all else of its runs gone the same is found: a standard error of reading changes with any file of the pool."""
    (course,) = courses(*_before(pooled, "2025-09"))
    assert sum(len(one.standings) for one in course.courses) > 6
    monkeypatch.setattr(months, "BARE", dict.fromkeys(months.BARE, Untouched()))
    assert courses(*_before(pooled, "2025-09"))[0].courses == course.courses


def test_a_later_file_and_another_spread_of_readings_leave_the_months_before_as_they_are(pooled, monkeypatch):
    """The months that are handed out to be fitted have the hashes under which a build kept them."""
    digests, handed_out = Digests(), []

    def each(function, jobs, sizes):
        handed_out.append([digests.of((function, job)) for job in jobs])
        return [months._Stood(months.NOT_ESTIMABLE) for _ in jobs]

    monkeypatch.setattr(months, "each", each)
    courses(*_before(pooled, "2025-12"))
    repository, rows, *rest = _before(pooled, "2026-01")
    courses(repository, [dataclasses.replace(row, reading_se=2 * row.reading_se, raw=0.0, flags=("looked at",)) for row in rows], *rest)
    before, then = map(set, handed_out)
    assert len(before) > 8 and before < then and len(then - before) == 2


def _before(pooled, month):
    """What counts at the end of a month alone."""
    repository, rows, estimates, *rest = pooled
    kept = tuple(s for s in repository.submissions if s.record.month <= month)
    names = {s.record.id for s in kept}
    cut = dataclasses.replace(repository, submissions=kept)
    return cut, [r for r in rows if r.submission in names], [e for e in estimates if e.submission in names], *rest
