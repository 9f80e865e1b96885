"""Canonical runs as curves of keenness."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.records.canonical import CanonicalReading, CanonicalRun, PoolKey, Repository, pool_key
from edgehold.records.model.protocol import Protocol

from .curve import Curve
from .readings import Keenness, keenness, pooled_variance, reading_se, whole


def reading_variances(repository: Repository) -> dict[PoolKey, float]:
    """Variance of ln x within readings, pooled over all readings of each pool that were wholly on the scale.

    nan for a pool without two repeats of anything, pass/fail protocols among them.
    """
    series: dict[PoolKey, list[tuple[float, ...]]] = defaultdict(list)
    for submission in repository.submissions:
        rule = repository.protocol_of(submission).record.reading
        on_scale = series[pool_key(submission)]
        for reading in (r for run in submission.runs for r in run.readings if r.values):
            if whole(reading.values, reading.limits, rule.resolution, rule.scale_end):
                on_scale.append(reading.values)
    return {key: pooled_variance(values) for key, values in series.items()}


def by_work(readings: Iterable[CanonicalReading]) -> list[CanonicalReading]:
    """Readings in order of work, repeats at the same work together."""
    merged: dict[float, CanonicalReading] = {}
    for r in readings:
        old = merged.get(r.work, CanonicalReading(r.work, (), (), ()))
        merged[r.work] = CanonicalReading(r.work, old.values + r.values, old.limits + r.limits, old.passed + r.passed)
    return [merged[work] for work in sorted(merged)]


def first_positive(protocol: Protocol) -> float:
    """w₁, the protocol's first positive checkpoint."""
    return min(w for w in protocol.work.checkpoints if w > 0)


def keennesses(run: CanonicalRun, protocol: Protocol) -> tuple[Array, list[Keenness]]:
    """Works and keennesses of a run's readings."""
    rule = protocol.reading
    readings = [r for r in by_work(run.readings) if r.values]
    read = [keenness(r.values, r.limits, rule.keener, rule.resolution, rule.scale_end) for r in readings]
    return np.array([r.work for r in readings], dtype=float), read


def run_curve(run: CanonicalRun, protocol: Protocol, s2_read: float) -> Curve:
    """The curve of a run with values.

    Parameters
    ----------
    run, protocol : the run and the version it followed.
    s2_read : pooled variance of ln x within readings.
    """
    work, read = keennesses(run, protocol)
    resolution = protocol.reading.resolution
    return Curve(
        work=work,
        low=np.array([k.low for k in read]),
        high=np.array([k.high for k in read]),
        se=np.array([reading_se(s2_read, k.n, k.mean, resolution) for k in read]),
        repeats=np.array([k.n for k in read]),
        raw=np.array([k.mean if k.limit is None else np.nan for k in read]),
        first=first_positive(protocol),
    )
