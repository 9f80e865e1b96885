"""Reference edges and known weights of submissions, as the joint model of a pool's readings takes them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from edgehold.records.canonical import CanonicalReference, LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.model.protocol import Protocol

from .moderators import instrument_of
from .readings import keenness, sign
from .runs import by_work


@dataclass(frozen=True)
class ReferencePoint:
    """One reading of a reference edge.

    Attributes
    ----------
    pool, submission : where it was reported.
    when, evening, pack, segment, tester, lot : as in ``CanonicalReference``.
    instrument : that it was read with; None where the file lists none, or several and does not say which.
    work : amount of work before it, in the protocol's work unit.
    low, high : keenness lies between them, ln scale; equal where every repeat was on the scale.
    """

    pool: PoolKey
    submission: str
    when: str
    evening: int | None
    pack: str
    segment: str
    tester: str
    lot: str | None
    instrument: str | None
    work: float
    low: float
    high: float


@dataclass(frozen=True)
class WeightPoint:
    """One known weight.

    Attributes
    ----------
    pool, submission : where it was reported.
    instrument : that it was read with; None where the file lists none, or several and does not say which.
    shown : ln of what the rig showed over what the weight is, with the sign of keenness.
    """

    pool: PoolKey
    submission: str
    instrument: str | None
    shown: float


@dataclass(frozen=True)
class Beside:
    """What stands beside the runs of a repository."""

    edges: tuple[ReferencePoint, ...] = ()
    weights: tuple[WeightPoint, ...] = ()

    def of_pool(self, pool: PoolKey) -> Beside:
        """Those of one pool."""
        return Beside(tuple(one for one in self.edges if one.pool == pool), tuple(one for one in self.weights if one.pool == pool))


def beside_runs(repository: Repository) -> Beside:
    """Every reading of a reference edge at the protocol's two amounts of work, and every known weight."""
    edges, weights = [], []
    for submission in repository.submissions:
        protocol = repository.protocol_of(submission).record
        edges += [point for edge in submission.references for point in edge_points(submission, edge, protocol)]
        weights += weight_points(submission, protocol)
    return Beside(tuple(edges), tuple(weights))


def edge_points(submission: LoadedSubmission, edge: CanonicalReference, protocol: Protocol) -> Iterator[ReferencePoint]:
    """Readings of one reference edge on a scale, before and after the protocol's work; none where it has no such work."""
    rule = protocol.reading
    wanted = (0.0, protocol.reference.work) if protocol.reference else ()
    for reading in by_work(edge.readings):
        if not reading.values or not any(np.isclose(reading.work, work) for work in wanted):
            continue
        read = keenness(reading.values, reading.limits, rule.keener, rule.resolution, rule.scale_end)
        yield ReferencePoint(
            pool=pool_key(submission),
            submission=submission.record.id,
            when=edge.when,
            evening=edge.evening,
            pack=edge.pack,
            segment=edge.segment,
            tester=edge.tester,
            lot=edge.lot,
            instrument=instrument_of(submission, edge.instrument),
            work=float(reading.work),
            low=float(read.low),
            high=float(read.high),
        )


def weight_points(submission: LoadedSubmission, protocol: Protocol) -> list[WeightPoint]:
    """The known weights of one submission; none where readings pass or fail."""
    if protocol.reading.kind == "pass/fail":
        return []
    return [
        WeightPoint(
            pool_key(submission),
            submission.record.id,
            instrument_of(submission, one.instrument),
            sign(protocol.reading.keener) * float(np.log(one.read_n / one.known_n)),
        )
        for one in submission.weights
    ]
