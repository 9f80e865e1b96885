"""How the answer that a pool's page leads with moved as submissions came, were corrected and were retracted, month by month.

The model of ``headline`` is fitted anew to the values of one endpoint at the end of every month that changed something, with all that
counted then: a cumulative meta-analysis (Lau, Antman, Jimenez-Silva, Kupelnick, Mosteller & Chalmers 1992, N. Engl. J. Med.
327:248–254) of runs. Its verdicts have the thresholds of the headline, which are set so that a series of monthly looks is seldom ever
wrong (``posterior_verdict``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from edgehold.endpoints.rows import EndpointRow
from edgehold.engine.tasks import each
from edgehold.estimates.repeatability import RepeatabilityTable
from edgehold.estimates.results import ContrastBounded, ContrastEstimated, SubmissionEstimate
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.interval import Interval
from edgehold.pooling.answer import Answer, Compared, Estimated
from edgehold.pooling.crossed.runs_design import LEVEL, PRACTICE, Runs, checked_runs
from edgehold.pooling.headline import OF_ANSWERS, Headline, Questions, questions, unanswered, why_none
from edgehold.pooling.hierarchical import numbers_of
from edgehold.pooling.pairwise.comparisons import ComparisonPooled, PooledComparison, by_pair, leading
from edgehold.pooling.pairwise.studies import Pair, cluster_numbers
from edgehold.pooling.run_labels import all_labels
from edgehold.pooling.spread_priors import STEEL
from edgehold.records.canonical import PoolKey, Repository
from edgehold.records.linkage import Linkage
from edgehold.records.model.protocol import EndpointRule, Protocol, version_order

from .all_answers import Asked
from .of_protocols import asked_of
from .presences import Presence, presences
from .weighing import weigh

Key = tuple[PoolKey, str, Compared]

ASKED = {"sharpener": PRACTICE, "level": LEVEL}  # what is followed, by the factor that a protocol asks for; else steels
POOLED, NOT_ESTIMABLE, NOT_FITTED = "pooled", "not estimable", "not fitted"
SAMPLED = 100  # values up to which the spreads are sampled; above, their posterior is taken as normal about its mode


@dataclass(frozen=True)
class Standing:
    """Where one comparison stood at the end of a month.

    Attributes
    ----------
    month : such as 2026-05.
    state : ``"pooled"``, ``"not estimable"`` or ``"not fitted"``.
    submissions : with a two-sided contrast of the two.
    studies : that these make.
    one_sided : submissions with a bound only.
    estimate, interval : of the posterior, ln scale; None where there is none.
    verdict : against the worthwhile ratio; empty where there is none, and where the answer is about single blades or sharpeners.
    reason : why there is no posterior; empty otherwise.
    """

    month: str
    state: str
    submissions: int
    studies: int
    one_sided: int
    estimate: float | None
    interval: Interval | None
    verdict: str
    reason: str = ""


@dataclass(frozen=True)
class Course:
    """One comparison on one endpoint through the months.

    Attributes
    ----------
    endpoint, factor, first, second : which.
    standings : after every month in which a run of the endpoint began or ceased to count, from the first that compares the two on.
    """

    endpoint: str
    factor: str
    first: str
    second: str
    standings: tuple[Standing, ...]


@dataclass(frozen=True)
class PoolCourse:
    """The leading comparison of one pool through the months.

    Attributes
    ----------
    protocol : the newest version that was ever met in the pool.
    presences : every state of every submission, by path.
    courses : on the early, late and primary endpoints, in the protocol's order; empty where no two things were ever compared.
    """

    pool: PoolKey
    protocol: Protocol
    presences: tuple[Presence, ...]
    courses: tuple[Course, ...]


def courses(
    repository: Repository,
    rows: Iterable[EndpointRow],
    estimates: Iterable[SubmissionEstimate],
    table: RepeatabilityTable,
    comparisons: Iterable[PooledComparison],
    asked: Mapping[tuple[PoolKey, str], Asked],
    origins: Linkage,
) -> tuple[PoolCourse, ...]:
    """The comparison that pages lead with, of every pool, through the months.

    Reading errors are taken as they are known today, so that nothing but submissions and their changes moves an answer.

    Parameters
    ----------
    repository : with earlier states of changed submissions.
    rows, estimates, table, comparisons : of what counts now.
    asked : what the protocols tell, by pool and endpoint.
    origins : whose results are linked, as it is known today; those that no longer count stand for themselves.

    Returns
    -------
    By pool; one in which nothing counts any more among them.
    """
    everything = presences(repository, rows, estimates, table)
    now = {(c.pool, c.endpoint, (c.factor, c.first, c.second)): c for c in comparisons}
    grouped: dict[PoolKey, list[Presence]] = defaultdict(list)
    for presence in everything:
        grouped[presence.pool].append(presence)
    followed = {pool: _followed(repository, pool, own, now) for pool, own in sorted(grouped.items())}
    followed_by = [
        (pool, rule, lead, month, held)
        for pool, (_, lead, rules) in followed.items()
        for rule in rules
        for month, held in _months(grouped[pool], rule.id, lead)
    ]
    jobs = [
        _Month(held, told.rule.worthwhile_ratio, told.priors, lead, _known(origins, held))
        for pool, rule, lead, _, held in followed_by
        for told in [asked.get((pool, rule.id)) or asked_of(rule)]
    ]
    found = each(_stood, [(job,) for job in jobs], [300 + 4 * len(job.rows) for job in jobs])
    standings: dict[tuple[PoolKey, str], list[Standing]] = defaultdict(list)
    for (pool, rule, lead, month, _), stood in zip(followed_by, found, strict=True):
        counts = _counts(grouped[pool], month, rule.id, lead)
        standings[pool, rule.id].append(Standing(month, stood.state, *counts, stood.estimate, stood.interval, stood.verdict, stood.reason))
    return tuple(
        PoolCourse(
            pool,
            protocol,
            tuple(grouped[pool]),
            tuple(Course(rule.id, *lead, tuple(standings[(pool, rule.id)])) for rule in rules),
        )
        for pool, (protocol, lead, rules) in followed.items()
    )


Followed = tuple[Protocol, Compared, tuple[EndpointRule, ...]]


def _followed(repository: Repository, pool: PoolKey, own: list[Presence], now: Mapping[Key, PooledComparison]) -> Followed:
    """The comparison that a pool's page leads with, and on which endpoints it is followed: none where no two things were ever compared."""
    protocol = _newest(repository, pool, own)
    primary = next(rule.id for rule in protocol.endpoints if rule.primary)
    lead = _lead(protocol, [c for (p, e, _), c in now.items() if (p, e) == (pool, primary)], own, primary)
    if lead is None:
        return protocol, ("", "", ""), ()
    return protocol, lead, tuple(rule for rule in protocol.endpoints if rule.primary or rule.role in ("early", "late"))


def _newest(repository: Repository, pool: PoolKey, own: list[Presence]) -> Protocol:
    """The newest version met in the pool: of what counts now, where anything does."""
    live = [p for p in own if p.until is None] or own
    return repository.protocols[(pool.protocol, max((p.version for p in live), key=version_order))].record


def _lead(protocol: Protocol, now: list[PooledComparison], own: list[Presence], primary: str) -> Compared | None:
    """The comparison that the headline quotes; where it quotes none, the one that most studies ever made."""
    published = leading(_of_question(protocol, now))
    if isinstance(published, ComparisonPooled):
        return (published.factor, published.first, published.second)
    last = {p.submission: p.estimates[primary] for p in own if primary in p.estimates}
    clusters = cluster_numbers(estimate for p in own for estimate in p.estimates.values())
    ever = [_Ever(*compared, studies=_studies(pairs, clusters)) for compared, pairs in by_pair(last.values()).items()]
    most = leading(_of_question(protocol, ever))
    return None if most is None else (most.factor, most.first, most.second)


def _studies(pairs: Iterable[Pair], clusters: Mapping[str, int]) -> int:
    """How many studies of a comparison have a two-sided contrast."""
    return len({clusters[estimate.submission] for estimate, contrast in pairs if isinstance(contrast, ContrastEstimated)})


@dataclass(frozen=True)
class _Ever:
    """A comparison with the studies that were ever made of it."""

    factor: str
    first: str
    second: str
    studies: int


OfQuestion = TypeVar("OfQuestion", PooledComparison, _Ever)


def _of_question(protocol: Protocol, comparisons: list[OfQuestion]) -> list[OfQuestion]:
    """What the question is about where some submission has both sides of it; pairs of steels otherwise."""
    factor = ASKED.get(protocol.question.factor, STEEL)
    asked = [c for c in comparisons if c.factor == factor]
    return asked or [c for c in comparisons if c.factor == STEEL]


# ---- one month ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Month:
    """What counted at the end of a month, of one endpoint of one pool, and nothing that does not decide where the comparison then stood.

    Attributes
    ----------
    rows : runs with a value, as `_bare` leaves them.
    worthwhile, priors : of the endpoint.
    lead : what is compared.
    origins : where the submissions come from.
    """

    rows: list[EndpointRow]
    worthwhile: float
    priors: Mapping[str, HalfT]
    lead: Compared
    origins: Linkage


@dataclass(frozen=True)
class _Stood:
    """Where the comparison stood, as in `Standing`."""

    state: str
    estimate: float | None = None
    interval: Interval | None = None
    verdict: str = ""
    reason: str = ""


BARE: Mapping[str, Any] = {
    "month": "", "role": "", "run": "", "order": 0, "status": "", "reason": "", "reading_se": 0.0, "raw": 0.0, "failed_preparation": False,
    "damaged": False, "flags": (), "angle_deg": None, "hand": None, "coil_position_m": None, "humidity_percent": None, "blinded": None,
    "seal_held": None, "guessed_sharpener": None, "guessed_blade": None, "interest": None, "finish_um": None, "hrc": None,
    "instrument": None, "start": None, "start_se": 0.0, "relative_life": None,
}  # fmt: skip
"""What of a run no model of values takes. Some of it, such as the standard error of a reading, changes with any file of the pool."""


def _bare(row: EndpointRow) -> EndpointRow:
    return replace(row, **BARE)


def _known(origins: Linkage, held: Iterable[EndpointRow]) -> Linkage:
    """Where the submissions of some runs come from; of what was retracted, the submission itself."""
    names = sorted({row.submission for row in held})
    return Linkage({name: origins.senders.get(name, name) for name in names}, origins.linked & frozenset(names))


def _months(own: list[Presence], endpoint: str, lead: Compared) -> list[tuple[str, list[EndpointRow]]]:
    """Every month from the first comparison on in which a run began or ceased to count, with the runs that counted at its end."""
    held = {presence: _with_values(presence, endpoint) for presence in own}
    changes = {m for presence, rows in held.items() if rows for m in (presence.since, presence.until) if m is not None}
    first = min((presence.since for presence in own if _pairs(presence, endpoint, lead)), default=None)
    return [
        (month, [row for presence, rows in held.items() if presence.counts_in(month) for row in rows])
        for month in sorted(changes)
        if first is not None and month >= first
    ]


def _with_values(presence: Presence, endpoint: str) -> list[EndpointRow]:
    return [_bare(row) for row in presence.rows if row.endpoint == endpoint and row.usable]


def _pairs(presence: Presence, endpoint: str, lead: Compared) -> list[Pair]:
    estimate = presence.estimates.get(endpoint)
    return [] if estimate is None else [(estimate, c) for c in estimate.contrasts if (c.factor, c.first, c.second) == lead]


def _counts(own: list[Presence], month: str, endpoint: str, lead: Compared) -> tuple[int, int, int]:
    """Submissions with a two-sided contrast of the two, the studies that these make, and submissions with a bound only."""
    live = [presence for presence in own if presence.counts_in(month)]
    pairs = [pair for presence in live for pair in _pairs(presence, endpoint, lead)]
    clusters = cluster_numbers(estimate for presence in live for estimate in presence.estimates.values())
    two_sided = sum(isinstance(contrast, ContrastEstimated) for _, contrast in pairs)
    return two_sided, _studies(pairs, clusters), sum(isinstance(contrast, ContrastBounded) for _, contrast in pairs)


def _stood(month: _Month) -> _Stood:
    found = _found(month.rows, month)
    if found is None:
        return _Stood(NOT_ESTIMABLE)
    linked = [row for row in month.rows if row.submission in month.origins.linked]
    alone = _found(linked, month) if len(linked) < len(month.rows) else None
    within, _ = weigh(found, alone, month.rows, month.origins, month.worthwhile)
    answer = _answer(within, month.lead)
    if not isinstance(answer, Estimated):
        reason = why_none(found) or (answer.reason if answer else "")
        return _Stood(NOT_FITTED if isinstance(reason, NotFitted) else NOT_ESTIMABLE, reason=reason)
    return _Stood(POOLED, answer.estimate, answer.interval, answer.verdict.kind if answer.verdict else "")


def _found(rows: list[EndpointRow], month: _Month) -> Headline | None:
    """The answer of some runs on what is followed; None where there are none."""
    if not rows:
        return None
    runs = checked_runs([row.low for row in rows], [row.high for row in rows], all_labels(rows))
    return attempt(lambda: _answered(runs, month), lambda why: unanswered(why, runs), lambda one: numbers_of(one.fit))


def _answered(runs: Runs, month: _Month) -> Headline:
    question = questions(runs, month.worthwhile, month.priors, judged=OF_ANSWERS)
    if not isinstance(question, Questions):
        return question
    return question.answered(question.fitted(normal=len(runs.low) > SAMPLED), {}, only=month.lead)


def _answer(found: Headline, lead: Compared) -> Answer | None:
    """The answer on what is followed; None before both of the two were met."""
    return next((one for one in found.answers if one.compared == lead), None)
