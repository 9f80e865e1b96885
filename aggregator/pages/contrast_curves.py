"""Two steels' curves against each other: the ratio along the work and along the sharpness they share, with both bands."""

from __future__ import annotations

from functools import lru_cache

from markupsafe import Markup

from aggregator.bundle.analysis import BandPoint, CurveComparison
from aggregator.bundle.model import Pool

from .curves import COLOURS, framed, styled, tidied, work_title
from .text import plain, visible

TICKS = (0.1, 0.125, 0.25, 0.33, 0.5, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.4, 2, 3, 4, 8, 10)
FURTHEST = 10.0  # ratios beyond this and its inverse are cut off, or one wide end would flatten all the rest
SHARPNESS_TICKS = (0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.2, 1.5, 2)


def same_work(pool: Pool, found: CurveComparison) -> Markup:
    """How much sharper the first is, against the work done; empty where there is nothing."""
    return _chart(pool, found, found.same_work, "work", f"Sharpness of {found.first} against {found.second} at the same work")


def same_sharpness(pool: Pool, found: CurveComparison) -> Markup:
    """How much more work the first takes, against the sharpness both fall to; empty where there is nothing."""
    told = f"Work that {found.first} takes against {found.second} to the same sharpness"
    return _chart(pool, found, found.same_sharpness, "sharpness", told)


def _chart(pool: Pool, found: CurveComparison, points: tuple[BandPoint, ...], axis: str, shows: str) -> Markup:
    drawn = tuple((p.at, p.ratio, p.low, p.high, p.band_low, p.band_high) for p in points if p.ratio > 0)
    if len(drawn) < 2:
        return Markup("")
    simulated = pool.origin == "simulated"
    label = plain(("Simulated. " if simulated else "") + f"{shows}. {found.sentence}")
    return framed(label, lambda narrow: _draw(drawn, axis, visible(pool.work_unit), simulated, narrow))


@lru_cache(maxsize=512)
def _draw(points: tuple[tuple[float | None, ...], ...], axis: str, unit: str, simulated: bool, narrow: bool) -> str:
    import vl_convert  # slow to load, and only needed where there are curves

    drawn = vl_convert.vegalite_to_svg(_specification(points, axis, unit, simulated, narrow))
    return tidied(drawn, f"{axis}-{'n' if narrow else 'w'}")


def _specification(points: tuple[tuple[float | None, ...], ...], axis: str, unit: str, simulated: bool, narrow: bool) -> dict[str, object]:
    import altair

    bottom, top = _limits(points)
    data = [
        {"at": at, "ratio": ratio, **{k: min(max(v, bottom), top) for k, v in _ends(low, high, band_low, band_high, bottom, top).items()}}
        for at, ratio, low, high, band_low, band_high in points
    ]
    titled = f"ratio of {'sharpness' if axis == 'work' else 'work'}"
    x = _work_axis(altair, data, unit) if axis == "work" else _sharpness_axis(altair)
    scale = altair.Scale(type="log", domain=[bottom, top], nice=False)
    y = altair.Y("ratio:Q", title=titled, scale=scale, axis=altair.Axis(values=_ticks(bottom, top), format="~g"))
    base = altair.Chart(altair.Data(values=data))
    band = base.mark_area(color=COLOURS[0], opacity=0.14).encode(x=x, y=altair.Y("band_low:Q", scale=scale), y2="band_high:Q")
    pointwise = base.mark_area(color=COLOURS[0], opacity=0.26).encode(x=x, y=altair.Y("low:Q", scale=scale), y2="high:Q")
    one = altair.Chart(altair.Data(values=[{"one": 1}])).mark_rule(color="currentColor", strokeDash=[4, 3]).encode(y="one:Q")
    line = base.mark_line(color=COLOURS[0], strokeWidth=2.5).encode(x=x, y=y)
    point = base.mark_point(color=COLOURS[0], filled=True, size=36, opacity=1).encode(x=x, y=y)
    chart = altair.layer(band, pointwise, one, line, point)
    return styled(chart.properties(width=290 if narrow else 640, height=220 if narrow else 240), simulated)


def _ends(low: float | None, high: float | None, band_low: float | None, band_high: float | None, bottom: float, top: float):
    """The four limits by name; one that is unbounded goes to the edge of the drawing."""
    return {"low": low or bottom, "high": high or top, "band_low": band_low or bottom, "band_high": band_high or top}


def _limits(points: tuple[tuple[float | None, ...], ...]) -> tuple[float, float]:
    """Lower and upper edge of the drawing: what there is and a little room, always with ×1 inside."""
    known = [v for _, *values in points for v in values if v]
    return max(min(*known, 1.0) / 1.05, 1 / FURTHEST), min(max(*known, 1.0) * 1.05, FURTHEST)


def _ticks(bottom: float, top: float) -> list[float]:
    inside = [t for t in TICKS if bottom <= t <= top]
    return inside if len(inside) <= 7 else [t for t in inside if t in (0.1, 0.25, 0.5, 0.7, 1, 1.4, 2, 4, 10)]


def _work_axis(altair, data: list[dict[str, float]], unit: str):
    works = sorted(row["at"] for row in data)
    first = next((w for w in works if w > 0), 1.0)
    scale = altair.Scale(type="symlog", constant=first, domain=[works[0], works[-1]], nice=False)
    labels = altair.Axis(values=works, labelExpr="datum.value", grid=False, labelOverlap="greedy")
    return altair.X("at:Q", title=work_title(unit), scale=scale, axis=labels)


def _sharpness_axis(altair):
    scale = altair.Scale(type="log", nice=False, reverse=True)
    labels = altair.Axis(values=list(SHARPNESS_TICKS), format="~g", grid=False, labelOverlap="greedy")
    return altair.X("at:Q", title="sharpness both share, × the mean at the start", scale=scale, axis=labels)
