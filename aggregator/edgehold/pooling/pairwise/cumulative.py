"""How a pooled estimate moved as submissions came, were corrected and were retracted: cumulative meta-analysis by month.

The fit is made anew at the end of every month that changed something, with all that counted then (Lau, Antman, Jimenez-Silva,
Kupelnick, Mosteller & Chalmers 1992, N. Engl. J. Med. 327:248–254). It is a record, not a test: with many looks an interval of 95 %
leaves the truth out at some of them more often than one time in twenty (Armitage, McPherson & Rowe 1969, J. R. Statist. Soc. A
132:235–244).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable, endpoint_rules
from edgehold.estimates.results import SubmissionEstimate, Verdict
from edgehold.records.canonical import PoolKey, Repository
from edgehold.records.model.protocol import Protocol, version_order

from .comparisons import PooledComparison, by_pair, leading
from .presences import Presence, presences
from .random_effects import RandomEffectsFit
from .studies import Pair, cluster_numbers, lines_of, pool_lines, state_of, verdict_on

Asked = tuple[str, str, str]
"""What is compared: factor, first, second."""


@dataclass(frozen=True)
class Standing:
    """Where one comparison stood at the end of a month.

    Attributes
    ----------
    month : such as 2026-05.
    state : as in ``PooledComparison``.
    submissions : with a two-sided contrast.
    studies : that these make.
    one_sided : submissions with a bound only.
    fit : the random-effects fit, without a prediction; None where nothing is pooled.
    verdict : against the worthwhile ratio, where pooled.
    reason : why numbers failed where the state is ``not fitted``; empty otherwise.
    """

    month: str
    state: str
    submissions: int
    studies: int
    one_sided: int
    fit: RandomEffectsFit | None
    verdict: Verdict | None
    reason: str = ""


@dataclass(frozen=True)
class Course:
    """One comparison on one endpoint through the months.

    Attributes
    ----------
    endpoint, factor, first, second : which.
    standings : after every month in which something that compares the two began or ceased to count, oldest first.
    compares : submissions that ever had a contrast of the two, estimable or not.
    """

    endpoint: str
    factor: str
    first: str
    second: str
    standings: tuple[Standing, ...]
    compares: frozenset[str]


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
    estimates: Iterable[SubmissionEstimate],
    table: RepeatabilityTable,
    comparisons: Iterable[PooledComparison],
    worthwhile: Mapping[tuple[PoolKey, str], float],
) -> tuple[PoolCourse, ...]:
    """The comparison that pages lead with, of every pool, through the months.

    How much runs differ that should be alike, and how much sharpeners of one class differ, are taken as they are known today. So the last
    standing is the published comparison, and nothing but submissions and their changes moves an estimate.

    Parameters
    ----------
    repository : with earlier states of changed submissions.
    estimates, table, comparisons : of what counts now.
    worthwhile : worthwhile ratio by pool and endpoint.

    Returns
    -------
    By pool; one in which nothing counts any more among them.
    """
    everything, table = presences(repository, estimates, table)
    now = {(c.pool, c.endpoint, (c.factor, c.first, c.second)): c for c in comparisons}
    grouped: dict[PoolKey, list[Presence]] = defaultdict(list)
    for presence in everything:
        grouped[presence.pool].append(presence)
    rules = endpoint_rules(repository.protocols)
    found = []
    for pool in sorted(grouped):
        protocol = _newest(repository, pool, grouped[pool])
        followed = [rule.id for rule in protocol.endpoints if rule.primary or rule.role in ("early", "late")]
        primary = next(rule.id for rule in protocol.endpoints if rule.primary)
        lead = _lead(protocol, [c for (p, e, _), c in now.items() if (p, e) == (pool, primary)], grouped[pool], primary)
        own = []
        if lead is not None:
            for endpoint in followed:
                published = now.get((pool, endpoint, lead))
                ratio = worthwhile.get((pool, endpoint), rules[(pool.protocol, pool.major, endpoint)].worthwhile_ratio)
                entry = table.entry((pool, endpoint))
                own.append(_course(endpoint, lead, grouped[pool], entry, published.sharpener_variance if published else None, ratio))
        found.append(PoolCourse(pool, protocol, tuple(grouped[pool]), tuple(own)))
    return tuple(found)


def _newest(repository: Repository, pool: PoolKey, own: list[Presence]) -> Protocol:
    """The newest version met in the pool: of what counts now, where anything does."""
    live = [p for p in own if p.until is None] or own
    return repository.protocols[(pool.protocol, max((p.version for p in live), key=version_order))].record


def _lead(protocol: Protocol, now: list[PooledComparison], own: list[Presence], primary: str) -> Asked | None:
    """The comparison that the headline quotes; where it quotes none, the one that most studies ever made."""
    published = leading(_of_question(protocol, now))
    if published is not None and published.state == "pooled":
        return (published.factor, published.first, published.second)
    last = {p.submission: p.estimates[primary] for p in own if primary in p.estimates}
    clusters = cluster_numbers(estimate for p in own for estimate in p.estimates.values())
    ever = [_Ever(*asked, studies=_studies(pairs, clusters)) for asked, pairs in by_pair(last.values()).items()]
    most = leading(_of_question(protocol, ever))
    return None if most is None else (most.factor, most.first, most.second)


def _studies(pairs: Iterable[Pair], clusters: Mapping[str, int]) -> int:
    """How many studies of a comparison have a two-sided contrast."""
    return len({clusters[estimate.submission] for estimate, contrast in pairs if contrast.estimate is not None})


@dataclass(frozen=True)
class _Ever:
    """A comparison with the studies that were ever made of it."""

    factor: str
    first: str
    second: str
    studies: int


OfQuestion = TypeVar("OfQuestion", PooledComparison, _Ever)


def _of_question(protocol: Protocol, comparisons: list[OfQuestion]) -> list[OfQuestion]:
    """Practised against novice where sharpeners are the question and some submission has both; pairs of steels otherwise."""
    practice = [c for c in comparisons if c.factor == "practice"]
    return practice if practice and protocol.question.factor == "sharpener" else [c for c in comparisons if c.factor == "steel"]


def _course(endpoint: str, asked: Asked, own: list[Presence], entry: Repeatability, extra: float | None, worthwhile: float) -> Course:
    held = [(presence, pair) for presence in own for pair in _pairs(presence, endpoint, asked)]
    months = {p.since for p, _ in held} | {p.until for p, _ in held if p.until is not None}
    standings = [
        _standing(month, [pair for p, pair in held if p.counts_in(month)], _clusters(own, month), entry, extra, worthwhile)
        for month in sorted(months)
    ]
    return Course(endpoint, *asked, tuple(standings), frozenset(p.submission for p, _ in held))


def _pairs(presence: Presence, endpoint: str, asked: Asked) -> list[Pair]:
    estimate = presence.estimates.get(endpoint)
    return [] if estimate is None else [(estimate, c) for c in estimate.contrasts if (c.factor, c.first, c.second) == asked]


def _clusters(own: list[Presence], month: str) -> dict[str, int]:
    """Studies of the pool as it stood at the end of a month."""
    return cluster_numbers(estimate for p in own if p.counts_in(month) for estimate in p.estimates.values())


def _standing(
    month: str, pairs: list[Pair], clusters: Mapping[str, int], entry: Repeatability, extra: float | None, worthwhile: float
) -> Standing:
    lines = lines_of(pairs, clusters, entry, extra)
    pooled = pool_lines(lines, lines.usable, whole=False)
    return Standing(
        month=month,
        state=state_of(len(lines.usable), len(pooled.numbers), pooled.reason),
        submissions=len(lines.usable),
        studies=len(pooled.numbers),
        one_sided=sum(contrast.bound is not None for _, contrast in pairs),
        fit=pooled.fit,
        verdict=verdict_on(pooled.fit, worthwhile),
        reason=pooled.reason,
    )
