"""The dated log of how pooled estimates moved, and what happened in those months."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from edgehold.records.canonical import ObjectionThread, PoolKey, Repository
from edgehold.records.model.protocol import EndpointRule, major
from edgehold.records.model.review import Outcome
from edgehold.records.threads import OPEN
from edgehold.results.model.moves import CourseResult, Happening, MonthResult, Move, PoolLog, StandingResult
from edgehold.results.model.numbers import ratio
from edgehold.results.words.moves import move_sentence

from .fields import ANSWERED, ORIGINS, one_of

Kind = Literal["tested", "corrected", "retracted", "version", "objection"]
ORDER: tuple[Kind, ...] = ("tested", "corrected", "retracted", "version", "objection")
COUNTED: tuple[Kind, ...] = ("tested", "corrected", "retracted")


@dataclass(frozen=True)
class Followed:
    """One comparison through the months.

    Attributes
    ----------
    rule : the endpoint.
    factor, first, second : what is compared.
    standings : where it stood, and its estimate on the ln scale, after every month that may have moved it.
    """

    rule: EndpointRule
    factor: str
    first: str
    second: str
    standings: Mapping[str, tuple[StandingResult, float | None]]


@dataclass(frozen=True)
class FollowedPool:
    """What the submissions of a pool tell for its log.

    Attributes
    ----------
    pool, title : which, and the title of its newest version.
    happened : months in which submissions began to count, were corrected and taken back, in no order.
    comparisons : the leading one, by endpoint.
    """

    pool: PoolKey
    title: str
    happened: tuple[tuple[str, Happening], ...]
    comparisons: tuple[Followed, ...]


def pool_logs(repository: Repository, followed: Iterable[FollowedPool]) -> tuple[PoolLog, ...]:
    """The log of every pool in which something ever counted."""
    return tuple(_log(repository, pool) for pool in followed)


def _log(repository: Repository, found: FollowedPool) -> PoolLog:
    happened: dict[str, list[Happening]] = defaultdict(list)
    for month, one in (*found.happened, *_around(repository, found.pool)):
        happened[month].append(one)
    months = tuple(MonthResult(month=month, happened=tuple(sorted(happened[month], key=_place))) for month in sorted(happened))
    return PoolLog(
        protocol=found.pool.protocol,
        major=found.pool.major,
        origin=one_of(found.pool.origin, ORIGINS),
        title=found.title,
        months=months,
        courses=tuple(_course(one, months) for one in found.comparisons),
    )


def _place(happening: Happening) -> tuple[int, str, str, str, int]:
    return (ORDER.index(happening.kind), happening.submission, happening.version, happening.protocol, happening.number or 0)


def _around(repository: Repository, pool: PoolKey) -> Iterator[tuple[str, Happening]]:
    """Months of events and of what was decided about objections, in no order."""
    yield from _life(repository, pool)
    for thread in repository.objections:
        if _touches(thread, pool):
            yield from _decisions(thread)


def _life(repository: Repository, pool: PoolKey) -> Iterator[tuple[str, Happening]]:
    for event in repository.events.get(pool.protocol, ()):
        if major(event.version) == pool.major:
            yield event.month, happening("version", version=event.version, says=event.kind)


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
            happening(
                "objection",
                protocol=thread.objection.against.protocol or "",
                number=thread.number,
                says=decided if struck else f"{decided}: {thread.objection.title}",
                simulated=thread.objection.simulated,
            ),
        )


def happening(
    kind: Kind,
    *,
    submission: str = "",
    version: str = "",
    protocol: str = "",
    number: int | None = None,
    says: str = "",
    simulated: bool = False,
) -> Happening:
    """Something that happened; what it is not about is empty."""
    return Happening(kind=kind, submission=submission, version=version, protocol=protocol, number=number, says=says, simulated=simulated)


NOTHING = StandingResult(state="not estimable", submissions=0, studies=0, one_sided=0, result=None, verdict="")


def _course(found: Followed, months: tuple[MonthResult, ...]) -> CourseResult:
    moves: list[Move] = []
    before, ln_before = NOTHING, None
    for month in months:
        after, ln_after = found.standings.get(month.month, (before, ln_before))
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
        endpoint=found.rule.id,
        title=found.rule.title,
        role=found.rule.role,
        primary=found.rule.primary,
        worthwhile_ratio=found.rule.worthwhile_ratio,
        factor=one_of(found.factor, ANSWERED),
        first=found.first,
        second=found.second,
        moves=tuple(moves),
    )


def _counted(month: MonthResult) -> dict[str, int]:
    """How many submissions were tested, corrected and retracted."""
    kinds = [h.kind for h in month.happened]
    return {kind: kinds.count(kind) for kind in COUNTED}
