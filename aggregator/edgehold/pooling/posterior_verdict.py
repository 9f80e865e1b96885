"""What a posterior says against the smallest ratio worth acting on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .hierarchical import ContrastPosterior

# Posterior probabilities from which a verdict is given. They are high because results are looked at every month: with them a series of
# 24 monthly looks at a true ratio at the worthwhile one is ever wrongly called better, or without a difference worth having, in at most
# one of twenty (12 of 300 series, measured on the headline itself: tests/simulation/README.md).
BEYOND = 0.9925  # the ratio lies beyond the worthwhile one
WITHIN = 0.985  # it lies within
DIFFERENT = 0.975  # from which two differ at all: the 95 % interval then leaves out 1
BETTER, WORSE, SAME, DIFFER, UNDECIDED = "better", "worse", "no difference worth having", "different, size undecided", "undecided"


@dataclass(frozen=True)
class PosteriorVerdict:
    """Probabilities of a ratio against the worthwhile one, and the verdict they come to.

    Attributes
    ----------
    kind : ``"better"``, ``"worse"``, ``"no difference worth having"``, ``"different, size undecided"`` or ``"undecided"``.
    better, within, worse : probabilities that the ratio lies above m, between 1/m and m, and below 1/m.
    excludes : ratio a in "a difference larger than ×a either way is ruled out": the farther end of the interval from 1.
    """

    kind: str
    better: float
    within: float
    worse: float
    excludes: float


def posterior_verdict(posterior: ContrastPosterior, worthwhile: float) -> PosteriorVerdict:
    """Hold a posterior against the worthwhile ratio m.

    Parameters
    ----------
    posterior : of an ln ratio.
    worthwhile : m > 1.
    """
    step = math.log(worthwhile)
    better, worse = posterior.above(step), posterior.mixture.below(-step)
    within = max(0.0, 1 - better - worse)
    excludes = math.exp(max(abs(posterior.interval.low), abs(posterior.interval.high)))
    return PosteriorVerdict(verdict_of(better, within, worse, posterior.above(0.0)), better, within, worse, excludes)


def verdict_of(better: float, within: float, worse: float, above_one: float) -> str:
    """The verdict that probabilities come to.

    Parameters
    ----------
    better, within, worse : as in ``PosteriorVerdict``.
    above_one : probability of a ratio above 1.
    """
    if max(better, worse) >= BEYOND:
        return BETTER if better > worse else WORSE
    if within >= WITHIN:
        return SAME
    return DIFFER if max(above_one, 1 - above_one) >= DIFFERENT else UNDECIDED
