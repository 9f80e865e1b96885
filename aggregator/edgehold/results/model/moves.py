"""The log of months as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Record

from .ratio import RatioInterval


class Happening(Record):
    """One thing that happened in a month."""

    kind: Literal["tested", "corrected", "retracted", "version", "objection"]
    """A submission whose test is of this month; a submission corrected or retracted; something in the life of a protocol version; an
    objection decided. Only the first three can move an estimate."""
    submission: str
    """The submission's id; empty for anything else."""
    version: str
    """The protocol version; empty where none is meant."""
    protocol: str
    """For an objection, the protocol that it is against; empty where it is against the analysis, and for everything else."""
    number: int | None
    """Number of the objection; null where none is meant."""
    says: str
    """The reason given for a change, what happened to the version, or what was decided; empty for a test."""
    simulated: bool
    """For an objection: whether it is invented. A submission is of its pool's origin."""


class MonthResult(Record):
    """A month in which something happened."""

    month: str
    """The month."""
    happened: tuple[Happening, ...]
    """What happened."""


class StandingResult(Record):
    """Where a comparison stood at the end of a month."""

    state: Literal["pooled", "listed", "single", "not estimable", "not fitted"]
    """As in a comparison."""
    submissions: int
    """Submissions that gave a ratio of the two."""
    studies: int
    """Studies that these made."""
    one_sided: int
    """Submissions that gave only a bound."""
    result: RatioInterval | None
    """The pooled ratio; null where nothing was pooled."""
    verdict: str
    """Against the worthwhile ratio; empty where nothing was pooled."""


class Move(Record):
    """What one month did to one comparison."""

    month: str
    """The month."""
    before: StandingResult
    """At the end of the month before."""
    after: StandingResult
    """At the end of this month."""
    moved_by: float | None
    """Pooled ratio after, divided by that before; null where either is missing."""
    sentence: str
    """The same in plain English."""


class CourseResult(Record):
    """The leading comparison of a pool on one endpoint, month by month."""

    endpoint: str
    """Endpoint id."""
    title: str
    """What the endpoint is called."""
    role: Literal["early", "late", "overall"]
    """Which part of the dulling."""
    primary: bool
    """Whether it is the protocol's primary endpoint."""
    worthwhile_ratio: float
    """The smallest ratio worth acting on."""
    factor: Literal["steel", "practice", "level"]
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    moves: tuple[Move, ...]
    """One for each of these months, oldest first. The ``after`` of the last is the present state."""


class PoolLog(Record):
    """How the leading estimates of one pool moved. A month is the month of the test, or of the change, as written in the files."""

    protocol: str
    """Protocol id."""
    major: int
    """MAJOR."""
    origin: Literal["measured", "simulated"]
    """measured and simulated are never pooled together."""
    title: str
    """The protocol's title."""
    months: tuple[MonthResult, ...]
    """Months in which something happened, oldest first."""
    courses: tuple[CourseResult, ...]
    """On the early, late and primary endpoints; empty where no two things were ever compared."""
