"""A ratio with its interval, as published."""

from __future__ import annotations

from aggregator.records.model.base import Record


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
