"""Whose evidence stands behind every answer, and the answer within the bounds of what is not linked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from edgehold.endpoints.rows import EndpointRow
from edgehold.estimates.design import ARMS
from edgehold.pooling.answer import Answer, Compared, Estimated
from edgehold.pooling.bounded import LEAST_SENDERS, Weighed, bounded_answer, of_the_same, without_verdict
from edgehold.pooling.headline import Headline
from edgehold.records.canonical import PoolKey
from edgehold.records.linkage import Linkage


def mixed_pools(rows: Iterable[EndpointRow], origins: Linkage) -> tuple[set[PoolKey], set[PoolKey]]:
    """Pools of which some usable runs are linked with other people's and some are not, and those of them with linked senders enough."""
    met: dict[PoolKey, set[bool]] = defaultdict(set)
    senders: dict[PoolKey, set[str]] = defaultdict(set)
    for row in rows:
        if row.usable:
            met[row.pool].add(row.submission in origins.linked)
            if row.submission in origins.linked:
                senders[row.pool].add(origins.senders[row.submission])
    mixed = {pool for pool, kinds in met.items() if len(kinds) > 1}
    return mixed, {pool for pool in mixed if len(senders[pool]) >= LEAST_SENDERS}


def weigh(
    found: Headline, linked: Headline | None, rows: Sequence[EndpointRow], origins: Linkage, worthwhile: float
) -> tuple[Headline, dict[Compared, Weighed]]:
    """The answers on one endpoint within their bounds, and what stands behind each.

    Parameters
    ----------
    found : of all evidence.
    linked : of linked evidence alone; None where all evidence is linked, or none.
    rows : the runs behind ``found``.
    origins : where submissions come from.
    worthwhile : smallest ratio worth acting on.
    """
    alone = {} if linked is None else {one.compared: one for one in linked.answers}
    all_linked = all(row.submission in origins.linked for row in rows)
    answers, weighed = {}, {}
    for one in found.answers:
        files = _files(rows, one)
        own = files & origins.linked
        senders, linked_senders = ({origins.senders[name] for name in names} for names in (files, own))
        beside = one if all_linked else alone.get(one.compared)
        if all_linked:
            answer, power = one if len(senders) >= LEAST_SENDERS else without_verdict(one), None
        else:
            answer, power = bounded_answer(beside, one, len(linked_senders), worthwhile)
        answers[one.compared] = answer
        everything = one.posterior if isinstance(one, Estimated) else None
        by_itself = of_the_same(beside, one) if isinstance(beside, Estimated) else None
        weighed[one.compared] = Weighed(by_itself, everything, power, len(senders), len(linked_senders), len(files), len(own))
    return _with(found, answers), weighed


def _files(rows: Iterable[EndpointRow], answer: Answer) -> frozenset[str]:
    """Submissions that hold a run of either side."""
    side = ARMS[answer.factor][1]
    return frozenset(row.submission for row in rows if side(row) in (answer.first, answer.second))


def _with(found: Headline, answers: Mapping[Compared, Answer]) -> Headline:
    practice = None if found.practice is None else answers[found.practice.compared]
    pairs, levels = (tuple(answers[one.compared] for one in of) for of in (found.pairs, found.levels))
    return replace(found, pairs=pairs, practice=practice, levels=levels)
