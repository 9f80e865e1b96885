"""What the months of a pool tell for its log."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from edgehold.pooling.gather.months import PoolCourse, Standing
from edgehold.pooling.gather.presences import Presence, change_months
from edgehold.records.canonical import LoadedSubmission, Repository
from edgehold.results.model.moves import Happening, StandingResult
from edgehold.results.model.ratio import ratio_interval

from .fields import STATES, one_of
from .moves import Followed, FollowedPool, Kind, happening


def followed_pool(repository: Repository, found: PoolCourse) -> FollowedPool:
    """What is published of one pool's months."""
    rules = {rule.id: rule for rule in found.protocol.endpoints}
    return FollowedPool(
        found.pool,
        found.protocol.title,
        tuple(_happened(repository, found.presences)),
        tuple(
            Followed(
                rules[one.endpoint],
                one.factor,
                one.first,
                one.second,
                {standing.month: (_standing(standing), standing.estimate) for standing in one.standings},
            )
            for one in found.courses
        ),
    )


def _happened(repository: Repository, presences: tuple[Presence, ...]) -> Iterator[tuple[str, Happening]]:
    """(month, what happened) in no order."""
    for presence in _begun(presences):
        yield presence.since, happening("tested", submission=presence.submission)
    own = {presence.submission for presence in presences}
    for submission in (*repository.submissions, *repository.retracted):
        if submission.record.id in own:
            yield from _changes(repository, submission)


def _begun(presences: Iterable[Presence]) -> Iterator[Presence]:
    """States of submissions that did not count the moment before; one that only takes the place of another of the same file is none."""
    ended: dict[str, str | None] = {}
    for presence in presences:
        if ended.get(presence.submission) != presence.since:
            yield presence
        ended[presence.submission] = presence.until


def _changes(repository: Repository, submission: LoadedSubmission) -> Iterator[tuple[str, Happening]]:
    for month, change in zip(change_months(submission), submission.changes, strict=True):
        kind: Kind = "corrected" if change.record.kind == "correction" else "retracted"
        yield month, happening(kind, submission=submission.record.id, says=repository.names.text(change.record.why))


def _standing(standing: Standing) -> StandingResult:
    return StandingResult(
        state=one_of(standing.state, STATES),
        submissions=standing.submissions,
        studies=standing.studies,
        one_sided=standing.one_sided,
        result=None if standing.estimate is None or standing.interval is None else ratio_interval(standing.estimate, standing.interval),
        verdict=standing.verdict,
    )
