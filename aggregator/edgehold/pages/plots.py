"""Drawn plots of ratios, row by row, on one logarithmic axis: the common look, and the drawing of it.

Every plot is written as SVG by hand, in two layouts of which the style sheet shows one: wide, a row a line of text with the bar in the
middle; narrow, for telephones, with the text above the bar. Colours come from the style sheet by class, so that they follow light and
dark; so whoever draws such a plot elsewhere (a script, say) gets the same look by the same classes:

=====================  ==================================================================================================
``figure.plot``        the frame. ``data-file`` names the downloads; a ``figcaption`` says how to read the drawing; the buttons
                       in ``.plot-downloads`` are shown by ``assets/plots/main.js``
``svg.plot-wide``      the drawing for wide windows, and for downloads; ``svg.plot-narrow`` the one for narrow ones.
                       Both have ``role="img"``, an ``aria-label`` and a ``desc``
``.plot-label``        name of a row; ``.plot-more`` what else is told of it
``.plot-figure``       its numbers
``.plot-pooled``       a row that is pooled: its numbers are strong, its mark a diamond
``.plot-tick``         word at a mark of the axis; ``.plot-direction`` what lies at either end of the axis
``.plot-grid``         line through all rows at a mark; ``.plot-one`` the one at ×1, no difference; ``.plot-axis`` the axis
``.plot-band``         ground of ratios not worth acting on; ``.plot-worth`` its two borders, the worthwhile ratio either way
``.plot-interval``     line of a row's interval; ``.plot-prediction`` thin line of a prediction; ``.plot-head`` an arrow head:
                       it goes on beyond the drawing
``.plot-square``       a row's ratio, the area in proportion to its weight; ``.plot-unweighted`` where it has no weight
``.plot-diamond``      a pooled ratio: its tips are the ends of the interval
=====================  ==================================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from markupsafe import Markup

from edgehold.results.model.ratio import RatioInterval
from edgehold.results.words.ratio_scale import tick_word
from edgehold.words import Reason

from .formatting import percent
from .safe_text import plain, visible

LARGEST_SQUARE, UNWEIGHTED_SQUARE = 15.0, 6.0  # sides, in units of the drawing
DIAMOND = 13.0  # height
AROUND = 1.04  # room at both ends of the axis, as a ratio
BEYOND = 2.5  # how far beyond the outermost ratio the axis follows intervals; what goes on is cut, with an arrow head
OUTERMOST = 1000.0
LINE, SECOND = 18, 15  # between two lines of words; between two of one label
EDGE = 15.0  # half the width of a word at a mark
TICKS_EVERY = 8  # rows; in the narrow layout so many fill a telephone
STRONG = 1.12  # how much wider numbers of a pooled row are
CHARACTER = 6.9  # width of an average character at the size of the drawing's text, for lines that must fit
TICKS: tuple[tuple[float, ...], ...] = (
    (0.8, 0.85, 0.9, 0.95, 1, 1.05, 1.1, 1.15, 1.2, 1.25),
    (0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.6, 1.8, 2),
    (0.4, 0.5, 0.65, 0.8, 1, 1.25, 1.5, 2, 2.5),
    (0.25, 0.35, 0.5, 0.7, 1, 1.4, 2, 3, 4),
    (0.0625, 0.125, 0.25, 0.5, 1, 2, 4, 8, 16),
    (1 / 64, 0.0625, 0.25, 1, 4, 16, 64),
    (0.001, 0.01, 0.1, 1, 10, 100, 1000),
)


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes
    ----------
    label : its name; ``second`` is a second line of it, and ``more`` stands behind it where there is room.
    figure : its numbers in words; ``weight`` in percent beside them where there is room.
    result : the ratio with its interval; null where only a bound is known.
    bound : for such a row which side is known, and ``bound_ratio`` the bound.
    thin : a wider interval behind it, such as a prediction.
    pooled : whether it is a result of several.
    """

    label: str
    figure: str
    result: RatioInterval | None
    more: str = ""
    second: str = ""
    bound: Literal["at least", "at most"] | None = None
    bound_ratio: float | None = None
    thin: RatioInterval | None = None
    weight: float | None = None
    pooled: bool = False

    def ratios(self) -> tuple[float, ...]:
        """What has to be inside the axis whatever else is cut."""
        of_pooled = (self.result.low, self.result.high) if self.pooled and self.result is not None else ()
        return tuple(r for r in (self.result.ratio if self.result is not None else self.bound_ratio, *of_pooled) if r)

    def ends(self) -> tuple[float, ...]:
        """Ends of its intervals, as far as they are bounded."""
        return tuple(end for of in (self.result, self.thin) if of is not None for end in (of.low, of.high) if end)


@dataclass(frozen=True)
class Plot:
    """A plot: what it shows in a line, how much in a few words, its rows, the worthwhile ratio, and what lies at either end."""

    name: str
    shows: str
    tells: str
    rows: tuple[Row, ...]
    worthwhile: float
    below: str
    above: str
    simulated: bool


@dataclass(frozen=True)
class _Layout:
    """Measures of one drawing: its width, the axis from ``left`` to ``right``, height of a row, where in a row bar and text stand and
    numbers and weight end; and whether the text stands above the bar."""

    name: str
    width: int
    left: int
    right: int
    row: int
    bar: int
    text: int
    figure: int
    weight: int
    stacked: bool


WIDE = _Layout("wide", 784, 236, 506, 26, 13, 18, 700, 780, False)
NARROW = _Layout("narrow", 340, 6, 334, 44, 31, 15, 340, 340, True)


@dataclass(frozen=True)
class Axis:
    """A logarithmic axis from ``low`` to ``high`` between two places of a drawing."""

    low: float
    high: float
    left: float
    right: float

    def x(self, ratio: float | None, unbounded: float = 1.0) -> float:
        """Place of a ratio, cut to the ends; of ``unbounded`` where there is none."""
        inside = min(max(ratio or unbounded, self.low), self.high)
        return self.left + (self.right - self.left) * math.log(inside / self.low) / math.log(self.high / self.low)

    def ticks(self) -> list[float]:
        """Round ratios along it: as many as leave each its room."""
        room = 5.2 * CHARACTER
        for ratios in TICKS:
            inside = [r for r in ratios if self.low <= r <= self.high]
            places = [self.x(r) for r in inside]
            spans = ratios[0] <= self.low * 1.25 and ratios[-1] >= self.high / 1.25
            if spans and len(inside) > 1 and all(b - a >= room for a, b in pairwise(places)):
                return inside
        return [1.0]


def axis(rows: Iterable[Row], worthwhile: float, left: float, right: float) -> Axis:
    """The axis that holds every ratio, the pooled intervals, ×1 and the worthwhile ratio either way."""
    seen = tuple(rows)
    needed = [1.0, worthwhile, 1 / worthwhile, *(r for row in seen for r in row.ratios())]
    ends = [end for row in seen for end in row.ends()]
    low = max(min([*needed, *ends]), min(needed) / BEYOND, 1 / OUTERMOST)
    high = min(max([*needed, *ends]), max(needed) * BEYOND, OUTERMOST)
    return Axis(low / AROUND, high * AROUND, left, right)


def drawn(plot: Plot) -> Markup:
    """The plot in both layouts; empty where it has no rows."""
    if not plot.rows:
        return Markup("")
    return Markup(f'<div class="plot-drawing">{"".join(_drawing(plot, layout) for layout in (WIDE, NARROW))}</div>')


def _drawing(plot: Plot, layout: _Layout) -> Markup:
    on = axis(plot.rows, plot.worthwhile, layout.left, layout.right)
    ticks, heaviest = on.ticks(), max((row.weight or 0.0 for row in plot.rows), default=0.0)
    y, parts = _directions(plot, layout)
    first, text = y, list(_tick_words(on, layout, ticks, y + 14))
    if heaviest and not layout.stacked:
        text.append(_text("plot-tick", layout.weight, y + 14, Reason("plots.weight"), "end"))
    y += 20
    for n, row in enumerate(plot.rows):
        if layout.stacked and n and n % TICKS_EVERY == 0:
            text += _tick_words(on, layout, ticks, y + 14)
            y += 20
        text.append(_row(row, on, layout, y, heaviest))
        y += layout.row + _lines(row, layout)[0]
    ground = _ground(plot, on, ticks, first + 20, y)
    text += _tick_words(on, layout, ticks, y + 18)
    height = y + 26
    label = plain(f"{Reason('pages.simulated')} {plot.shows}" if plot.simulated else plot.shows)
    told = f"{plot.name}-{layout.name}"
    return Markup(
        f'<svg class="plot-{layout.name}" viewBox="0 0 {layout.width} {height}" role="img" aria-label="{label}" aria-describedby="{told}" '
        f'focusable="false"><desc id="{told}">{plain(plot.tells)}</desc>{"".join((*parts, ground, *text))}</svg>'
    )


def _directions(plot: Plot, layout: _Layout) -> tuple[int, list[str]]:
    """The words above the axis, and where what is below them begins: what lies at either end, in one line where both fit, else in two."""
    room = int((layout.right if layout.stacked else layout.width - layout.left) / CHARACTER)
    below, above = _cut(f"← {visible(plot.below)}", room), _cut(f"{visible(plot.above)} →", room, tail=2)
    y, words = 14, []
    if plot.simulated:
        words.append(_text("plot-mark", 0, y, Reason("plots.simulated")))
        y += LINE
    words.append(_text("plot-direction", layout.left, y, below))
    y += LINE if (len(below) + len(above) + 2) * CHARACTER > layout.right - layout.left else 0
    words.append(_text("plot-direction", layout.right, y, above, "end"))
    return y + 6, words


def _cut(words: str, room: int, tail: int = 0) -> str:
    """``words`` with what is too long left out before the last ``tail`` characters."""
    return words if len(words) <= room else words[: room - tail - 1].rstrip() + "…" + words[len(words) - tail :]


def _text(css: str, x: float, y: float, words: str, anchor: str = "") -> str:
    placed = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text class="{css}" x="{x:g}" y="{y:g}"{placed}>{plain(words)}</text>'


def _tick_words(on: Axis, layout: _Layout, ticks: list[float], y: float) -> Iterator[str]:
    """Words at the marks; one at the drawing's own edge stands inside it."""
    for tick in ticks:
        x = round(on.x(tick), 1)
        at_edge = ("end", layout.width) if x > layout.width - EDGE else ("start", 0) if x < EDGE else ("middle", x)
        yield _text("plot-tick", at_edge[1], y, tick_word(tick), at_edge[0])


def _ground(plot: Plot, on: Axis, ticks: list[float], top: float, bottom: float) -> str:
    low, high = on.x(1 / plot.worthwhile), on.x(plot.worthwhile)
    band = f'<rect class="plot-band" x="{low:.1f}" y="{top}" width="{high - low:.1f}" height="{bottom - top}"/>'
    marks = "".join(_upright("plot-one" if t == 1 else "plot-grid", on.x(t), top, bottom + 4) for t in ticks)
    borders = _upright("plot-worth", low, top, bottom) + _upright("plot-worth", high, top, bottom)
    return f'{band}{marks}{borders}<line class="plot-axis" x1="{on.left:g}" y1="{bottom}" x2="{on.right:g}" y2="{bottom}"/>'


def _upright(css: str, x: float, top: float, bottom: float) -> str:
    return f'<line class="{css}" x1="{x:.1f}" y1="{top}" x2="{x:.1f}" y2="{bottom}"/>'


def _lines(row: Row, layout: _Layout) -> tuple[int, float]:
    """By how much a row is higher than one of a single line, and how far its numbers stand below its first line."""
    if not layout.stacked:
        return (SECOND, SECOND / 2) if row.second else (0, 0)
    if not row.second:
        return 0, 0
    for n, label in enumerate((row.label, row.second)):
        if (len(label) + STRONG * len(row.figure) + 2) * CHARACTER <= layout.width:
            return SECOND, n * SECOND
    return 2 * SECOND, 2 * SECOND


def _row(row: Row, on: Axis, layout: _Layout, y: float, heaviest: float) -> str:
    higher, lower = _lines(row, layout)
    words = _label(row, layout, y + layout.text) + _text("plot-figure", layout.figure, y + layout.text + lower, row.figure, "end")
    if row.weight is not None and not layout.stacked:
        words += _text("plot-figure", layout.weight, y + layout.text + lower, percent(row.weight), "end")
    marks = _marks(row, on, y + layout.bar + (higher if layout.stacked else lower), heaviest)
    return f'<g class="plot-row{" plot-pooled" if row.pooled else ""}">{words}{marks}</g>'


def _label(row: Row, layout: _Layout, y: float) -> str:
    """A row's name in one line or two, cut to its room, and what else is told of it where that fits."""
    room = int((layout.figure if layout.stacked else layout.left) / CHARACTER)
    beside = room - round(STRONG * len(row.figure)) - 1 if layout.stacked and not row.second else room
    label, more = _cut(visible(row.label), max(beside, 6)), visible(row.more)
    told = f'<tspan class="plot-more"> · {plain(more)}</tspan>' if more and len(label) + len(more) + 3 <= beside else ""
    second = _text("plot-label", 0, y + SECOND, _cut(visible(row.second), room)) if row.second else ""
    return f'<text class="plot-label" x="0" y="{y:g}">{plain(label)}{told}</text>{second}'


def _marks(row: Row, on: Axis, middle: float, heaviest: float) -> str:
    thin = _interval("plot-prediction", row.thin, on, middle) if row.thin is not None else ""
    if row.result is None:
        return thin + (_one_sided(row, on, middle) if row.bound and row.bound_ratio else "")
    if row.pooled:
        return thin + _diamond(row.result, on, middle)
    return thin + _interval("plot-interval", row.result, on, middle) + _square(row, on.x(row.result.ratio), middle, heaviest)


def _square(row: Row, x: float, middle: float, heaviest: float) -> str:
    """Area in proportion to the weight; the heaviest of the plot is the largest."""
    weighted = row.weight is not None and heaviest > 0
    side = LARGEST_SQUARE * math.sqrt((row.weight or 0) / heaviest) if weighted else UNWEIGHTED_SQUARE
    css = "plot-square" if weighted else "plot-square plot-unweighted"
    return f'<rect class="{css}" x="{x - side / 2:.2f}" y="{middle - side / 2:.2f}" width="{side:.2f}" height="{side:.2f}"/>'


def _diamond(result: RatioInterval, on: Axis, middle: float) -> str:
    low, high, x, up = on.x(result.low, on.low), on.x(result.high, on.high), on.x(result.ratio), DIAMOND / 2
    tips = f"M{low:.1f} {middle:g}L{x:.1f} {middle - up:g}L{high:.1f} {middle:g}L{x:.1f} {middle + up:g}z"
    return f'<path class="plot-diamond" d="{tips}"/>{_heads(result, on, middle)}'


def _interval(css: str, result: RatioInterval, on: Axis, middle: float) -> str:
    low, high = on.x(result.low, on.low), on.x(result.high, on.high)
    return f'<line class="{css}" x1="{low:.1f}" y1="{middle:g}" x2="{high:.1f}" y2="{middle:g}"/>{_heads(result, on, middle)}'


def _heads(result: RatioInterval, on: Axis, middle: float) -> str:
    beyond_low = not result.low or result.low < on.low
    beyond_high = result.high is None or result.high > on.high
    return (_head(on.left, middle, 6) if beyond_low else "") + (_head(on.right, middle, -6) if beyond_high else "")


def _head(x: float, middle: float, back: int) -> str:
    return f'<path class="plot-head" d="M{x:g} {middle:g}l{back} -4v8z"/>'


def _one_sided(row: Row, on: Axis, middle: float) -> str:
    """An arrow from a foot at the bound."""
    foot, end, back = on.x(row.bound_ratio), *((on.right, -6) if row.bound == "at least" else (on.left, 6))
    line = f'<line class="plot-interval" x1="{foot:.1f}" y1="{middle:g}" x2="{end:g}" y2="{middle:g}"/>'
    return line + _upright("plot-interval", foot, middle - 5, middle + 5) + _head(end, middle, back)
