"""The interlaboratory view of what travelled: one blade, several testers, replicate runs (ISO 5725-2).

A run here includes its resharpening, so that repeatability is that of "sharpen, cut, read" as practised.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from edgehold.endpoints.rows import EndpointRow
from edgehold.engine.tasks import AWAITED, each
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.pooling.interlaboratory import ItemResult, interlaboratory
from edgehold.records.canonical import PoolKey


@dataclass(frozen=True)
class CirculatedBlade:
    """Repeatability and reproducibility on one blade.

    Attributes
    ----------
    pool, endpoint, blade : what was read.
    raw : True where the figures are in the reading's own unit, False on the ln scale.
    result : the interlaboratory statistics, or why their numbers failed.
    runs : runs used.
    left_out : runs of this blade without an exact value.
    testers : how many people tested it.
    """

    pool: PoolKey
    endpoint: str
    blade: str
    raw: bool
    result: ItemResult | NotFitted
    runs: int
    left_out: int
    testers: int


def circulated_blades(rows: Iterable[EndpointRow]) -> tuple[CirculatedBlade, ...]:
    """Every blade that two or more testers dulled at least twice each, endpoint by endpoint.

    Level endpoints read at a checkpoint are given in the reading's own unit, all others on the ln scale.
    """
    groups: dict[tuple[PoolKey, str], dict[str, list[EndpointRow]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if not row.split_tester:
            groups[(row.pool, row.endpoint)][row.blade].append(row)
    jobs = [(*key, tuple(sorted(blades.items()))) for key, blades in sorted(groups.items())]
    return tuple(one for own in each(_of_endpoint, jobs, [AWAITED] * len(jobs)) for one in own)


def _of_endpoint(pool: PoolKey, endpoint: str, blades: Iterable[tuple[str, list[EndpointRow]]]) -> tuple[CirculatedBlade, ...]:
    found = (_one_blade(pool, endpoint, blade, rows) for blade, rows in blades)
    return tuple(one for one in found if one is not None)


def _one_blade(pool: PoolKey, endpoint: str, blade: str, rows: list[EndpointRow]) -> CirculatedBlade | None:
    exact = [row for row in rows if row.status == "exact"]
    counts: dict[str, int] = defaultdict(int)
    for row in exact:
        counts[row.tester] += 1
    if len(counts) < 2 or not any(n > 1 for n in counts.values()):
        return None
    raw = all(np.isfinite(row.raw) for row in exact)
    values = np.array([row.raw if raw else row.low for row in exact])
    person = np.array([row.tester for row in exact])
    counted = (len(exact), len(rows) - len(exact), len(counts))
    return attempt(
        lambda: CirculatedBlade(pool, endpoint, blade, raw, interlaboratory(values, person, np.full(len(exact), blade))[blade], *counted),
        lambda why: CirculatedBlade(pool, endpoint, blade, raw, why, *counted),
        lambda found: () if isinstance(found.result, NotFitted) else (found.result.mean, *found.result.means, found.result.s_r),
    )
