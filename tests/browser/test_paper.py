"""On paper, A4 and Letter: how many pages a sheet takes, and whether its drawings and their labels can be read."""

import pytest
from playwright.sync_api import Browser, Page, expect

from .test_sheets import pages_of

PAPERS = {"A4": 210.0, "Letter": 215.9}  # width in mm, ISO 216 and ANSI/ASME Y14.1
MARGIN = 11.0  # mm, as sheet.css sets it
RUNS_A_GROUP = 2
MOST_A_GROUP = 2  # pages for the testing table, for every group of runs that are cut beside each other
LEAST_WIDTH = 60.0  # mm
LEAST_LABEL = 7.0  # points
DRAWINGS = """() => [...document.querySelectorAll('.sheet figure svg')].map(drawing => {
  const box = drawing.getBoundingClientRect(), view = drawing.viewBox.baseVal;
  const scale = Math.min(box.width / view.width, box.height / view.height);
  const letters = [...drawing.querySelectorAll('text')].map(text => parseFloat(getComputedStyle(text).fontSize));
  return {width: view.width * scale * 25.4 / 96, label: Math.min(...letters) * scale * 72 / 96};
})"""
TABLES = ("needs", "minutes", "stopping", "endpoints", "threats")
VERSIONS = (
    "first-evening-paper-1.0.0", "life-on-card-1.0.0", "life-on-card-2.0.0", "steels-exchanged-rope-2.0.0", "two-sharpeners-rope-1.1.0",
    "two-sharpeners-rope-2.0.0",
)  # fmt: skip


def printed_wide(browser: Browser, paper: str) -> Page:
    """A page that is as wide as what is printed on that paper."""
    width = round((PAPERS[paper] - 2 * MARGIN) * 96 / 25.4)
    return browser.new_context(viewport={"width": width, "height": 1000}).new_page()


def table_pages(page: Page, paper: str) -> int:
    """Pages without that of those who sharpen."""
    page.evaluate("document.querySelectorAll('.sheet .key').forEach(key => key.remove())")
    return pages_of(page.pdf(format=paper, prefer_css_page_size=False))


def readable(page: Page) -> None:
    page.emulate_media(media="print")
    drawn = page.evaluate(DRAWINGS)
    assert len(drawn) >= 3
    assert min(drawing["width"] for drawing in drawn) >= LEAST_WIDTH
    assert min(drawing["label"] for drawing in drawn) >= LEAST_LABEL - 0.05


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("version", VERSIONS)
def test_a_sheet_takes_two_pages_a_run_group_and_its_drawings_can_be_read(browser, form_base, version, paper):
    page = printed_wide(browser, paper)
    page.goto(f"{form_base}/tonight/{version}/sheet/")
    readable(page)
    assert page.locator(".sheet .care").count() == 1
    for name in TABLES:
        expect(page.locator(f".sheet .made-{name}")).to_be_visible()
    groups = page.locator(".sheet .run:has(.ended)").count() // RUNS_A_GROUP
    assert pages_of(page.pdf(format=paper, prefer_css_page_size=False)) - 1 == table_pages(page, paper) <= MOST_A_GROUP * groups
    page.context.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_planners_sheet_carries_the_same_and_its_key_is_one_page(browser, form_base, paper):
    page = printed_wide(browser, paper)
    page.goto(f"{form_base}/tonight/")
    page.evaluate("window.print = () => {}")
    page.get_by_role("button", name="Show what fits").click()
    page.get_by_role("button", name="Print the sheet").click()
    readable_but_for_key = page.locator("#plan-paper .sheet")
    page.emulate_media(media="print")
    for name in TABLES:
        expect(readable_but_for_key.locator(f".made-{name}")).to_be_visible()
    drawn = page.evaluate(DRAWINGS)
    assert min(drawing["width"] for drawing in drawn) >= LEAST_WIDTH and min(drawing["label"] for drawing in drawn) >= LEAST_LABEL - 0.05
    groups = page.locator("#plan-paper .run").count() // RUNS_A_GROUP
    assert groups == 3 and table_pages(page, paper) <= MOST_A_GROUP * groups
    page.evaluate("document.querySelector('#plan-key').click()")
    expect(page.locator("#plan-paper .key")).to_be_visible()
    expect(page.locator("#plan-paper .step")).not_to_have_count(0)
    assert pages_of(page.pdf(format=paper, prefer_css_page_size=False)) == 1
    page.context.close()
