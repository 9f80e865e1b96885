"""Two steels' curves against each other: the ratio along the work and along the sharpness they share, with both bands."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup

from edgehold.results.model.analyses import BandPoint, CurveComparison
from edgehold.results.model.results import Pool
from edgehold.words import Reason, together

from .curves import COLOURS, finished, framed, tidied, work_title
from .drawings import svg_of
from .safe_text import plain, visible

TICKS = (0.1, 0.125, 0.25, 0.33, 0.5, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.4, 2, 3, 4, 8, 10)
FURTHEST = 10.0  # ratios beyond this and its inverse are cut off, or one wide end would flatten all the rest
SHARPNESS_TICKS = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.2, 1.5, 2)


Point = tuple[float, float, float | None, float | None, float | None, float | None]
"""Place, ratio, its low and high limit, low and high of the band."""


@dataclass(frozen=True)
class _View:
    """What one drawing holds: places with ratio, low, high, low and high of the band; the kind of axis; where readings are taken."""

    points: tuple[Point, ...]
    axis: str
    read_at: tuple[float, ...]
    unit: str
    simulated: bool


def same_work(pool: Pool, found: CurveComparison) -> Markup:
    """How much sharper the first is, against the work done; empty where there is nothing."""
    return _chart(pool, found, found.same_work, "work", Reason("pages.same_work", first=found.first, second=found.second))


def same_sharpness(pool: Pool, found: CurveComparison) -> Markup:
    """How much more work the first takes, against the sharpness both fall to; empty where there is nothing."""
    told = Reason("pages.same_sharpness", first=found.first, second=found.second)
    return _chart(pool, found, found.same_sharpness, "sharpness", told)


def specifications(pool: Pool) -> list[dict[str, object]]:
    """What is drawn of all pairs of curves of the pool."""
    both = [drawn for one in pool.curve_comparisons for drawn in ((one.same_work, "work"), (one.same_sharpness, "sharpness"))]
    views = [_view(pool, *drawn) for drawn in both]
    return [_specification(view, narrow) for view in views if view is not None for narrow in (False, True)]


def _view(pool: Pool, points: tuple[BandPoint, ...], axis: str) -> _View | None:
    """What a drawing holds; None where there is nothing to draw."""
    drawn = tuple((p.at, p.ratio, p.low, p.high, p.band_low, p.band_high) for p in points if p.ratio > 0)
    if len(drawn) < 2:
        return None
    read_at = tuple(sorted({p.work for curve in pool.curves for p in curve.points}))
    return _View(drawn, axis, read_at, visible(pool.work_unit), pool.origin == "simulated")


def _chart(pool: Pool, found: CurveComparison, points: tuple[BandPoint, ...], axis: str, shows: str) -> Markup:
    view = _view(pool, points, axis)
    if view is None:
        return Markup("")
    label = plain(together(Reason("pages.simulated") if view.simulated else "", shows, found.sentence))
    return framed(label, lambda narrow: _draw(view, narrow))


@lru_cache(maxsize=512)
def _draw(view: _View, narrow: bool) -> str:
    drawn = svg_of(_specification(view, narrow))
    return tidied(drawn, f"{view.axis}-{'n' if narrow else 'w'}")


def _specification(view: _View, narrow: bool) -> dict[str, object]:
    """The drawing in the open grammar of Vega-Lite; written out, because a pool of many steels has hundreds of them."""
    bottom, top = _limits(view.points)
    places = [
        {"at": at, "ratio": ratio, **_inside((low, high, band_low, band_high), bottom, top)}
        for at, ratio, low, high, band_low, band_high in view.points
    ]
    x = _work_axis(view) if view.axis == "work" else _sharpness_axis()
    scale: dict[str, object] = {"type": "log", "domain": [bottom, top], "nice": False}
    title = Reason(f"pages.axis_ratio_of_{'sharpness' if view.axis == 'work' else 'work'}")
    ticks = {"values": _ticks(bottom, top), "format": "~g"}
    y: dict[str, object] = {"type": "quantitative", "scale": scale, "title": title, "axis": ticks}
    layers = [
        _layer({"type": "area", "opacity": 0.16}, x, y | {"field": "band_low"}, "band_high"),
        _layer({"type": "area", "opacity": 0.24}, x, y | {"field": "low"}, "high"),
        {
            "data": {"values": [{}]},
            "mark": {"type": "rule", "color": "currentColor", "strokeDash": [4, 3]},
            "encoding": {"y": y | {"datum": 1}},
        },
        _layer({"type": "line", "strokeWidth": 2.5, "clip": True}, x, y | {"field": "ratio"}),
    ]
    size = {"width": 290, "height": 220} if narrow else {"width": 640, "height": 240}
    return finished({"data": {"values": places}, "layer": layers, **size}, view.simulated)


def _layer(mark: dict[str, object], x: dict[str, object], y: dict[str, object], to: str = "") -> dict[str, object]:
    encoding = {"x": x, "y": y} | ({"y2": {"field": to}} if to else {})
    return {"mark": mark | {"color": COLOURS[0]}, "encoding": encoding}


def _inside(limits: tuple[float | None, ...], bottom: float, top: float) -> dict[str, float]:
    """The four limits by name, cut at the edges of the drawing; one that is unbounded goes to its edge."""
    named = zip(("low", "high", "band_low", "band_high"), limits, (bottom, top, bottom, top), strict=True)
    return {name: min(max(limit or edge, bottom), top) for name, limit, edge in named}


def _limits(points: tuple[Point, ...]) -> tuple[float, float]:
    """Lower and upper edge of the drawing: what there is and a little room, always with ×1 inside."""
    known = [v for _, *values in points for v in values if v]
    return max(min(*known, 1.0) / 1.05, 1 / FURTHEST), min(max(*known, 1.0) * 1.05, FURTHEST)


def _ticks(bottom: float, top: float) -> list[float]:
    inside = [t for t in TICKS if bottom <= t <= top]
    return inside if len(inside) <= 7 else [t for t in inside if t in (0.1, 0.25, 0.5, 0.7, 1, 1.4, 2, 4, 10)]


def _work_axis(view: _View) -> dict[str, object]:
    """Work as on the drawing of all curves, marked where readings are taken."""
    start, end = view.points[0][0], view.points[-1][0]
    first = next((w for w in view.read_at if w > 0), 1.0)
    marks = [w for w in view.read_at if start <= w <= end]
    scale = {"type": "symlog", "constant": first, "domain": [start, end], "nice": False}
    return _axis(work_title(view.unit), scale, {"values": marks, "labelExpr": "datum.value"})


def _sharpness_axis() -> dict[str, object]:
    scale = {"type": "log", "nice": False, "reverse": True}
    return _axis(Reason("pages.shared_sharpness_axis"), scale, {"values": list(SHARPNESS_TICKS), "format": "~g"})


def _axis(title: str, scale: dict[str, object], marks: dict[str, object]) -> dict[str, object]:
    lines = marks | {"grid": False, "labelOverlap": "greedy"}
    return {"field": "at", "type": "quantitative", "title": title, "scale": scale, "axis": lines}
