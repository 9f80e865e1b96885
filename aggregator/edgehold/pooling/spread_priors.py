"""Priors of the spreads that the hierarchical model starts from: the one table of defaults."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from edgehold.numerics.half_t import HalfT
from edgehold.words import Reason

from .crossed.inputs import RESIDUAL

ASSUMPTION = Reason("headline.assumption")
STEEL = "steel"
IN_FAMILY = "steel-in-family"
USUAL = 0.30  # run-to-run standard deviation, ln units, that the scales below belong to
MEDIAN = 0.7407  # of a half-t with 4 degrees of freedom, in scales

# Half-t priors, ln units. With 4 degrees of freedom half of all such spreads are thought to lie below 0.74 of the scale, with 2 below 0.82.
DEFAULT_PRIORS: Mapping[str, HalfT] = MappingProxyType(
    {
        "sharpener": HalfT(4, 0.30, ASSUMPTION),  # eight people in two classes say little of how much they differ
        "tester": HalfT(4, 0.20, ASSUMPTION),
        "blade": HalfT(2, 0.20, ASSUMPTION),  # a heavy tail: two or three blades a steel cannot say that they differ little
        "batch": HalfT(4, 0.10, ASSUMPTION),
        "lot": HalfT(4, 0.10, ASSUMPTION),
        "evening": HalfT(4, 0.10, ASSUMPTION),
        "pair": HalfT(4, 0.20, ASSUMPTION),  # rope, hand and hour of two edges cut in turn, which single runs keep in their own spread
        "submission": HalfT(4, 0.10, ASSUMPTION),
        "steel × sharpener": HalfT(4, 0.10, ASSUMPTION),
        "steel × tester": HalfT(4, 0.10, ASSUMPTION),
        "level × steel": HalfT(4, 0.15, ASSUMPTION),  # three steels cannot say that a treatment suits them all alike
        "level × submission": HalfT(4, 0.10, ASSUMPTION),
        "rig": HalfT(4, 0.20, ASSUMPTION),  # this and the next five stand in a model only beside reference edges
        "scale": HalfT(4, 0.05, ASSUMPTION),
        "drift": HalfT(4, 0.10, ASSUMPTION),
        "pack": HalfT(4, 0.10, ASSUMPTION),
        "segment": HalfT(4, 0.10, ASSUMPTION),
        "weight": HalfT(4, 0.03, ASSUMPTION),
        STEEL: HalfT(4, 0.30, ASSUMPTION),
        IN_FAMILY: HalfT(
            2, 0.30, ASSUMPTION
        ),  # as far apart as any steels, with a heavy tail: two or three steels cannot say that they differ little
        RESIDUAL: HalfT(4, 0.40, ASSUMPTION),
    }
)


def priors_for(ln_sd: float, source: str) -> dict[str, HalfT]:
    """Priors of an endpoint from its protocol's assumed repeatability.

    That of the run-to-run spread has it for its median. All others are scaled with it: where one run differs more from the next on
    the ln scale, as lives do more than levels, so do people and blades.

    Parameters
    ----------
    ln_sd, source : assumed repeatability and where it comes from.
    """
    return scaled(DEFAULT_PRIORS, ln_sd / USUAL) | {RESIDUAL: HalfT(4, ln_sd / MEDIAN, source)}


def scaled(priors: Mapping[str, HalfT], factor: float) -> dict[str, HalfT]:
    """All scales multiplied, to see what hangs on them."""
    return {name: prior.times(factor) for name, prior in priors.items()}
