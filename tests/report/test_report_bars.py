"""All bars of a report stand on one scale: equal ratios at equal places, with marks, the worthwhile ratio and both directions."""

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from edgehold.report.adds import Addition, Adds
from edgehold.report.bars import Drawn, bar_of, common_reach
from edgehold.report.page import report_html
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.words.ratio_scale import MARGIN, REACHES, TICKS, WIDTH, place
from edgehold.words import Reason

from .reports import CASES, report

WITH_BARS = [name for name, case in CASES.items() if any(r["ratio"] is not None for r in case["expected"]["results"])]


def bars(html: str) -> list[ET.Element]:
    return [ET.fromstring(found) for found in re.findall(r'<svg class="answer-bar".*?</svg>', html)]


def of_class(drawing: ET.Element, name: str, *attributes: str) -> list[tuple[float, ...]]:
    return [tuple(float(part.get(a)) for a in attributes) for part in drawing if part.get("class") == name]


def read_back(drawing: ET.Element, x: float) -> float:
    """The ratio at a place, by the drawing's own outermost marks and its line of no difference."""
    ((one, _),) = of_class(drawing, "bar-one", "x1", "x2")
    last = max(at for at, _ in of_class(drawing, "bar-tick", "x1", "x2"))
    reach = max(float(word.removeprefix("×")) for word in texts(drawing) if re.fullmatch(r"×\d+", word) and word != "×1")
    return math.exp((x - one) / (last - one) * math.log(reach))


def texts(drawing: ET.Element) -> list[str]:
    return [part.text for part in drawing if part.tag == "text" and int(part.get("y")) > 40]


@pytest.mark.parametrize("name", WITH_BARS)
def test_equal_ratios_stand_at_equal_places_in_every_bar_of_a_report(name):
    found = report(name)
    drawings = bars(report_html(found))
    shown = [f for f in found.lead.figures if not (f.ratio is None and f.low is None and f.high is None)]
    assert len(drawings) == len(shown)
    scales = {(tuple(of_class(d, "bar-tick", "x1", "x2")), tuple(texts(d)), tuple(of_class(d, "bar-one", "x1", "x2"))) for d in drawings}
    assert len(scales) <= 1
    for figure, drawing in zip(shown, drawings, strict=True):
        ((low, high),) = of_class(drawing, "bar-interval", "x1", "x2")
        edges = [x for x, _ in of_class(drawing, "bar-worth", "x1", "x2")]
        reach = read_back(drawing, max(x for x, _ in of_class(drawing, "bar-tick", "x1", "x2")))
        assert [read_back(drawing, x) for x in edges] == pytest.approx([1 / figure.worthwhile_ratio, figure.worthwhile_ratio], rel=0.003)
        for drawn, end in ((low, figure.low), (high, figure.high)):
            if end is not None and 1 / reach <= end <= reach:
                assert read_back(drawing, drawn) == pytest.approx(end, rel=0.003 * reach)
        if figure.ratio is not None:
            ((mark, width),) = of_class(drawing, "bar-mark", "x", "width")
            assert read_back(drawing, mark + width / 2) == pytest.approx(min(max(figure.ratio, 1 / reach), reach), rel=0.003 * reach)
        assert Reason("own_answer.no_difference") in texts(drawing)


def test_a_bar_says_at_both_ends_who_does_better_there():
    html = report_html(report("pooled-runs"))
    lead = report("pooled-runs").lead
    for figure in lead.figures:
        topic = "life" if figure.kind == "life" else "other"
        for name, arrow in ((lead.first, "{}&nbsp;→"), (lead.second, "←&nbsp;{}")):
            side = Reason(f"own_answer.side_{topic}", name=Reason("own_answer.short_sharpener", name=name))
            assert f"<span>{arrow.format(side)}</span>".replace("'", "&#39;") in html.replace("&#x27;", "&#39;")


def test_what_a_pool_says_is_drawn_on_the_scale_of_the_runs_and_stretches_it():
    wide = RatioInterval(ratio=3.0, low=0.4, high=14.0, level=0.95, method="posterior")
    added = Addition("late", "level", 1.25, "practice", "practised", "novice", wide, None, "")
    alone, beside = report("pooled-runs"), replace(report("pooled-runs"), adds=Adds("", 3, (added,), ()))
    narrow, stretched = bars(report_html(alone)), bars(report_html(beside))
    assert len(stretched) == len(narrow) + 1  # nothing is drawn for what the pool has no ratio of
    assert len({tuple(of_class(d, "bar-tick", "x1", "x2")) + tuple(texts(d)) for d in stretched}) == 1
    assert {tuple(texts(d)) for d in narrow} != {tuple(texts(d)) for d in stretched}


def drawn(ratio, low, high) -> Drawn:
    return Drawn("Title", "blade", "a.one", "b.two", "life", ratio, low, high, 1.25)


def test_an_end_that_is_open_or_beyond_the_scale_is_an_arrow():
    heads = [
        len(of_class(ET.fromstring(bar_of(one, 32.0).drawing), "bar-head"))
        for one in (drawn(1.2, 0.9, 1.6), drawn(None, 1.4, None), drawn(None, None, 0.7), drawn(3.0, 0.001, 900.0))
    ]
    assert heads == [0, 1, 1, 2]
    assert bar_of(drawn(None, None, None), 4.0).drawing == ""
    assert common_reach([drawn(1.2, 0.9, 1.6), drawn(1.2, 0.2, 1.6)]) == 8.0


def test_the_scale_is_symmetric_and_holds_its_marks():
    for reach in REACHES:
        places = [place(ratio, reach) for ratio in TICKS[reach]]
        assert places[0] == pytest.approx(MARGIN) and places[-1] == pytest.approx(WIDTH - MARGIN) and places[2] == WIDTH / 2
        for ratio in (1.0, 1.1, 1.9, 50.0):
            assert place(ratio, reach) + place(1 / ratio, reach) == pytest.approx(WIDTH)
