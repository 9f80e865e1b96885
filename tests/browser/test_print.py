"""On paper: the text without the navigation, dark on light whatever the screen's scheme, nothing essential lost."""

import pytest
from playwright.sync_api import expect

from .kinds import example
from .test_schemes import COLOURS


@pytest.fixture(params=["light", "dark"])
def printed(open_page, addresses, request):
    def open_for_print(kind: str):
        page = open_page(example(kind, addresses), color_scheme=request.param)
        page.emulate_media(media="print")
        return page

    return open_for_print


@pytest.mark.parametrize("kind", ["protocol", "comparison", "submission"])
def test_the_text_is_printed_and_the_navigation_is_not(printed, kind):
    page = printed(kind)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    for part in ("heading", "table"):
        for found in page.locator("article").get_by_role(part).all()[:12]:
            expect(found).to_be_visible()
    assert page.locator("header:visible, footer nav:visible, [role=dialog]:visible").count() == 0
    assert page.get_by_role("textbox", name="Search").is_hidden()


def test_the_cautions_of_a_protocol_are_printed(printed):
    expect(printed("protocol").get_by_text("Local law").first).to_be_visible()


@pytest.mark.parametrize("kind", ["pool", "protocol"])
def test_drawings_are_printed_in_dark_ink_on_white(printed, kind):
    seen = printed(kind).evaluate(COLOURS)
    assert seen["ink"] < 0.1
    assert seen["ground"] > 0.8
    assert len(seen["drawn"]) >= 4
    assert [(text, round(ratio, 2)) for text, ratio in seen["drawn"] if ratio < 4.5] == []


@pytest.mark.parametrize("kind", ["comparison", "sharpening"])
def test_on_paper_a_plot_is_the_wide_one_whole_and_without_buttons(open_page, addresses, kind):
    page = open_page(example(kind, addresses), viewport={"width": 700, "height": 1000})  # what A4 leaves between its margins
    page.emulate_media(media="print")
    page.locator("article details").evaluate_all("all => all.forEach(details => { details.open = true; })")
    plots = page.locator("figure.plot")
    assert plots.count() >= 2
    for plot in plots.all():
        assert plot.locator("svg:visible").count() == 1 and plot.locator("svg.plot-narrow").is_hidden()
        assert plot.locator("svg:visible").bounding_box()["height"] <= 23 / 2.54 * 96 + 1
        expect(plot.get_by_role("button").first).to_be_hidden()
