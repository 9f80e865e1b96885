"""The protocol's endpoints, one by one, for one run."""

from __future__ import annotations

import math

import numpy as np

from edgehold.records.canonical import CanonicalRun, LoadedSubmission
from edgehold.records.model.protocol import EndpointRule, Protocol, Threshold
from edgehold.records.units import quantity_text
from edgehold.words import Reason

from .curve import Curve, Value, axis, held_after_dull, level_weights, linear, missing, position, window_weights
from .draws import key_of
from .life import Life, Undrawn, pass_fail_life, undrawn_life
from .readings import sign
from .runs import by_work, first_positive

DULL = "dull"


def endpoint_of(
    submission: LoadedSubmission, run: CanonicalRun, protocol: Protocol, rule: EndpointRule, curve: Curve | None
) -> Life | Undrawn:
    """One endpoint of one run, before draws; only a life can tell of a failed preparation."""
    if not run.readings:
        return Life(missing(Reason("endpoints.no_readings")))
    if curve is None:
        return _pass_fail(run, protocol, rule)
    if not len(curve.work):
        return Life(missing(Reason("endpoints.no_values")))
    if rule.threshold is not None:
        return _life(submission, run, protocol, rule, rule.threshold, curve)
    return Life(_level_window_loss(run, protocol, rule, curve))


def _pass_fail(run: CanonicalRun, protocol: Protocol, rule: EndpointRule) -> Life:
    if rule.kind != "life":
        return Life(missing(Reason("endpoints.no_keenness")))
    readings = [r for r in by_work(run.readings) if r.passed]
    work = np.array([r.work for r in readings], dtype=float)
    passed = np.array([all(r.passed) for r in readings], dtype=bool)
    failed = np.array([not any(r.passed) for r in readings], dtype=bool)
    return pass_fail_life(work, passed, failed, first_positive(protocol))


def _life(
    submission: LoadedSubmission, run: CanonicalRun, protocol: Protocol, rule: EndpointRule, asked: Threshold, curve: Curve
) -> Life | Undrawn:
    """Life to an absolute threshold, or to a share of the sharpness at the start (raw, not smoothed)."""
    threshold = fixed_threshold(rule, protocol)
    if threshold is None:
        if position(curve, 0.0) is None:
            return Life(missing(Reason("endpoints.no_start")))
        if curve.low[0] != curve.high[0]:
            return Life(missing(Reason("endpoints.start_off_scale")))
        # A fraction of the sharpness: reading x f where higher is keener, reading / f where lower is; f or 1/f alike.
        threshold = float(curve.low[0]) - abs(math.log(asked.value))
    begin = curve.first if rule.fit_from == "first positive checkpoint" else 0.0
    key = key_of(submission.record.id, run.id, rule.id)
    return undrawn_life(curve, threshold, begin, key, relative=asked.relative)


def fixed_threshold(rule: EndpointRule, protocol: Protocol) -> float | None:
    """Keenness that ends a life, the same for every run; None where it is a share of the start, or where there is none."""
    if rule.threshold is None or rule.threshold.relative:
        return None
    return sign(protocol.reading.keener) * math.log(rule.threshold.value)


def relative_life(
    submission: LoadedSubmission, run: CanonicalRun, protocol: Protocol, rule: EndpointRule, curve: Curve | None, usual: float | None
) -> Life | Undrawn | None:
    """The work at which an edge has lost what lies between the usual start and a fixed threshold, before draws.

    The counterpart, relative to the edge's own start, of a life to a fixed sharpness: for an edge that starts as usual the two are
    one. None where nothing tells of it.

    Parameters
    ----------
    submission, run, protocol, rule, curve : as for ``endpoint_of``.
    usual : mean keenness before the first cut over the pool; None where nobody read it.
    """
    threshold = fixed_threshold(rule, protocol)
    if curve is None or usual is None or threshold is None:
        return None
    at, drop = position(curve, 0.0), usual - threshold
    if at is None or curve.low[at] != curve.high[at] or drop <= 0:
        return None
    begin = curve.first if rule.fit_from == "first positive checkpoint" else 0.0
    key = key_of(submission.record.id, run.id, f"{rule.id} relative")
    return undrawn_life(curve, float(curve.low[at] - drop), begin, key, relative=True)


def _level_window_loss(run: CanonicalRun, protocol: Protocol, rule: EndpointRule, curve: Curve) -> Value:
    """The endpoints that are straight-line functions of the readings."""
    asked = [work for work in ((rule.at,) if rule.kind == "level" else (rule.start, rule.end)) if work is not None]
    held = held_after_dull(curve, asked[-1]) if run.ended == DULL else curve
    weights = []
    for work in asked:
        found = level_weights(held, work)
        if found is None:
            return missing(_outside(run, protocol, curve, work))
        weights.append(found)
    if rule.kind == "level":
        return linear(held, weights[0])
    if rule.kind == "loss":
        return linear(held, weights[1] - weights[0])
    start, end = asked
    absent = _absent_checkpoints(protocol, curve, start, min(end, float(curve.work[-1])))
    if absent:
        return missing(Reason("endpoints.none_near", asked=quantity_text(absent[0], protocol.work.unit)))
    window = window_weights(held, start, end)
    assert window is not None  # there is a keenness at either end, as was seen above
    return linear(held, window)


def _outside(run: CanonicalRun, protocol: Protocol, curve: Curve, work: float) -> str:
    """Why there is no keenness at an amount of work."""
    if work == 0:
        return Reason("endpoints.no_start")
    asked = quantity_text(work, protocol.work.unit)
    if work < curve.work[0]:
        return Reason("endpoints.none_before", asked=asked)
    return Reason("endpoints.ended_before", asked=asked, ended=run.ended)


def _absent_checkpoints(protocol: Protocol, curve: Curve, start: float, end: float) -> list[float]:
    """Checkpoints in a window that no reading stands for: a reading stands for the nearest on the work axis."""
    checkpoints = np.array(sorted(protocol.work.checkpoints))
    u = axis(checkpoints, curve.first)
    nearest = {int(np.abs(u - x).argmin()) for x in axis(curve.work, curve.first)}
    return [float(w) for i, w in enumerate(checkpoints) if start <= w <= end and i not in nearest]
