"""Sealed plans that were published before their tests, and how many came back with a result.

Who publishes a seal promises to come back. A result that was not liked and stayed away is counted here, which says more about
selective reporting than any funnel.
"""

from __future__ import annotations

from collections import Counter

from edgehold.records.canonical import Repository
from edgehold.records.model.base import Origin
from edgehold.records.model.protocol import major
from edgehold.results.model.plans import PlanCount
from edgehold.words import Reason


def plan_counts(repository: Repository) -> tuple[PlanCount, ...]:
    """Sealed plans by protocol, MAJOR and origin."""
    named = {
        (s.record.plan.id, s.record.protocol.id, s.record.origin)
        for s in (*repository.submissions, *repository.retracted)
        if s.record.plan is not None
    }
    published: Counter[tuple[str, int, Origin]] = Counter()
    back: Counter[tuple[str, int, Origin]] = Counter()
    for seal in repository.seals:
        key = (seal.protocol.id, major(seal.protocol.version), seal.origin)
        published[key] += 1
        back[key] += (seal.id, seal.protocol.id, seal.origin) in named
    return tuple(
        PlanCount(protocol=p, major=m, origin=o, published=n, came_back=back[p, m, o], sentence=_sentence(n, back[p, m, o]))
        for (p, m, o), n in sorted(published.items())
    )


def _sentence(published: int, came_back: int) -> str:
    returned = Reason("published.seals_none_back") if came_back == 0 else Reason("published.seals_back", count=came_back)
    return Reason("published.seals", published=published, returned=returned)
