"""The dated log of how pooled estimates moved, and what happened in those months."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Literal

from edgehold.pooling.gather.months import Course, PoolCourse, Standing
from edgehold.pooling.gather.presences import Presence, change_months
from edgehold.records.canonical import LoadedSubmission, ObjectionThread, PoolKey, Repository
from edgehold.records.model.protocol import EndpointRule, major
from edgehold.records.model.review import Outcome
from edgehold.records.threads import OPEN
from edgehold.results.model.moves import CourseResult, Happening, MonthResult, Move, PoolLog, StandingResult
from edgehold.results.model.numbers import ratio
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.words.moves import move_sentence

from .fields import ANSWERED, ORIGINS, STATES, one_of

Kind = Literal["tested", "corrected", "retracted", "version", "objection"]
ORDER: tuple[Kind, ...] = ("tested", "corrected", "retracted", "version", "objection")
COUNTED: tuple[Kind, ...] = ("tested", "corrected", "retracted")


def pool_logs(repository: Repository, courses: Iterable[PoolCourse]) -> tuple[PoolLog, ...]:
    """The log of every pool in which something ever counted."""
    return tuple(_log(repository, course) for course in courses)


def _log(repository: Repository, found: PoolCourse) -> PoolLog:
    happened: dict[str, list[Happening]] = defaultdict(list)
    for month, happening in _happenings(repository, found):
        happened[month].append(happening)
    months = tuple(MonthResult(month=month, happened=tuple(sorted(happened[month], key=_place))) for month in sorted(happened))
    rules = {rule.id: rule for rule in found.protocol.endpoints}
    return PoolLog(
        protocol=found.pool.protocol,
        major=found.pool.major,
        origin=one_of(found.pool.origin, ORIGINS),
        title=found.protocol.title,
        months=months,
        courses=tuple(_course(course, rules[course.endpoint], months) for course in found.courses),
    )


def _place(happening: Happening) -> tuple[int, str, str, str, int]:
    return (ORDER.index(happening.kind), happening.submission, happening.version, happening.protocol, happening.number or 0)


def _happenings(repository: Repository, found: PoolCourse) -> Iterator[tuple[str, Happening]]:
    """(month, what happened) in no order."""
    for presence in _begun(found.presences):
        yield presence.since, _happening("tested", submission=presence.submission)
    own = {presence.submission for presence in found.presences}
    for submission in (*repository.submissions, *repository.retracted):
        if submission.record.id in own:
            yield from _changes(repository, submission)
    yield from _life(repository, found.pool)
    for thread in repository.objections:
        if _touches(thread, found.pool):
            yield from _decisions(thread)


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
        yield month, _happening(kind, submission=submission.record.id, says=repository.names.text(change.record.why))


def _life(repository: Repository, pool: PoolKey) -> Iterator[tuple[str, Happening]]:
    for event in repository.events.get(pool.protocol, ()):
        if major(event.version) == pool.major:
            yield event.month, _happening("version", version=event.version, says=event.kind)


def _touches(thread: ObjectionThread, pool: PoolKey) -> bool:
    """Whether an objection is against the analysis, or against this pool's protocol in this MAJOR or one before it."""
    against = thread.objection.against
    if against.protocol is None:
        return True
    return against.protocol == pool.protocol and (against.version is None or major(against.version) <= pool.major)


def _decisions(thread: ObjectionThread) -> Iterator[tuple[str, Happening]]:
    """Every outcome of a thread; the title of one that was struck is not repeated."""
    outcomes = [entry for entry, _ in thread.entries if isinstance(entry, Outcome)]
    struck = bool(outcomes) and outcomes[-1].outcome == "struck"
    for outcome in outcomes:
        decided = "open again" if outcome.outcome == OPEN else outcome.outcome
        yield (
            outcome.month,
            _happening(
                "objection",
                protocol=thread.objection.against.protocol or "",
                number=thread.number,
                says=decided if struck else f"{decided}: {thread.objection.title}",
                simulated=thread.objection.simulated,
            ),
        )


def _happening(
    kind: Kind,
    *,
    submission: str = "",
    version: str = "",
    protocol: str = "",
    number: int | None = None,
    says: str = "",
    simulated: bool = False,
) -> Happening:
    return Happening(kind=kind, submission=submission, version=version, protocol=protocol, number=number, says=says, simulated=simulated)


NOTHING = StandingResult(state="not estimable", submissions=0, studies=0, one_sided=0, result=None, verdict="")


def _course(course: Course, rule: EndpointRule, months: tuple[MonthResult, ...]) -> CourseResult:
    stood = {standing.month: standing for standing in course.standings}
    moves: list[Move] = []
    before, ln_before = NOTHING, None
    for month in months:
        standing = stood.get(month.month)
        after, ln_after = (before, ln_before) if standing is None else (_standing(standing), standing.estimate)
        moves.append(
            Move(
                month=month.month,
                before=before,
                after=after,
                moved_by=None if ln_before is None or ln_after is None else ratio(ln_after - ln_before),
                sentence=move_sentence(before, after, _counted(month)),
            )
        )
        before, ln_before = after, ln_after
    return CourseResult(
        endpoint=course.endpoint,
        title=rule.title,
        role=rule.role,
        primary=rule.primary,
        worthwhile_ratio=rule.worthwhile_ratio,
        factor=one_of(course.factor, ANSWERED),
        first=course.first,
        second=course.second,
        moves=tuple(moves),
    )


def _standing(standing: Standing) -> StandingResult:
    return StandingResult(
        state=one_of(standing.state, STATES),
        submissions=standing.submissions,
        studies=standing.studies,
        one_sided=standing.one_sided,
        result=None if standing.estimate is None or standing.interval is None else ratio_interval(standing.estimate, standing.interval),
        verdict=standing.verdict,
    )


def _counted(month: MonthResult) -> dict[str, int]:
    """How many submissions were tested, corrected and retracted."""
    kinds = [h.kind for h in month.happened]
    return {kind: kinds.count(kind) for kind in COUNTED}
