"""Whoever opens a page by mistake: what it is and where to go stand in its first line, and no page is a dead end."""

import pytest
from playwright.sync_api import expect

from .crawling import NARROW, WIDE
from .kinds import example

LISTS = {"home": "Verdict", "endpoint": "Verdict", "comparison": "Verdict", "objections": "Severity", "protocol": "Severity"}
OUT_OF_VIEW = """cells => cells.filter(cell => cell.checkVisibility() && cell.closest("table").checkVisibility())
  .map(cell => { const range = document.createRange(); range.selectNodeContents(cell); return range.getBoundingClientRect(); })
  .filter(box => box.left < 0 || box.right > innerWidth || box.width === 0).length"""


def test_every_page_says_in_its_first_line_what_it_is(facts):
    assert [address for address, seen in facts.items() if len(seen["first"].split()) < 4] == []


def test_the_first_line_of_every_page_ends_on_the_first_screen_of_a_phone(facts):
    assert {address: seen["firstEnds"] for address, seen in facts.items() if not 0 < seen["firstEnds"] <= NARROW["height"]} == {}


def test_no_page_is_a_dead_end(facts):
    assert [address for address, seen in facts.items() if seen["onward"] == 0] == []


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "phone"])
def test_a_stranger_learns_on_the_first_screen_what_this_is_what_to_do_and_that_nothing_is_measured(open_page, size):
    page = open_page("/", viewport=size)
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_contain_text("Knife tests from home")
    told = [
        page.get_by_text("Was it the steel, the sharpening, or the tester?"),
        page.get_by_text("Nobody has sent in a measured result yet"),
        page.get_by_role("link", name="Plan tonight’s test"),
        page.get_by_role("link", name="Look up A or B").first,
        page.get_by_text("Sharp edges cut people").first,
    ]
    for one in [heading, *told]:
        box = one.bounding_box()
        assert box["y"] + box["height"] <= size["height"], one
    told[2].click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Do it tonight")
    page.go_back()
    told[3].click()
    expect(page.get_by_role("heading", level=1)).to_have_text("A or B?")


@pytest.mark.parametrize("kind", LISTS)
def test_a_phone_keeps_verdicts_and_severities_in_view(open_page, addresses, kind):
    page = open_page(example(kind, addresses), viewport=NARROW)
    cells = page.locator(f".table.stacks td[data-label='{LISTS[kind]}']")
    assert cells.count() > 0
    page.locator("details").evaluate_all("all => all.forEach(details => { details.open = true; })")
    assert page.locator(".table.stacks td[data-label]").evaluate_all(OUT_OF_VIEW) == 0
    assert cells.first.evaluate("cell => getComputedStyle(cell, '::before').content") == f'"{LISTS[kind]}"'
    assert page.get_by_role("table").filter(has=page.get_by_role("cell").first).count() > 0


def test_a_list_on_a_phone_is_still_sorted_by_its_columns(open_page):
    page = open_page("/objections/", viewport=NARROW)
    table = page.locator(".table.stacks").filter(has=page.get_by_role("row").nth(3)).first
    table.get_by_role("button", name="Severity").click()
    severities = table.locator("td[data-label=Severity]").all_inner_texts()
    assert len(severities) > 2 and severities == sorted(severities)
