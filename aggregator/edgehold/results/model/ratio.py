"""A ratio with its interval, as published."""

from __future__ import annotations

from edgehold.numerics.interval import Interval
from edgehold.records.model.base import Record

from .numbers import needed, ratio


class RatioInterval(Record):
    """A ratio with its interval; a missing end is unbounded."""

    ratio: float
    """The ratio."""
    low: float | None
    """Lower end."""
    high: float | None
    """Upper end."""
    level: float
    """Coverage, such as 0.95."""
    method: str
    """How the interval was made."""


def ratio_interval(ln_estimate: float, interval: Interval) -> RatioInterval:
    """An interval on the ln scale, published as ratios."""
    return RatioInterval(
        ratio=needed(ratio(ln_estimate)),
        low=ratio(interval.low),
        high=ratio(interval.high),
        level=interval.level,
        method=interval.method,
    )
