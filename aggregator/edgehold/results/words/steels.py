"""Limits of a composition in words."""

from __future__ import annotations

from edgehold.words import Reason


def share_range(least: float | None, most: float | None) -> str:
    """How much of an element there may be, in mass per cent; None: no limit on that side."""
    if most is None:
        return Reason("steels.not_limited") if least is None else Reason("steels.at_least", low=least)
    return Reason("steels.at_most", high=most) if least is None else Reason("steels.between", low=least, high=most)
