"""Sealed plans and how many came back with a result, as published."""

from __future__ import annotations

from edgehold.records.model.base import Origin, Record, Slug, Whole


class PlanCount(Record):
    """Sealed plans of one protocol MAJOR and origin."""

    protocol: Slug
    """The protocol's id."""
    major: Whole
    """MAJOR of its version."""
    origin: Origin
    """measured or simulated; never mixed."""
    published: Whole
    """Seals published under submissions/plans."""
    came_back: Whole
    """How many of them a submission names, including retracted ones."""
    sentence: str
    """Both in words."""
