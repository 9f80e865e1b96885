"""On paper, A4 and Letter: how many pages a sheet takes, and whether its drawings and their labels can be read."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from .test_sheets import pages_of

PAPERS = {"A4": 210.0, "Letter": 215.9}  # width in mm, ISO 216 and ANSI/ASME Y14.1
MARGIN = 11.0  # mm, as sheet.css sets it
RUNS_A_GROUP = 2
MOST_A_GROUP = 2  # pages for the testing table, for every group of runs that are cut beside each other
LEAST_WIDTH = 60.0  # mm
LEAST_LABEL = 7.0  # points
DRAWINGS = """where => [...document.querySelectorAll(`${where} figure svg`)].map(drawing => {
  const box = drawing.getBoundingClientRect(), view = drawing.viewBox.baseVal;
  const scale = Math.min(box.width / view.width, box.height / view.height);
  const letters = [...drawing.querySelectorAll('text')].map(text => parseFloat(getComputedStyle(text).fontSize));
  return {width: view.width * scale * 25.4 / 96, label: Math.min(...letters) * scale * 72 / 96};
})"""
TABLES = ("needs", "minutes", "stopping", "endpoints", "threats")
VERSIONS = (
    "finish-in-halves-rope-1.0.0", "strop-or-not-paper-1.0.0", "first-evening-paper-1.0.0", "life-on-card-1.0.0", "life-on-card-2.0.0",
    "steels-exchanged-rope-2.0.0", "steels-exchanged-rope-3.0.0", "two-sharpeners-rope-1.1.0", "two-sharpeners-rope-2.0.0",
)  # fmt: skip


def printed_wide(browser: Browser, paper: str) -> Page:
    """A page that is as wide as what is printed on that paper."""
    width = round((PAPERS[paper] - 2 * MARGIN) * 96 / 25.4)
    return browser.new_context(viewport={"width": width, "height": 1000}).new_page()


def table_pages(page: Page, paper: str) -> int:
    """Pages without that of those who sharpen."""
    page.evaluate("document.querySelectorAll('.sheet .key').forEach(key => key.remove())")
    return pages_of(page.pdf(format=paper, prefer_css_page_size=False))


def readable(page: Page, where: str, least: int) -> None:
    page.emulate_media(media="print")
    drawn = page.evaluate(DRAWINGS, where)
    assert len(drawn) >= least
    assert min(drawing["width"] for drawing in drawn) >= LEAST_WIDTH
    assert min(drawing["label"] for drawing in drawn) >= LEAST_LABEL - 0.05


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("version", VERSIONS)
def test_a_sheet_takes_two_pages_a_run_group_and_its_drawings_can_be_read(browser, form_base, version, paper):
    page = printed_wide(browser, paper)
    page.goto(f"{form_base}/tonight/{version}/sheet/")
    readable(page, ".sheet", 3)
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
    readable(page, "#plan-paper", 2)
    assert page.locator("#plan-paper .care").count() == 1
    for name in TABLES:
        expect(page.locator(f"#plan-paper .made-{name}")).to_be_visible()
    groups = page.locator("#plan-paper .run").count() // RUNS_A_GROUP
    assert groups == 3 and table_pages(page, paper) <= MOST_A_GROUP * groups
    page.evaluate("document.querySelector('#plan-key').click()")
    expect(page.locator("#plan-paper .key")).to_be_visible()
    expect(page.locator("#plan-paper .step")).not_to_have_count(0)
    assert pages_of(page.pdf(format=paper, prefer_css_page_size=False)) == 1
    page.context.close()


def test_the_planners_page_has_the_steps_folded_and_leads_to_the_full_text(browser, form_base):
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.goto(f"{form_base}/tonight/")
    page.get_by_role("button", name="Show what fits").click()
    page.get_by_text("What the hands need, step by step").click()
    expect(page.locator("#plan-steps figure")).to_have_count(4)
    expect(page.locator("#plan-full a")).to_have_attribute("href", re.compile("/protocols/two-sharpeners-rope/2.0.0/$"))
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.context.close()


def test_a_methods_page_says_first_what_the_hands_need_and_folds_the_rest(browser, form_base):
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.goto(f"{form_base}/protocols/two-sharpeners-rope/2.0.0/")
    seen = page.evaluate("[document.documentElement.scrollHeight / 844, document.querySelector('article').innerText.split(/\\s+/).length]")
    assert seen[0] < 18 and seen[1] < 2300, "35.7 screens and 5,245 words when all of it stood open"
    expect(page.locator("section.cautions")).to_be_visible()
    expect(page.locator(".method")).to_be_hidden()
    page.locator(".hands a.step", has_text="s9").click()
    expect(page.locator("#s9-cut-and-read")).to_be_in_viewport()
    page.context.close()


def test_an_older_version_is_offered_on_its_own_page_alone(browser, form_base):
    page = browser.new_context().new_page()
    page.goto(f"{form_base}/tonight/")
    offered = page.locator("#questions ~ article a").evaluate_all("all => all.map(link => link.getAttribute('href'))")
    assert offered and not any("two-sharpeners-rope-1" in address or "life-on-card-1" in address for address in offered)
    page.goto(f"{form_base}/protocols/two-sharpeners-rope/1.1.0/")
    expect(page.get_by_role("link", name="Do it tonight: the form")).to_have_attribute("href", re.compile("two-sharpeners-rope-1.1.0/$"))
    page.context.close()
