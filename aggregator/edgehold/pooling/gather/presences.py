"""Which submissions counted in which months, and what each said then."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import accumulate

from edgehold.endpoints import endpoint_rows
from edgehold.endpoints.rows import EndpointRow
from edgehold.endpoints.runs import reading_variances
from edgehold.estimates import estimate_submissions, repeatability_table
from edgehold.estimates.repeatability import RepeatabilityTable
from edgehold.estimates.results import SubmissionEstimate
from edgehold.records.canonical import LoadedSubmission, PoolKey, Repository, pool_key


@dataclass(frozen=True, eq=False)
class Presence:
    """One state of one submission, and the months in which it counts.

    Attributes
    ----------
    pool, version, submission, path : whose state it is, and the protocol version that it names.
    since : first month in which it counts: the month of the test, or that of the change which brought the state, if later.
    until : first month in which it does not count any more; None where it still does.
    estimates : what it says, by endpoint.
    rows : its runs, one row an endpoint and run.
    """

    pool: PoolKey
    version: str
    submission: str
    path: str
    since: str
    until: str | None
    estimates: Mapping[str, SubmissionEstimate]
    rows: tuple[EndpointRow, ...]

    def counts_in(self, month: str) -> bool:
        """Whether it counts at the end of a month such as 2026-05."""
        return self.since <= month and (self.until is None or month < self.until)


def change_months(submission: LoadedSubmission) -> tuple[str, ...]:
    """From which month each change counts: its own, or a later one of a change before it, for they apply in order."""
    return tuple(accumulate((change.record.month for change in submission.changes), max))


def presences(
    repository: Repository, rows: Iterable[EndpointRow], estimates: Iterable[SubmissionEstimate], table: RepeatabilityTable
) -> tuple[Presence, ...]:
    """Every state of every submission, retracted ones among them: sorted by path, the states of one submission in their order.

    Reading errors and run-to-run spreads are those of today in every month, so that nothing but submissions and their changes moves an
    estimate. A pool in which nothing counts any more has none today; its table is then that of what counted last.

    Parameters
    ----------
    repository : with earlier states of changed submissions.
    rows, estimates : of what counts now.
    table : the common repeatability of what counts now.

    Returns
    -------
    States that ended before they began are left out.
    """
    everybody = (*repository.submissions, *repository.retracted)
    told, runs = _by_submission(estimates), _rows_by_submission(rows)
    found = [_now(s, told.get(s.record.id, {}), runs.get(s.record.id, ())) for s in repository.submissions]
    once = {(s.record.id, pool_key(state)): state for s in everybody for state in s.earlier if state is not None}
    if once:
        variances = reading_variances(_holding(repository, once.values())) | reading_variances(repository)
        table = _completed(table, endpoint_rows(_holding(repository, once.values()), variances), repository)
        for number in range(max(len(s.earlier) for s in everybody)):
            changed = [(s, state) for s in everybody if len(s.earlier) > number and (state := s.earlier[number]) is not None]
            found += _before(repository, number, changed, table, variances)
    counted = [p for p in found if p.until is None or p.since <= p.until]
    return tuple(sorted(counted, key=lambda p: (p.path, p.since)))


def _holding(repository: Repository, states: Iterable[LoadedSubmission]) -> Repository:
    return replace(repository, submissions=tuple(states))


def _before(
    repository: Repository,
    number: int,
    changed: list[tuple[LoadedSubmission, LoadedSubmission]],
    table: RepeatabilityTable,
    variances: Mapping[PoolKey, float],
) -> Iterator[Presence]:
    """The states before change ``number``, counted from 0, of submissions that had one then: each submission with that state."""
    rows = endpoint_rows(_holding(repository, [state for _, state in changed]), variances)
    told, runs = _by_submission(estimate_submissions(rows, table, repository.protocols)), _rows_by_submission(rows)
    for submission, state in changed:
        months = change_months(submission)
        since = max((state.record.month, *months[max(number - 1, 0) : number]))
        version, own = state.record.protocol.version, told.get(state.record.id, {})
        held = runs.get(state.record.id, ())
        yield Presence(pool_key(state), version, submission.record.id, submission.path, since, months[number], own, held)


def _completed(table: RepeatabilityTable, rows: Iterable[EndpointRow], repository: Repository) -> RepeatabilityTable:
    missing = [row for row in rows if (row.pool, row.endpoint) not in table.entries]
    if not missing:
        return table
    once = repeatability_table(missing, repository.protocols)
    return RepeatabilityTable(
        {**once.entries, **table.entries}, {**once.contributions, **table.contributions}, {**once.assumed, **table.assumed}, table.failed
    )


def _by_submission(estimates: Iterable[SubmissionEstimate]) -> dict[str, dict[str, SubmissionEstimate]]:
    told: dict[str, dict[str, SubmissionEstimate]] = defaultdict(dict)
    for estimate in estimates:
        told[estimate.submission][estimate.endpoint] = estimate
    return told


def _rows_by_submission(rows: Iterable[EndpointRow]) -> dict[str, tuple[EndpointRow, ...]]:
    held: dict[str, list[EndpointRow]] = defaultdict(list)
    for row in rows:
        held[row.submission].append(row)
    return {submission: tuple(own) for submission, own in held.items()}


def _now(submission: LoadedSubmission, told: Mapping[str, SubmissionEstimate], rows: tuple[EndpointRow, ...]) -> Presence:
    since = max((submission.record.month, *change_months(submission)[-1:]))
    return Presence(
        pool_key(submission), submission.record.protocol.version, submission.record.id, submission.path, since, None, told, rows
    )
