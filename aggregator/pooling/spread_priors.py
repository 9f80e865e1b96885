"""Priors of the spreads that the hierarchical model starts from: the one table of defaults."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from aggregator.numerics.half_t import HalfT

from .crossed_input import RESIDUAL

ASSUMPTION = "the authors' assumption"
STEEL = "steel"
MEDIAN = 0.7407  # of a half-t with 4 degrees of freedom, in scales

# Scales of half-t priors with 4 degrees of freedom, ln units: half of all such spreads are thought to lie below 0.74 of the scale.
DEFAULT_PRIORS: Mapping[str, HalfT] = MappingProxyType(
    {
        "sharpener": HalfT(4, 0.20, ASSUMPTION),
        "tester": HalfT(4, 0.20, ASSUMPTION),
        "blade": HalfT(4, 0.18, ASSUMPTION),
        "batch": HalfT(4, 0.10, ASSUMPTION),
        "lot": HalfT(4, 0.10, ASSUMPTION),
        "evening": HalfT(4, 0.10, ASSUMPTION),
        "submission": HalfT(4, 0.10, ASSUMPTION),
        "steel × sharpener": HalfT(4, 0.10, ASSUMPTION),
        "steel × tester": HalfT(4, 0.10, ASSUMPTION),
        STEEL: HalfT(4, 0.30, ASSUMPTION),
        RESIDUAL: HalfT(4, 0.40, ASSUMPTION),
    }
)


def residual_prior(ln_sd: float, source: str) -> HalfT:
    """Prior of run-to-run spread whose median is a protocol's assumed repeatability."""
    return HalfT(4, ln_sd / MEDIAN, source)


def scaled(priors: Mapping[str, HalfT], factor: float) -> dict[str, HalfT]:
    """All scales multiplied, to see what hangs on them."""
    return {name: prior.times(factor) for name, prior in priors.items()}
