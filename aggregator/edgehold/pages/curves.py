"""Curves of sharpness against work, as static drawings in two widths that follow light and dark by themselves."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from markupsafe import Markup

from edgehold.records.units import plural
from edgehold.results.model.results import Pool
from edgehold.words import Reason, together

from .safe_text import plain, visible

COLOURS = tuple(f"var(--chart-{n})" for n in range(1, 7))
DASHES = ((1, 0), (6, 3), (2, 2), (8, 3, 2, 3), (10, 2), (3, 4))
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', 'Noto Sans', sans-serif"

Row = tuple[str, float, float, float | None, float | None, int]
"""Steel, work, ratio, its low and high limit, runs."""

CONFIG = {
    "aria": False,
    "background": "transparent",
    "font": FONT,
    "view": {"stroke": None},
    "axis": {
        "labelColor": "currentColor",
        "titleColor": "currentColor",
        "domainColor": "currentColor",
        "tickColor": "currentColor",
        "gridColor": "currentColor",
        "gridOpacity": 0.15,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
    },
    "legend": {"labelColor": "currentColor", "labelFontSize": 12},
    "title": {"color": "currentColor", "fontSize": 12, "fontWeight": "bold", "anchor": "start"},
}


def curves(pool: Pool, finding: str) -> Markup:
    """The pool's curves, wide and narrow; empty where there are none. ``finding`` is what the drawing shows, in words."""
    rows = tuple((curve.steel, p.work, p.ratio, p.low, p.high, p.runs) for curve in pool.curves for p in curve.points if p.ratio > 0)
    if not rows:
        return Markup("")
    simulated = pool.origin == "simulated"
    label = plain(together(Reason("pages.simulated") if simulated else "", finding))
    return framed(label, lambda narrow: _draw(rows, visible(pool.work_unit), simulated, narrow))


def framed(label: str, draw: Callable[[bool], str]) -> Markup:
    """A drawing made wide and narrow, each in a frame that says what it shows; the style sheet shows one of them."""
    drawn = "".join(
        f'<div class="chart chart-{name}" role="img" aria-label="{label}">{draw(name == "narrow")}</div>' for name in ("wide", "narrow")
    )
    return Markup(drawn)


def work_title(unit: str) -> str:
    """The name of the axis of work."""
    return Reason("pages.axis_work", units=plural(unit))


@lru_cache(maxsize=64)
def _draw(rows: tuple[Row, ...], unit: str, simulated: bool, narrow: bool) -> str:
    import vl_convert  # slow to load, and only needed where there are curves

    drawn = vl_convert.vegalite_to_svg(_specification(rows, unit, simulated, narrow))
    return tidied(drawn, "n" if narrow else "w")


def _specification(rows: tuple[Row, ...], unit: str, simulated: bool, narrow: bool) -> dict[str, object]:
    import altair

    steels = sorted({row[0] for row in rows})
    works = sorted({row[1] for row in rows})
    runs = {steel: max(row[5] for row in rows if row[0] == steel) for steel in steels}
    names = {steel: f"{visible(steel)}, n = {runs[steel]}" for steel in steels}
    data = [{"steel": names[s], "work": w, "ratio": r, "low": low or r, "high": high or r} for s, w, r, low, high, _ in rows]
    first = next((w for w in works if w > 0), 1.0)
    order = [names[s] for s in steels]
    colour = altair.Color(
        "steel:N",
        scale=altair.Scale(domain=order, range=[COLOURS[i % 6] for i in range(len(order))]),
        legend=altair.Legend(title=None, orient="top", columns=1 if narrow else 2, symbolOpacity=1, columnPadding=52, labelLimit=260),
    )
    dash = altair.StrokeDash(
        "steel:N", scale=altair.Scale(domain=order, range=[list(DASHES[i % 6]) for i in range(len(order))]), legend=None
    )
    shape = altair.Shape("steel:N", scale=altair.Scale(domain=order, range=[SHAPES[i % 6] for i in range(len(order))]))
    x = altair.X(
        "work:Q",
        title=work_title(unit),
        scale=altair.Scale(type="symlog", constant=first, domain=[works[0], works[-1]], nice=False),
        axis=altair.Axis(values=works, labelExpr="datum.value", grid=False, labelOverlap="greedy"),
    )
    y = altair.Y(
        "ratio:Q",
        title=Reason("pages.axis_sharpness"),
        scale=altair.Scale(type="log", nice=False, padding=8),
        axis=altair.Axis(values=[0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2], format="~g"),
    )
    base = altair.Chart(altair.InlineData(values=data))
    band = base.mark_area(opacity=0.1).encode(x=x, y=altair.Y("low:Q"), y2="high:Q", color=colour)
    line = base.mark_line(strokeWidth=2).encode(x=x, y=y, color=colour, strokeDash=dash)
    point = base.mark_point(filled=True, size=40, opacity=1).encode(x=x, y=y, color=colour, shape=shape)
    chart = altair.layer(band, line, point).properties(width=290 if narrow else 640, height=260 if narrow else 320)
    return finished(chart.to_dict(), simulated)


def finished(specification: dict[str, object], simulated: bool) -> dict[str, object]:
    """A drawing with the site's letters and lines, and "simulated" in its title where it is."""
    return specification | {"config": CONFIG} | ({"title": Reason("pages.demonstration")} if simulated else {})


def tidied(svg: str, prefix: str) -> str:
    """Without inline styles (the policy forbids them) and roles (the label stands on the frame), with ids of its own."""
    svg = re.sub(r'\s(?:style|role|aria-[a-z]+)="[^"]*"', "", svg)
    svg = re.sub(r'\b(id=")|url\(#', lambda m: f'id="{prefix}-' if m.group(1) else f"url(#{prefix}-", svg)
    return svg.replace("<svg ", '<svg focusable="false" ', 1)
