"""Bars of how much two of a kind typically differ: on one logarithmic scale that begins at ×1, no difference.

What each drawing shows stands as text in the cell beside it; colours come from the style sheet by class.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.results.model.analyses import Spread
from edgehold.results.model.answers import HowMuchResult
from edgehold.results.model.references import ReferenceSpread
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

from .bars import MARGIN, WIDTH, ground, head, line, mark, svg, tick_words

REACHES = (1.5, 2.0, 4.0, 8.0, 16.0)
TICKS = {1.5: (1, 1.1, 1.2, 1.3, 1.5), 2.0: (1, 1.2, 1.5, 2), 4.0: (1, 1.5, 2, 3, 4), 8.0: (1, 2, 4, 8), 16.0: (1, 2, 4, 8, 16)}


@dataclass(frozen=True)
class SpreadAxis:
    """A scale from 1 to ``reach``, and the differences not worth having at its foot."""

    reach: float
    worthwhile: float

    def x(self, ratio: float) -> float:
        """Place of a ratio, clipped to the ends."""
        clipped = min(max(ratio, 1.0), self.reach)
        return MARGIN + (WIDTH - 2 * MARGIN) * math.log(clipped) / math.log(self.reach)


def reach_of(ratios: Iterable[float | None]) -> float:
    """The smallest scale that holds the ratios; what lies beyond the largest is drawn as an arrow."""
    furthest = max((r for r in ratios if r), default=1.0)
    return next((r for r in REACHES if r >= furthest), REACHES[-1])


def scale(on: SpreadAxis) -> Markup:
    """The head of a column of bars."""
    marks = tick_words([(on.x(t), f"×{t:g}") for t in TICKS[on.reach]])
    return svg("bar-scale", Reason("pages.spread_scale"), marks)


def span(on: SpreadAxis) -> str:
    """The ends of a scale in words, for where its marks do not stand above the bars."""
    return Reason("plots.span", low="×1", high=f"×{on.reach:g}")


def spread_bar(spread: Spread, on: SpreadAxis) -> Markup:
    """A spread: a mark for its typical ratio, and a line for its interval where it has one; only a line where only a limit is known."""
    typical, high = spread.typical_ratio, spread.typical_high
    if spread.state == "no number":
        return Markup("")
    if high is None:
        return Markup("") if typical is None else svg("bar bar-pooled", ratio_text(typical), _ground(on) + mark(on.x(typical), True))
    drawn = _ground(on) + _line(spread.typical_low or 1.0, high, on)
    if typical is None:
        return svg("bar bar-one-sided", Reason("pages.at_most", ratio=ratio_text(high)), drawn)
    label = _label(typical, spread.typical_low, high)
    return svg("bar bar-pooled", label, drawn + mark(on.x(typical), True))


def how_much_bar(row: HowMuchResult | ReferenceSpread, on: SpreadAxis) -> Markup:
    """How much two of a kind differ: a line for the interval and a mark for the typical ratio; nothing where it is withheld."""
    if row.typical_ratio is None:
        return Markup("")
    label = _label(row.typical_ratio, row.typical_low, row.typical_high)
    drawn = _ground(on) + _line(row.typical_low or 1.0, row.typical_high, on) + mark(on.x(row.typical_ratio), True)
    return svg("bar bar-pooled", label, drawn)


def _label(typical: float, low: float | None, high: float | None) -> Reason:
    between = Reason("pages.between", low=ratio_text(low), high=ratio_text(high))
    return Reason("pages.bar", ratio=ratio_text(typical), level="95 %", interval=between)


def _ground(on: SpreadAxis) -> str:
    return ground(MARGIN, on.x(on.worthwhile), MARGIN)


def _line(low: float, high: float | None, on: SpreadAxis) -> str:
    end = on.x(high if high is not None else on.reach)
    return line("bar-interval", on.x(low), end) + (head(end, True) if high is None or high > on.reach else "")
