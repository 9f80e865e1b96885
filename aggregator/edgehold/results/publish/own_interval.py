"""What one submission says by itself, as published: here, without the stage that pools, which takes longer to import than to ask."""

from __future__ import annotations

from edgehold.estimates.results import Contrast, ContrastEstimated
from edgehold.results.model.ratio import RatioInterval, ratio_interval


def own_interval(contrast: Contrast) -> RatioInterval | None:
    """A submission's own ratio, or None."""
    return ratio_interval(contrast.estimate, contrast.interval) if isinstance(contrast, ContrastEstimated) else None
