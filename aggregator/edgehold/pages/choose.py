"""Which pool is shown where: measured results first; the demonstration in front only while nothing is measured."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.results.model.answers import Answer
from edgehold.results.model.results import Comparison, EndpointResult, Pool, Results, SteelResult
from edgehold.words import Reason

from .formatting import endpoints_in_order


def measured(results: Results) -> list[Pool]:
    """Pools of measured results, the largest first."""
    return _largest_first(p for p in results.pools if p.origin == "measured")


def simulated(results: Results) -> list[Pool]:
    """Pools of the demonstration, the largest first."""
    return _largest_first(p for p in results.pools if p.origin == "simulated")


def shown_first(results: Results) -> list[Pool]:
    """What stands in front: measured pools, or the demonstration where there are none."""
    return measured(results) or simulated(results)


def measured_or_simulated(pools: Iterable[Pool]) -> list[Pool]:
    """Of some pools those that are measured, or all where none is."""
    given = list(pools)
    return [p for p in given if p.origin == "measured"] or given


def measured_submissions(results: Results) -> int:
    """How many submissions are measured."""
    return sum(s.origin == "measured" for s in results.submissions)


def called(steel: SteelResult) -> tuple[str, ...]:
    """What people call a steel: its id and designations, and the ids of steels of other standards that are near to it."""
    return (steel.id, *(name for name in steel.names if steel.id not in name), *(one.id for one in steel.near))


def _largest_first(pools: Iterable[Pool]) -> list[Pool]:
    return sorted(pools, key=lambda p: (-p.counts.submissions, p.protocol, -p.major))


def pool_about(pools: list[Pool], factor: str) -> Pool | None:
    """The largest pool that asks about ``factor``."""
    return next((p for p in pools if p.factor == factor), None)


def with_practice(pools: list[Pool]) -> Pool | None:
    """The pool that says most about practised and novice sharpeners; one that asks about sharpening comes first."""
    having = [p for p in pools if any(e.practice is not None for e in p.endpoints)]
    return min(having, key=lambda p: (p.factor != "sharpener", pools.index(p)), default=None)


def lead_endpoint(pool: Pool) -> str:
    """The endpoint by which a pool is named wherever one of its results is: that of its headline, the primary one."""
    return pool.quoted.endpoint if pool.quoted is not None else next((e.id for e in pool.endpoints if e.primary), "")


def leading(pool: Pool, found: list[tuple[EndpointResult, Answer]]) -> tuple[EndpointResult, Answer]:
    """Of the answers on one comparison the one that is said first; of several, at least one."""
    lead = lead_endpoint(pool)
    return next(((e, c) for e, c in found if e.id == lead), found[0])


def practice(pool: Pool) -> list[tuple[EndpointResult, Answer]]:
    """Practised against novice, endpoint by endpoint."""
    return [(e, e.practice) for e in endpoints_in_order(pool) if e.practice is not None]


def pairs(pool: Pool, factor: str) -> list[tuple[str, str]]:
    """Every pair of steels met at some endpoint, by name, or of levels, in the order in which the protocol declares them."""
    met = dict.fromkeys((c.first, c.second) for e in pool.endpoints for c in _answers(e, factor))
    return list(met) if factor == "level" else sorted(met)


def by_studies(pool: Pool, factor: str, first: str, second: str) -> list[tuple[EndpointResult, Comparison]]:
    """One comparison by studies, early, late and overall, where some submission holds both."""
    return [(e, c) for e in endpoints_in_order(pool) for c in e.pairwise if (c.factor, c.first, c.second) == (factor, first, second)]


def of_pair(pool: Pool, factor: str, first: str, second: str) -> list[tuple[EndpointResult, Answer]]:
    """The answers on one pair, early, late and overall."""
    return [(e, c) for e in endpoints_in_order(pool) for c in _answers(e, factor) if (c.first, c.second) == (first, second)]


def _answers(endpoint: EndpointResult, factor: str) -> tuple[Answer, ...]:
    return endpoint.levels if factor == "level" else endpoint.steels


def headline_pair(pool: Pool) -> list[tuple[EndpointResult, Answer]]:
    """Early, late and overall of the comparison that the pool's headline quotes; empty when it quotes none."""
    if pool.quoted is None:
        return []
    if pool.quoted.factor == "practice":
        return practice(pool)
    return of_pair(pool, pool.quoted.factor, pool.quoted.first, pool.quoted.second)


def quoted_sentence(pool: Pool) -> str:
    """The answer that the headline quotes, without how few submissions it rests on."""
    if pool.quoted is None:
        return Reason("studies_answer.nothing")
    return next(c.sentence for e, c in headline_pair(pool) if e.id == pool.quoted.endpoint)
