"""Contrasts with every verdict that there is, made by the rule itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, OneSided
from edgehold.estimates.verdict import one_sided, verdict
from edgehold.numerics.interval import Interval
from edgehold.words import Reason

WORTHWHILE = 1.25
ENDS = {
    "better": (1.5, 1.3, 1.7, False),
    "worse": (0.6, 0.5, 0.7, False),
    "no difference worth having": (1.01, 0.93, 1.1, True),
    "different, size undecided": (1.2, 1.05, 1.4, False),
    "undecided": (1.1, 0.8, 1.5, False),
    "none": (1.1, 0.0, math.inf, False),
}
"""By the verdict's code: ratio, both ends, and whether the 90 % interval lies within the worthwhile ratio."""


@dataclass(frozen=True)
class Made:
    """A contrast, the verdict's code, and the ending of the code of its words for a life and for another endpoint."""

    contrast: Contrast
    kind: str
    life: str
    other: str


ARMS = ("tern", "wren", None, 4, 4, 1, 1)
"""What is compared, and of how many runs and blades."""


def _closed(factor: str, kind: str, turned: bool = False) -> Contrast:
    ratio, low, high, inside = ENDS[kind]
    if turned:
        ratio, low, high = 1 / ratio, 1 / high, 1 / low
    limits = Interval(math.log(low) if low else -math.inf, math.log(high), 0.95, "t")
    told = verdict(limits.low, limits.high, inside, WORTHWHILE)
    return ContrastEstimated(factor, *ARMS, math.log(ratio), 0.1, 6.0, limits, 0.5, told)


def every_verdict(factor: str) -> list[Made]:
    """One contrast of each verdict, of two sides of a factor."""
    words = {"better": "better", "worse": "worse", "different, size undecided": "more_open"}
    plain = {"no difference worth having": "nothing", "undecided": "undecided", "none": "none"}
    made = [Made(_closed(factor, kind), kind, f"life_{word}", f"other_{word}") for kind, word in words.items()]
    made += [Made(_closed(factor, kind), kind, word, word) for kind, word in plain.items()]
    size = "different, size undecided"
    made.append(Made(_closed(factor, size, turned=True), size, "life_less_open", "other_less_open"))
    for side in ("at least", "at most"):
        bound = OneSided(side, math.log(1.4))
        open_end = ContrastBounded(factor, *ARMS, Reason("contrasts.no_run", names="tern"), bound, one_sided(WORTHWHILE), ())
        made.append(Made(open_end, "one-sided", "one_sided", "one_sided"))
    lacking = ContrastNotEstimable(factor, *ARMS, Reason("contrasts.no_run", names="tern"))
    return [*made, Made(lacking, "", "no_ratio", "no_ratio")]
