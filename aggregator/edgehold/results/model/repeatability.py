"""The repeatability table, as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Origin, Record, Sha256, Slug, Whole


class Contribution(Record):
    """One submission's own run variance."""

    submission: Slug
    """Its id."""
    s2: float
    """Variance between its runs, ln scale."""
    df: float
    """Degrees of freedom of that."""


class EndpointRepeatability(Record):
    """Run variance of one endpoint of one pool, and what a submission's own is moderated with."""

    endpoint: Slug
    """The protocol's endpoint."""
    source: Literal["pooled", "assumed"]
    """pooled over submissions; assumed: there are no replicates yet and the protocol's own figure stands in."""
    submissions: Whole
    """How many submissions contributed."""
    s2_pooled: float | None
    """Variance pooled over submissions, ln scale; null without any."""
    df_pooled: float
    """Its degrees of freedom: moderated ones are never more."""
    prior_s2: float
    """s₀², ln scale."""
    prior_df: float | None
    """d₀; null: infinite, that is: submissions do not evidently differ (Bartlett's test), and all use the pooled variance."""
    typical_ratio: float | None = None
    """By what ratio two runs differ that should agree: half of all such pairs differ by more, e to the power of 0.954·s₀."""
    assumed_ln_sd: float
    """Standard deviation that the protocol assumes without data."""
    assumed_df: float
    """Degrees of freedom that this assumption is worth."""
    contributions: tuple[Contribution, ...]
    """What each submission contributed, so that one can be left out where it is judged itself."""


class PoolRepeatability(Record):
    """One protocol MAJOR and origin."""

    protocol: Slug
    """The protocol's id."""
    major: Whole
    """MAJOR of its version."""
    origin: Origin
    """measured or simulated; never mixed."""
    reading_variance: float | None
    """Variance of ln x between repeats of one reading, pooled over all readings; null where nothing was repeated."""
    endpoints: tuple[EndpointRepeatability, ...]
    """By endpoint."""


class Content(Record):
    """What the hash is taken over."""

    format: Literal["repeatability/1.1.0", "repeatability/1.0.0", "repeatability/0.1.0"]
    """Name and version of this format; older ones lack the typical ratio."""
    pools: tuple[PoolRepeatability, ...]
    """By protocol, MAJOR and origin."""


class PublishedRepeatability(Content):
    """The table as published."""

    sha256: Sha256
    """Hash over the canonical JSON (RFC 8785) of everything else in this file."""
