"""What was asked of the studies of one pooled comparison, as pydantic models.

As in ``model``: ratios above 1 favour ``first``, ``None`` means "not computed", and the reason stands beside it in words. None of it
changes the pooled ratio.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .arguments import Arguments
from .ratio import RatioInterval


class CumulativeMonth(Record):
    """The pooled ratio of everything tested by the end of one month."""

    month: str
    """The month."""
    submissions: int
    """Submissions with a ratio by then."""
    studies: int
    """Studies that these make up, joined as they are today."""
    result: RatioInterval | None
    """The pooled ratio; null below three studies, or where numbers failed."""


class StudyInfluence(Record):
    """What one study does to the pooled ratio."""

    study: int
    """Its number."""
    hat_percent: float
    """Its leverage: without moderators, its share of the weights."""
    ratio_without: float | None
    """The pooled ratio of the others."""
    without: RatioInterval | None
    """The same with its interval; null where fewer than three studies are left."""
    studentised_residual: float | None
    """Its distance from what the others predict, in standard errors (externally studentised)."""
    cooks_distance: float | None
    """How far the pooled ln ratio moves without it, squared, in units of its variance."""
    covariance_ratio: float | None
    """Variance of the pooled ln ratio without it, divided by that with it; below 1 the estimate is more precise without it."""
    tau_without: float | None
    """Between-study standard deviation of the others on the ln scale."""
    reason: str
    """Why there is no such figure; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class SmallStudies(Record):
    """Whether small studies differ from large ones; asked with ten or more studies."""

    state: Literal["asked", "not asked"]
    """Whether it was asked."""
    reason: str
    """Why not; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    slope: float | None
    """Change of the ln ratio per unit of standard error; 0 for a symmetric funnel."""
    standard_error: float | None
    """Of the slope."""
    df: float | None
    """Degrees of freedom."""
    p: float | None
    """p value of the slope."""
    limit: RatioInterval | None
    """The ratio as the standard error goes to 0."""
    missing: int | None
    """Studies that would have to be added to make the funnel symmetric (trim and fill)."""
    side: Literal["lower", "higher", ""]
    """Where they would lie; empty where none is missing or it was not asked."""
    filled: RatioInterval | None
    """The pooled ratio with these added; they are not data."""
    sentence: str
    """The same in plain English."""


class ByPeople(Record):
    """The pooled ratio with an interval from the scatter between clusters of studies that share people or blades (CR2)."""

    clusters: int
    """Clusters of studies: those that share a tester, a sharpener or a blade are one."""
    result: RatioInterval | None
    """The ratio; null below ten clusters."""
    standard_error: float | None
    """On the ln scale; null where ``result`` is."""
    df: float | None
    """Satterthwaite degrees of freedom; null where ``result`` is."""
    reason: str
    """Why there is none; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class StudyChecksResult(Record):
    """How far one pooled ratio depends on single studies, on symmetry and on the independence of studies."""

    sentence: str
    """What the ratio would be without the study that moves it most."""
    most: int | None
    """Number of that study."""
    studies: tuple[StudyInfluence, ...]
    """Study by study."""
    small_studies: SmallStudies
    """Small studies against large ones."""
    by_people: ByPeople
    """Clusters of people and blades."""
