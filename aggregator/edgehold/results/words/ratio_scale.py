"""The scale that bars of ratios stand on: how far it reaches, its marks, and the measures of an answer's bar.

Pages, reports and the browser draw by these same figures.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

REACHES = (2.0, 4.0, 8.0, 16.0, 32.0)
TICKS = {
    2.0: (0.5, 0.7, 1, 1.4, 2),
    4.0: (0.25, 0.5, 1, 2, 4),
    8.0: (0.125, 0.5, 1, 2, 8),
    16.0: (0.0625, 0.25, 1, 4, 16),
    32.0: (1 / 32, 0.125, 1, 8, 32),
}
TICK_WORDS = {0.25: "×¼", 0.5: "×½", 0.125: "×⅛", 0.0625: "×1⁄16", 1 / 32: "×1⁄32"}
WIDTH, MARGIN, TOP, MIDDLE, FLOOR, HEIGHT = 340, 12, 18, 32, 46, 64
"""Of an answer's bar, in units of its drawing: the band goes from TOP to FLOOR, the words of the marks stand below it."""


def reach_for(ratios: Iterable[float | None]) -> float:
    """The smallest reach that holds every ratio, either way; the largest there is where none does."""
    furthest = max((abs(math.log(ratio)) for ratio in ratios if ratio), default=0.0)
    return next((reach for reach in REACHES if math.log(reach) >= furthest), REACHES[-1])


def tick_word(ratio: float) -> str:
    """What stands at a mark."""
    return TICK_WORDS.get(ratio, f"×{ratio:g}")


def place(ratio: float, reach: float) -> float:
    """Where a ratio stands in the drawing of an answer's bar, clipped to the scale."""
    clipped = min(max(ratio, 1 / reach), reach)
    return WIDTH / 2 + (WIDTH / 2 - MARGIN) * math.log(clipped) / math.log(reach)


def scale_for_browser() -> dict[str, object]:
    """The same figures as plain JSON values; marks by reach, each a ratio and its words."""
    return {
        "reaches": list(REACHES),
        "ticks": {f"{reach:g}": [[ratio, tick_word(ratio)] for ratio in TICKS[reach]] for reach in REACHES},
        "width": WIDTH,
        "margin": MARGIN,
        "top": TOP,
        "middle": MIDDLE,
        "floor": FLOOR,
        "height": HEIGHT,
    }
