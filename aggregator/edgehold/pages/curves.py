"""Curves of sharpness against work, as static drawings in two widths that follow light and dark by themselves."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from markupsafe import Markup

from edgehold.records.units import plural
from edgehold.results.model.results import Pool
from edgehold.words import Reason, together

from .drawings import svg_of
from .safe_text import plain, visible

COLOURS = tuple(f"var(--chart-{n})" for n in range(1, 7))
READINGS = (0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2)
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
    "title": {"color": "currentColor", "subtitleColor": "currentColor", "fontSize": 12, "fontWeight": "bold", "anchor": "start"},
    "header": {"labelColor": "currentColor", "labelFontSize": 12, "labelFontWeight": "bold", "labelAnchor": "start", "labelPadding": 4},
}


def curves(pool: Pool, finding: str) -> Markup:
    """The pool's curves, wide and narrow; empty where there are none. ``finding`` is what the drawing shows, in words."""
    rows, simulated = _rows(pool), _simulated(pool)
    if not rows:
        return Markup("")
    label = plain(together(Reason("pages.simulated") if simulated else "", finding))
    return framed(label, lambda narrow: _draw(rows, visible(pool.work_unit), simulated, narrow))


def specifications(pool: Pool) -> list[dict[str, object]]:
    """What is drawn of the pool's curves."""
    rows = _rows(pool)
    return [_specification(rows, visible(pool.work_unit), _simulated(pool), narrow) for narrow in (False, True)] if rows else []


def _rows(pool: Pool) -> tuple[Row, ...]:
    return tuple((curve.steel, p.work, p.ratio, p.low, p.high, p.runs) for curve in pool.curves for p in curve.points if p.ratio > 0)


def _simulated(pool: Pool) -> bool:
    return pool.origin == "simulated"


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
    drawn = svg_of(_specification(rows, unit, simulated, narrow))
    return tidied(drawn, "n" if narrow else "w")


def _specification(rows: tuple[Row, ...], unit: str, simulated: bool, narrow: bool) -> dict[str, object]:
    """Small multiples: a panel a steel, with its curve, interval and number of runs, and the curves of all others behind it."""
    steels, works = sorted({row[0] for row in rows}), sorted({row[1] for row in rows})
    runs = {steel: max(row[5] for row in rows if row[0] == steel) for steel in steels}
    names = {steel: visible(steel) for steel in steels}
    data = [
        {"steel": names[steel], "n": f"n = {runs[steel]}", "own": steel == of, "of": names[of]}
        | {"work": w, "ratio": r, "low": low or r, "high": high or r}
        for steel in steels
        for of, w, r, low, high, _ in rows
    ]
    width, height, columns = (285, 92, 1) if narrow else (205, 130, min(3, len(steels)))
    first = next((w for w in works if w > 0), 1.0)
    x = {"field": "work", "type": "quantitative", "title": work_title(unit)} | {
        "scale": {"type": "symlog", "constant": first, "domain": [works[0], works[-1]], "nice": False},
        "axis": {"values": works, "labelExpr": "datum.value", "grid": False, "labelOverlap": "greedy"},
    }
    y = {"type": "quantitative", "title": None, "scale": {"type": "log", "nice": False, "padding": 6}} | {
        "axis": {"values": list(READINGS), "format": "~g", "labelOverlap": "greedy"}
    }
    own, ratio = [{"filter": "datum.own"}], y | {"field": "ratio"}
    layers = [
        {"transform": own, "mark": _mark("area", opacity=0.2), "encoding": {"x": x, "y": y | {"field": "low"}, "y2": {"field": "high"}}},
        {
            "transform": [{"filter": "!datum.own"}],
            "mark": _mark("line", color="currentColor", opacity=0.3, strokeWidth=1),
            "encoding": {"x": x, "y": ratio, "detail": {"field": "of", "type": "nominal"}},
        },
        {"transform": own, "mark": _mark("line", strokeWidth=2.5), "encoding": {"x": x, "y": ratio}},
        {"transform": own, "mark": _mark("point", filled=True, size=36, opacity=1), "encoding": {"x": x, "y": ratio}},
        {
            "transform": [{"filter": f"datum.own && datum.work === {works[0]}"}],
            "mark": _mark("text", color="currentColor", align="left", fontSize=12, x=5, y=height - 8),
            "encoding": {"text": {"field": "n"}},
        },
    ]
    facet = {"field": "steel", "type": "nominal", "title": None, "sort": list(names.values()), "header": {"labelLimit": width}}
    drawing = {"width": width, "height": height, "layer": layers}
    specification = {"data": {"values": data}, "facet": facet, "columns": columns, "spec": drawing, "spacing": 14}
    told = Reason("pages.axis_sharpness")
    title = {"text": Reason("pages.demonstration"), "subtitle": told} if simulated else {"text": told, "fontWeight": "normal"}
    return finished(specification, simulated) | {"title": title}


def _mark(kind: str, color: str = COLOURS[0], **look: object) -> dict[str, object]:
    return {"type": kind, "color": color} | look


def finished(specification: dict[str, object], simulated: bool) -> dict[str, object]:
    """A drawing with the site's letters and lines, and "simulated" in its title where it is."""
    return specification | {"config": CONFIG} | ({"title": Reason("pages.demonstration")} if simulated else {})


def tidied(svg: str, prefix: str) -> str:
    """Without inline styles (the policy forbids them) and roles (the label is on the frame), with ids of its own; the mark has a class."""
    mark = f"{Reason('pages.demonstration')}</text>"
    svg = svg.replace(f">{mark}", f' class="plot-mark">{mark}')
    svg = re.sub(r'\s(?:style|role|aria-[a-z]+)="[^"]*"', "", svg)
    svg = re.sub(r'\b(id=")|url\(#', lambda m: f'id="{prefix}-' if m.group(1) else f"url(#{prefix}-", svg)
    return svg.replace("<svg ", '<svg focusable="false" ', 1)
