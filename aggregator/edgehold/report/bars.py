"""The bars of one report, all on one scale of ratios, so that lengths compare from bar to bar.

The browser draws the same (site/pages/assets/form/bars.js) by the same figures (``results.words.ratio_scale``).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.pages.safe_text import plain
from edgehold.results.words.ratio_scale import FLOOR, HEIGHT, MARGIN, MIDDLE, TICKS, TOP, WIDTH, place, reach_for, tick_word
from edgehold.results.words.sentences import ratio_text
from edgehold.results.words.verdicts import figures_text, side_words
from edgehold.words import Reason


@dataclass(frozen=True)
class Drawn:
    """What one bar shows.

    Attributes
    ----------
    title, factor, first, second, kind : what is compared, and of which kind the endpoint is.
    ratio, low, high : with its interval, or the one end that is known.
    worthwhile : smallest ratio worth acting on.
    """

    title: str
    factor: str
    first: str
    second: str
    kind: str
    ratio: float | None
    low: float | None
    high: float | None
    worthwhile: float


@dataclass(frozen=True)
class Bar:
    """One bar with the words beside it: which side does better at either end, the figures, and the drawing."""

    left: str
    right: str
    figures: str
    drawing: Markup


def common_reach(shown: Iterable[Drawn]) -> float:
    """How far the one scale of several bars reaches."""
    return reach_for(ratio for one in shown for ratio in (one.ratio, one.low, one.high, one.worthwhile))


def bar_of(one: Drawn, reach: float) -> Bar:
    """One bar on a scale from 1/reach to reach; no drawing where nothing is known."""
    figures = figures_text(one.ratio, one.low, one.high)
    left, right = (side_words(one.factor, name, one.kind) for name in (one.second, one.first))
    if one.ratio is None and one.low is None and one.high is None:
        return Bar(left, right, figures, Markup(""))
    names = {"title": one.title, "first": one.first, "second": one.second, "worthwhile": ratio_text(one.worthwhile)}
    label = Reason("own_answer.bar", figures=figures, **names)
    inside = "".join([_ground(one.worthwhile, reach), _ticks(reach), _interval(one, reach)])
    size = f'viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
    return Bar(left, right, figures, Markup(f'<svg class="answer-bar" {size} role="img" aria-label="{plain(label)}">{inside}</svg>'))


def _ground(worthwhile: float, reach: float) -> str:
    """The band of differences not worth acting on, its edges with their ratios, and the line of no difference."""
    low, high, middle = (f"{place(ratio, reach):.1f}" for ratio in (1 / worthwhile, worthwhile, 1.0))
    edges = "".join(
        f'<line class="bar-worth" x1="{x}" y1="{TOP}" x2="{x}" y2="{FLOOR}"/>'
        f'<text x="{x}" y="{TOP - 5}" text-anchor="{anchor}">{ratio_text(ratio)}</text>'
        for x, anchor, ratio in ((low, "end", 1 / worthwhile), (high, "start", worthwhile))
    )
    return (
        f'<rect class="bar-band" x="{low}" y="{TOP}" width="{float(high) - float(low):.1f}" height="{FLOOR - TOP}"/>{edges}'
        f'<line class="bar-one" x1="{middle}" y1="{TOP}" x2="{middle}" y2="{FLOOR}"/>'
    )


def _ticks(reach: float) -> str:
    """The scale itself; the outer words stand inside the drawing's edges."""
    parts = [f'<line class="bar-axis" x1="{MARGIN}" y1="{FLOOR}" x2="{WIDTH - MARGIN}" y2="{FLOOR}"/>']
    for ratio in TICKS[reach]:
        x = place(ratio, reach)
        at, anchor = {1 / reach: (0.0, "start"), reach: (float(WIDTH), "end")}.get(ratio, (x, "middle"))
        word = Reason("own_answer.no_difference") if ratio == 1 else tick_word(ratio)
        parts.append(f'<line class="bar-tick" x1="{x:.1f}" y1="{FLOOR}" x2="{x:.1f}" y2="{FLOOR + 4}"/>')
        parts.append(f'<text x="{at:.1f}" y="{FLOOR + 16}" text-anchor="{anchor}">{word}</text>')
    return "".join(parts)


def _interval(one: Drawn, reach: float) -> str:
    """The interval, with an arrow head at an end that is open or beyond the scale, and the ratio's mark."""
    low, high = (place(reach**way if end is None else end, reach) for end, way in ((one.low, -1), (one.high, 1)))
    drawn = f'<line class="bar-interval" x1="{low:.1f}" y1="{MIDDLE}" x2="{high:.1f}" y2="{MIDDLE}"/>'
    if one.low is None or one.low < 1 / reach:
        drawn += f'<path class="bar-head" d="M{low:.1f} {MIDDLE}l6 -4v8z"/>'
    if one.high is None or one.high > reach:
        drawn += f'<path class="bar-head" d="M{high:.1f} {MIDDLE}l-6 -4v8z"/>'
    if one.ratio is None:
        return drawn
    return f'{drawn}<rect class="bar-mark" x="{place(one.ratio, reach) - 3.5:.1f}" y="{MIDDLE - 3.5:g}" width="7" height="7"/>'
