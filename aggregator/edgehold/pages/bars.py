"""The bar column of a table of ratios: small inline drawings on one common logarithmic scale.

What each drawing shows stands as text in the cells beside it; colours and width come from the style sheet by class. There are thousands
of them on a site, so each is drawn with few letters.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.results.model.answers import Answer
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import EndpointResult, Prediction
from edgehold.results.words.ratio_scale import TICKS, reach_for, tick_word
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

from .formatting import interval, level
from .safe_text import plain

WIDTH, HEIGHT, MIDDLE, MARGIN = 240, 24, 12, 10


@dataclass(frozen=True)
class Axis:
    """A common scale: from 1/reach to reach, and the band of differences not worth having."""

    reach: float
    worthwhile: float

    def x(self, ratio: float) -> float:
        """Place of a ratio in the drawing, clipped to its ends."""
        clipped = min(max(ratio, 1 / self.reach), self.reach)
        half = WIDTH / 2 - MARGIN
        return WIDTH / 2 + half * math.log(clipped) / math.log(self.reach)

    def shows(self, ratio: float | None) -> bool:
        """Whether a ratio lies inside."""
        return ratio is not None and 1 / self.reach * 0.999 <= ratio <= self.reach * 1.001


def axis(results: Iterable[RatioInterval | None], worthwhile: float) -> Axis:
    """The smallest scale that holds what there is; what lies beyond the largest is drawn as an arrow."""
    return Axis(reach_for(end for r in results if r is not None for end in (r.low, r.high, r.ratio)), worthwhile)


def axis_of(endpoint: EndpointResult, comparisons: Iterable[Answer]) -> Axis:
    """The scale for a table of answers on one endpoint."""
    return axis([c.result for c in comparisons], endpoint.worthwhile_ratio)


def scale(on: Axis) -> Markup:
    """The head of a bar column: the scale's marks."""
    marks = tick_words([(on.x(t), tick_word(t)) for t in TICKS[on.reach]])
    return svg("bar-scale", Reason("pages.scale"), marks)


def span(on: Axis) -> str:
    """The ends of a scale in words, for where its marks do not stand above the bars."""
    return Reason("plots.span", low=tick_word(1 / on.reach), high=tick_word(on.reach))


def tick_words(ticks: list[tuple[float, str]]) -> str:
    """Words along a scale; the outer ones stand inside the drawing's edges."""
    inner = [(x, "middle", word) for x, word in ticks[1:-1]]
    placed = [(0.0, "start", ticks[0][1]), *inner, (float(WIDTH), "end", ticks[-1][1])]
    return "".join(f'<text x="{place(x)}" y="15" text-anchor="{anchor}">{word}</text>' for x, anchor, word in placed)


def bar(
    result: RatioInterval | None,
    on: Axis,
    *,
    pooled: bool = False,
    prediction: Prediction | None = None,
    wider: RatioInterval | None = None,
) -> Markup:
    """One result: a line for its interval, a mark for its ratio (a diamond when pooled), a thin line for prediction or ``wider``."""
    if result is None:
        return Markup("")
    parts = [ground(on.x(1 / on.worthwhile), on.x(on.worthwhile), WIDTH / 2)]
    thin = prediction.result if prediction is not None else wider
    if thin is not None:
        parts.append(_line("bar-prediction", thin, on))
    parts += [_line("bar-interval", result, on), mark(on.x(result.ratio), pooled)]
    label = Reason("pages.bar", ratio=ratio_text(result.ratio), level=level(result), interval=interval(result))
    return svg("bar bar-pooled" if pooled else "bar", label, "".join(parts))


def svg(css: str, label: str, inside: str) -> Markup:
    """A small drawing that says what it shows."""
    return Markup(f'<svg class="{css}" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{plain(label)}">{inside}</svg>')


def place(x: float) -> str:
    """A place in a drawing, to a tenth of its unit."""
    return f"{x:.1f}".removesuffix(".0")


def ground(low: float, high: float, one: float) -> str:
    """The band of differences not worth having, and the line of no difference."""
    return (
        f'<path class="bar-band" d="M{place(low)} 0H{place(high)}V{HEIGHT}H{place(low)}z"/>'
        f'<path class="bar-one" d="M{place(one)} 0V{HEIGHT}"/>'
    )


def line(css: str, low: float, high: float) -> str:
    """From one place to another."""
    return f'<path class="{css}" d="M{place(low)} {MIDDLE}H{place(high)}"/>'


def _line(css: str, result: RatioInterval, on: Axis) -> str:
    low = on.x(result.low if result.low else 1 / on.reach)
    high = on.x(result.high if result.high is not None else on.reach)
    drawn = line(css, low, high)
    if not on.shows(result.low):
        drawn += head(low, False)
    if not on.shows(result.high):
        drawn += head(high, True)
    return drawn


def head(x: float, right: bool) -> str:
    """An arrow head: it goes on beyond the scale."""
    back = -6 if right else 6
    return f'<path class="bar-head" d="M{place(x)} {MIDDLE}l{back} -4v8z"/>'


def mark(x: float, pooled: bool) -> str:
    """A diamond for what is pooled, else a square."""
    if pooled:
        return f'<path class="bar-mark" d="M{place(x - 7)} {MIDDLE}l7 -6l7 6l-7 6z"/>'
    return f'<path class="bar-mark" d="M{place(x - 3.5)} {MIDDLE - 3.5:g}h7v7h-7z"/>'
