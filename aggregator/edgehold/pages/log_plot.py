"""How the leading answer of a pool moved, as one plot: months along, the ratio up, a panel an endpoint.

Drawn with Vega-Lite: there is one such plot a pool, while the forest plots (``plots.py``) are hundreds.
"""

from __future__ import annotations

from markupsafe import Markup

from edgehold.results.model.moves import CourseResult, Move, PoolLog
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason, listed, together

from .curves import COLOURS, finished, framed, tidied
from .drawings import svg_of
from .formatting import count, thing
from .plots import Axis, Row, axis
from .safe_text import plain, visible

PANEL = {"wide": (650, 190), "narrow": (285, 170)}
INK = "currentColor"
ROOM_FOR_A_MONTH = {"wide": 70, "narrow": 64}


def log_plot(log: PoolLog, courses: list[CourseResult]) -> Markup:
    """All courses of a pool in one drawing, wide and narrow; empty where none ever had a ratio."""
    drawn = [course for course in courses if _known(course)]
    if not drawn:
        return Markup("")
    simulated = log.origin == "simulated"
    shows = Reason("plots.log", title=log.title, endpoints=listed([course.title for course in drawn]))
    label = plain(together(Reason("pages.simulated") if simulated else "", shows))
    return framed(label, lambda narrow: _draw(drawn, simulated, "narrow" if narrow else "wide"))


def _known(course: CourseResult) -> list[tuple[Move, RatioInterval]]:
    return [(move, move.after.result) for move in course.moves if move.after.result is not None]


def _draw(courses: list[CourseResult], simulated: bool, layout: str) -> str:
    months = sorted({move.month for course in courses for move, _ in _known(course)})
    panels = [_panel(course, months, layout) for course in courses]
    specification = finished({"vconcat": panels, "spacing": 22}, simulated)
    return tidied(svg_of(specification), f"log-{layout}")


def _panel(course: CourseResult, months: list[str], layout: str) -> dict[str, object]:
    """One endpoint: the band not worth acting on with its borders, ×1, intervals, the way from month to month, and either direction."""
    width, height = PANEL[layout]
    known, w = _known(course), course.worthwhile_ratio
    on = axis([Row("", "", result) for _, result in known], w, 0, 1.4 * height)
    scale = {"type": "log", "domain": [on.low, on.high], "nice": False}
    ticks = {"values": on.ticks(), "format": "~g", "labelExpr": "'×' + datum.label"}
    y: dict[str, object] = {"type": "quantitative", "scale": scale, "title": None, "axis": ticks}
    x = _months(months, layout)
    at = {"x": x, "y": y | {"field": "ratio"}}
    layers: list[dict[str, object]] = [
        _band(y, w),
        *(_level(y, ratio, [3, 3], "var(--brass)") for ratio in (w, 1 / w)),
        _level(y, 1, [1, 0], INK),
        {"mark": _mark("rule", COLOURS[0], strokeWidth=2), "encoding": {"x": x, "y": y | {"field": "low"}, "y2": {"field": "high"}}},
        {"mark": _mark("line", INK, interpolate="step-after", strokeWidth=1.5, opacity=0.6), "encoding": at},
        {"mark": _mark("point", INK, filled=True, shape="diamond", size=90, opacity=1), "encoding": at},
        _words(Reason("plots.above", name=visible(thing(course, course.first))), width - 4, 12),
        _words(Reason("plots.below", name=visible(thing(course, course.second))), width - 4, height - 8),
    ]
    title = {"text": visible(course.title), "subtitle": _last(known[-1])}
    values = [_value(move, result, on) for move, result in known]
    return {"title": title, "width": width, "height": height, "data": {"values": values}, "layer": layers}


def _mark(kind: str, colour: str, **look: object) -> dict[str, object]:
    return {"type": kind, "color": colour} | look


def _band(y: dict[str, object], worthwhile: float) -> dict[str, object]:
    encoding = {"y": y | {"field": "low"}, "y2": {"field": "high"}}
    return {
        "data": {"values": [{"low": 1 / worthwhile, "high": worthwhile}]},
        "mark": _mark("rect", "var(--brass-ground)"),
        "encoding": encoding,
    }


def _months(months: list[str], layout: str) -> dict[str, object]:
    """Months as places of their own, so that each that brought something has its room; named as far as they fit."""
    every = -(-len(months) * ROOM_FOR_A_MONTH[layout] // PANEL[layout][0])
    axis_ = {"values": months[::-1][::every], "grid": False, "labelAngle": 0}
    return {"field": "month", "type": "ordinal", "title": None, "scale": {"domain": months}, "axis": axis_}


def _level(y: dict[str, object], ratio: float, dash: list[int], colour: str) -> dict[str, object]:
    return {"data": {"values": [{}]}, "mark": _mark("rule", colour, strokeDash=dash), "encoding": {"y": y | {"datum": ratio}}}


def _words(text: str, x: float, y: float) -> dict[str, object]:
    """What lies above ×1, or below it: on the right, where intervals are narrower."""
    return {"data": {"values": [{}]}, "mark": _mark("text", INK, align="right", fontSize=12, x=x, y=y, text=text)}


def _value(move: Move, result: RatioInterval, on: Axis) -> dict[str, object]:
    low, high = max(result.low or on.low, on.low), min(result.high or on.high, on.high)
    return {"month": move.month, "ratio": result.ratio, "low": low, "high": high}


def _last(known: tuple[Move, RatioInterval]) -> str:
    move, result = known
    return Reason("plots.last", ratio=ratio_text(result.ratio), month=move.month, submissions=count(move.after.submissions, "submission"))
