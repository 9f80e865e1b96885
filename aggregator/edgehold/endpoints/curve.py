"""The curve of one run: keenness against work, and the straight-line quantities read off it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np

from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.attempt import NotFitted
from edgehold.words import Reason

SAME_WORK = 1e-9  # relative difference below which two amounts of work are one: unit conversion leaves about 1e-16


@dataclass(frozen=True, eq=False)
class Curve:
    """Readings of one run in order of work; all arrays (n,).

    Attributes
    ----------
    work : increasing amounts of work, in the protocol's unit.
    low, high : limits of keenness; equal where exact.
    se : standard error of each keenness from reading.
    repeats : number of repeats of each.
    raw : arithmetic mean of the repeats in the reading's canonical unit; nan where one was off the scale.
    first : w₁, the protocol's first positive checkpoint, in the same unit.
    """

    work: Array
    low: Array
    high: Array
    se: Array
    repeats: Ints
    raw: Array
    first: float


@dataclass(frozen=True)
class Value:
    """A quantity read off a curve: its limits, its standard error from reading, or the reason why there is none."""

    low: float
    high: float
    se: float
    reason: str = ""


def missing(reason: str) -> Value:
    """No value, with the reason."""
    return Value(float("nan"), float("nan"), float("nan"), Reason("endpoints.missing", reason=reason))


def not_fitted(why: NotFitted) -> Value:
    """No value because its numbers failed."""
    return Value(float("nan"), float("nan"), float("nan"), why)


@overload
def axis(work: Array, first: float) -> Array: ...
@overload
def axis(work: float, first: float) -> float: ...
def axis(work: Array | float, first: float) -> Array | float:
    """The work axis ln(w + w₁): finite at 0, about ln w later on; a change of the unit of work only shifts it."""
    found: Array | float = np.log(work + first)
    return found


def held_after_dull(curve: Curve, until: float) -> Curve:
    """The curve with one more point: after a run that ended dull, keenness at ``until`` is at most the last reading."""
    if not len(curve.work) or until <= curve.work[-1] * (1 + SAME_WORK):
        return curve
    return Curve(
        work=np.append(curve.work, until),
        low=np.append(curve.low, -np.inf),
        high=np.append(curve.high, curve.high[-1]),
        se=np.append(curve.se, curve.se[-1]),
        repeats=np.append(curve.repeats, curve.repeats[-1]),
        raw=np.append(curve.raw, np.nan),
        first=curve.first,
    )


def position(curve: Curve, work: float) -> int | None:
    """Index of the reading taken at ``work``, or None."""
    close = np.flatnonzero(np.abs(curve.work - work) <= SAME_WORK * max(work, curve.first))
    return int(close[0]) if len(close) else None


def level_weights(curve: Curve, work: float) -> Array | None:
    """Weights (n,) of the readings in the keenness at ``work``: linear in ln(w + w₁), None outside the readings."""
    weights = np.zeros(len(curve.work))
    at = position(curve, work)
    if at is not None:
        weights[at] = 1.0
        return weights
    after = int(np.searchsorted(curve.work, work))
    if after in (0, len(curve.work)):
        return None
    u = axis(curve.work[after - 1 : after + 1], curve.first)
    share = (axis(work, curve.first) - u[0]) / (u[1] - u[0])
    weights[after - 1 : after + 1] = 1 - share, share
    return weights


def window_weights(curve: Curve, start: float, end: float) -> Array | None:
    """Weights (n,) in the mean keenness over ``start`` to ``end``: trapezoid on the work axis, None outside."""
    at_start, at_end = level_weights(curve, start), level_weights(curve, end)
    if at_start is None or at_end is None:
        return None
    margin = SAME_WORK * max(start, curve.first)
    inside = np.flatnonzero((curve.work > start + margin) & (curve.work < end - SAME_WORK * end))
    nodes: Array = np.array([at_start, *np.eye(len(curve.work))[inside], at_end])
    u = axis(np.array([start, *curve.work[inside], end]), curve.first)
    weights: Array = ((nodes[1:] + nodes[:-1]) / 2 * np.diff(u)[:, None]).sum(axis=0) / (u[-1] - u[0])
    return weights


def linear(curve: Curve, weights: Array) -> Value:
    """Σ weightᵢ kᵢ with the limits that censored readings leave, and its standard error from reading."""
    used = weights != 0
    w, low, high = weights[used], curve.low[used], curve.high[used]
    lowest = float(np.where(w > 0, w * low, w * high).sum())
    highest = float(np.where(w > 0, w * high, w * low).sum())
    if np.isinf(lowest) and np.isinf(highest):
        return missing(Reason("endpoints.off_scale"))
    return Value(lowest, highest, float(np.sqrt((w**2 * curve.se[used] ** 2).sum())))
