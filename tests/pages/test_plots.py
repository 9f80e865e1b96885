"""Drawn plots show the published numbers: places on the axis, areas of squares, tips of diamonds; whatever names are in them."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
import vl_convert
from hostile import PAYLOADS
from sample import interval, line, results

from edgehold.engine.tasks import kept_in
from edgehold.pages import contrast_curves, curves
from edgehold.pages.drawings import svg_of
from edgehold.pages.forests import answers, cumulative, forest
from edgehold.pages.plots import NARROW, WIDE, Plot, Row, drawn
from edgehold.pages.result_pages import draw_curves, result_pages
from edgehold.results.model.results import Comparison, EndpointResult, Pool
from edgehold.results.model.studies import CumulativeMonth

SVG = "{http://www.w3.org/2000/svg}"
WORDS = {"×¼": 0.25, "×½": 0.5, "×⅛": 0.125, "×1⁄16": 1 / 16}
Drawing = ElementTree.Element


def drawings(html: str) -> list[Drawing]:
    """The drawings of a plot, wide and narrow, as well-formed SVG."""
    found = re.findall(r"<svg .*?</svg>", html, re.DOTALL)
    return [ElementTree.fromstring(one.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)) for one in found]


def of_class(drawing: Drawing, name: str) -> list[Drawing]:
    return [one for one in drawing.iter() if name in one.get("class", "").split()]


def ratio_at(drawing: Drawing, x: float) -> float:
    """What ratio stands at a place, read off the words at the marks alone, as a reader would."""
    marks = {}
    for word in of_class(drawing, "plot-tick"):
        if word.get("text-anchor") == "middle" and word.text.startswith("×"):
            marks[WORDS.get(word.text) or float(word.text[1:])] = float(word.get("x"))
    (low, at_low), *_, (high, at_high) = sorted(marks.items())
    return low * math.exp((x - at_low) / (at_high - at_low) * math.log(high / low))


def pooled() -> tuple[Pool, EndpointResult, Comparison]:
    """A comparison with submissions of unlike weight, one of them one-sided and one without a ratio."""
    pool = results(measured=4).pools[-1]
    endpoint = next(e for e in pool.endpoints if any(c.state == "pooled" for c in e.pairwise))
    comparison = next(c for c in endpoint.pairwise if c.state == "pooled")
    told = ((1, 0.8, 9.0), (2, 1.3, 36.0), (3, 1.6, 55.0))
    lines = (
        *(line(n, ratio).model_copy(update={"weight_percent": weight}) for n, ratio, weight in told),
        line(4, None, "at least"),
        line(5, None),
    )
    return pool, endpoint, comparison.model_copy(update={"lines": lines})


@pytest.fixture(params=[0, 1], ids=["wide", "narrow"])
def drawing(request: pytest.FixtureRequest) -> Drawing:
    return drawings(forest(*pooled(), "late"))[request.param]


def middle(square: Drawing) -> float:
    return float(square.get("x")) + float(square.get("width")) / 2


def test_squares_stand_at_their_ratios_and_their_areas_are_in_proportion_to_the_weights(drawing: Drawing) -> None:
    squares, lines = of_class(drawing, "plot-square"), pooled()[2].lines[:3]
    assert [ratio_at(drawing, middle(one)) for one in squares] == pytest.approx([one.result.ratio for one in lines], rel=0.01)
    areas = [float(one.get("width")) * float(one.get("height")) for one in squares]
    assert [area / areas[-1] for area in areas] == pytest.approx([one.weight_percent / lines[-1].weight_percent for one in lines], rel=0.01)


def test_lines_end_where_their_intervals_do(drawing: Drawing) -> None:
    intervals = [one for one in of_class(drawing, "plot-interval") if one.get("y1") == one.get("y2")]
    for drawn_line, one in zip(intervals[:3], pooled()[2].lines[:3], strict=True):
        ends = [ratio_at(drawing, float(drawn_line.get(x))) for x in ("x1", "x2")]
        assert ends == pytest.approx([one.result.low, one.result.high], rel=0.01)
    arrow = intervals[3]
    assert ratio_at(drawing, float(arrow.get("x1"))) == pytest.approx(1.4, rel=0.01)
    assert float(arrow.get("x2")) > float(arrow.get("x1"))
    assert len(intervals) == 4


def test_the_diamond_has_its_tips_at_the_ends_of_the_pooled_interval_before_the_line_of_the_prediction(drawing: Drawing) -> None:
    comparison = pooled()[2]
    (diamond,), (thin,) = of_class(drawing, "plot-diamond"), of_class(drawing, "plot-prediction")
    low, peak, high, _ = (float(x) for x, _ in re.findall(r"[ML]([\d.]+) ([\d.]+)", diamond.get("d")))
    expected = comparison.result
    assert [ratio_at(drawing, x) for x in (low, peak, high)] == pytest.approx([expected.low, expected.ratio, expected.high], rel=0.01)
    wider = comparison.prediction.result
    heads = len(of_class(drawing, "plot-head"))
    assert heads or [ratio_at(drawing, float(thin.get(x))) for x in ("x1", "x2")] == pytest.approx([wider.low, wider.high], rel=0.01)


def test_the_band_and_its_borders_are_the_worthwhile_ratio_either_way(drawing: Drawing) -> None:
    worthwhile = pooled()[1].worthwhile_ratio
    (band,), borders = of_class(drawing, "plot-band"), of_class(drawing, "plot-worth")
    ends = [float(band.get("x")), float(band.get("x")) + float(band.get("width"))]
    assert [ratio_at(drawing, x) for x in ends] == pytest.approx([1 / worthwhile, worthwhile], rel=0.01)
    assert [ratio_at(drawing, float(one.get("x1"))) for one in borders] == pytest.approx([1 / worthwhile, worthwhile], rel=0.01)


def test_both_ends_of_the_axis_say_who_is_ahead_there_and_the_drawing_says_what_it_shows(drawing: Drawing) -> None:
    _, endpoint, comparison = pooled()
    left, right = of_class(drawing, "plot-direction")
    assert left.text.startswith(f"← {comparison.second}: ") and right.text.startswith(f"{comparison.first}: ") and right.text.endswith("→")
    assert drawing.get("role") == "img" and endpoint.title in drawing.get("aria-label")
    (told,) = drawing.iter(f"{SVG}desc")
    assert drawing.get("aria-describedby") == told.get("id") and told.text.startswith("4 of 5 submissions")


def test_what_stood_at_the_end_of_each_month_has_its_diamond() -> None:
    pool, endpoint, comparison = pooled()
    ratios = (None, 1.7, 1.4, 1.3)
    months = tuple(
        CumulativeMonth(month=f"2026-0{n}", submissions=n + 1, studies=n + 1, result=ratio and interval(ratio, 0.3))
        for n, ratio in enumerate(ratios, 1)
    )
    for drawing in drawings(cumulative(pool, endpoint, comparison.model_copy(update={"cumulative": months}), "months")):
        peaks = [float(re.findall(r"[ML]([\d.]+)", one.get("d"))[1]) for one in of_class(drawing, "plot-diamond")]
        assert [ratio_at(drawing, x) for x in peaks] == pytest.approx(ratios[1:], rel=0.01)
        assert ["".join(one.itertext()) for one in of_class(drawing, "plot-label")] == [
            "2026-02 · 3 submissions",
            "2026-03 · 4 submissions",
            "2026-04 · 5 submissions",
        ]
    assert cumulative(pool, endpoint, comparison.model_copy(update={"cumulative": months[:2]}), "months") == ""


def test_marks_repeat_where_rows_are_many_and_stacked() -> None:
    rows = tuple(Row(f"Row {n}", "×1.2", interval(1.2, 0.3), weight=5.0) for n in range(20))
    wide, narrow = drawings(drawn(Plot("many", "many", "many", rows, 1.1, "b", "a", False)))
    assert [sum(one.text == "×1" for one in of_class(drawing, "plot-tick")) for drawing in (wide, narrow)] == [2, 4]


def test_without_weights_squares_are_small_and_hollow_and_nothing_is_drawn_of_nothing() -> None:
    pool, endpoint, comparison = pooled()
    bare = tuple(one.model_copy(update={"weight_percent": None}) for one in comparison.lines)
    for drawing in drawings(forest(pool, endpoint, comparison.model_copy(update={"lines": bare, "result": None}), "late")):
        assert len(of_class(drawing, "plot-unweighted")) == 3 and of_class(drawing, "plot-diamond") == []
    assert forest(pool, endpoint, comparison.model_copy(update={"lines": ()}), "late") == ""


def test_every_pair_with_a_ratio_has_its_diamond() -> None:
    pool = results(measured=4).pools[-1]
    for endpoint in pool.endpoints:
        told = [c for c in endpoint.steels if c.result is not None]
        for drawing in drawings(answers(pool, endpoint, endpoint.steels, "pairs")):
            assert len(of_class(drawing, "plot-diamond")) == len(told)


@pytest.mark.parametrize("payload", [*PAYLOADS, "long " * 60, "\u202eabc\x00\ud800"])
def test_no_name_breaks_a_drawing_or_leaves_it(payload: str) -> None:
    """The parts of a drawing stay the same whatever is named, and text stays as long as its room."""
    row = Row(payload, "×1.2 (×1.1 to ×1.3)", interval(1.2, 0.3), payload, payload, weight=5.0)
    hostile = drawings(drawn(Plot("p", payload, payload, (row, row), 1.1, payload, payload, True)))
    for drawing, layout in zip(hostile, (WIDE, NARROW), strict=True):
        assert {one.tag.removeprefix(SVG) for one in drawing.iter()} <= {"svg", "desc", "g", "text", "tspan", "rect", "line", "path"}
        assert max(len("".join(one.itertext())) for one in drawing.iter(f"{SVG}text")) * 6.5 <= layout.width
        assert not any(name.startswith(("on", "href", "style")) for one in drawing.iter() for name in one.attrib)


@pytest.mark.parametrize("ratio", [0.0004, 0.02, 0.97, 1.0, 1.02, 3.0, 90.0, 5000.0])
def test_marks_of_the_axis_are_inside_it_apart_from_each_other_and_hold_one(ratio: float) -> None:
    rows = (Row("Row", "", interval(ratio, 0.4)),)
    for drawing in drawings(drawn(Plot("p", "p", "p", rows, 1.1, "b", "a", False))):
        ticks = of_class(drawing, "plot-tick")
        places = [float(one.get("x")) for one in ticks][: len(ticks) // 2]
        assert 2 <= len(places) <= 9 and min(b - a for a, b in pairwise(places)) > 25
        assert "×1" in [one.text for one in ticks]
        (square,) = of_class(drawing, "plot-square")
        assert 0 <= middle(square) <= float(drawing.get("viewBox").split()[2])


def test_all_curves_are_drawn_before_the_pages_ask_for_them_and_none_where_the_pages_are_kept(tmp_path, monkeypatch):
    made, draw = [], vl_convert.vegalite_to_svg

    def noted(specification: object) -> str:
        made.append(specification)
        return str(draw(specification))

    def drawn_anew() -> int:
        made.clear()
        curves._draw.cache_clear()
        contrast_curves._draw.cache_clear()
        draw_curves(results(measured=2, simulated=2))
        ahead = len(made)
        pages = list(result_pages(results(measured=2, simulated=2)))
        assert len(made) == ahead, "a page asked for a drawing that was not made"
        assert any("chart-narrow" in page.html for page in pages)
        return ahead

    monkeypatch.setattr(vl_convert, "vegalite_to_svg", noted)
    with kept_in(tmp_path, print):
        assert drawn_anew() > 4
        assert drawn_anew() == 0


def test_a_drawing_is_the_same_whatever_was_drawn_before_it_by_the_process():
    one, other, *_ = contrast_curves.specifications(results(measured=2, simulated=2).pools[0])
    first, second, again = svg_of(one), svg_of(other), svg_of(one)
    assert first == again
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (first, second)]
    assert all(ids) and ids[0].isdisjoint(ids[1])
    for svg, names in zip((first, second), ids, strict=True):
        assert set(re.findall(r"url\(#([^)]+)\)", svg)) <= names
