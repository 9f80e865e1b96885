"""Tables sort by their headings: with the mouse, with the keyboard, numbers as numbers."""

import csv
import re

import pytest
from playwright.sync_api import Locator, expect

from .kinds import example

SORTABLE = ["ledger", "comparison", "endpoint", "submission", "sharpening", "pool"]


@pytest.fixture
def ledger(open_page):
    return open_page("/submissions/").locator("article table").first


def heading(table: Locator, name: str) -> Locator:
    return table.get_by_role("columnheader", name=re.compile(f"^{name}"))


def column(table: Locator, name: str) -> list[str]:
    place = heading(table, name).evaluate("cell => cell.cellIndex")
    return [text.strip() for text in table.locator(f"tbody tr > :nth-child({place + 1})").all_text_contents()]


def test_a_click_sorts_up_and_another_down(ledger):
    before = sorted(column(ledger, "Submission"))
    for wanted, reverse in (("ascending", False), ("descending", True)):
        heading(ledger, "Runs").get_by_role("button").click()
        expect(heading(ledger, "Runs")).to_have_attribute("aria-sort", wanted)
        runs = [int(text) for text in column(ledger, "Runs")]
        assert runs == sorted(runs, reverse=reverse)
        assert len(set(runs)) > 2
    assert sorted(column(ledger, "Submission")) == before


@pytest.mark.parametrize("key", ["Enter", "Space"])
def test_the_keyboard_sorts_and_stays_where_it_is(ledger, key):
    button = heading(ledger, "Blades").get_by_role("button")
    button.focus()
    ledger.page.keyboard.press(key)
    expect(heading(ledger, "Blades")).to_have_attribute("aria-sort", "ascending")
    expect(button).to_be_focused()
    blades = [int(text) for text in column(ledger, "Blades")]
    assert blades == sorted(blades)


def test_one_column_at_a_time_says_that_it_sorts(ledger):
    heading(ledger, "Runs").get_by_role("button").click()
    heading(ledger, "Month").get_by_role("button").click()
    assert ledger.locator("th[aria-sort]").count() == 1


def test_months_sort_by_time_and_not_by_name(ledger, site):
    with (site / "data" / "submissions.csv").open(newline="", encoding="utf-8") as file:
        months = {row["submission"]: row["month"] for row in csv.DictReader(file)}
    heading(ledger, "Month").get_by_role("button").click()
    order = [months[text.split()[0]] for text in column(ledger, "Submission")]
    assert order == sorted(order)
    assert len(set(order)) > 6


@pytest.mark.parametrize("kind", SORTABLE)
def test_ratios_and_counts_sort_as_numbers_and_gaps_stay_last(open_page, addresses, kind):
    """Every sortable column of the page, in both directions, by the numbers as a reader sees them."""
    page = open_page(example(kind, addresses))
    page.locator("details").evaluate_all("all => all.forEach(details => { details.open = true; })")
    sorted_columns = 0
    for button in page.locator("article thead").get_by_role("button").all():
        for reverse in (False, True):
            button.click()
            cells = button.evaluate(COLUMN)
            numbers = [shown_number(cell) for cell in cells]
            known = [number for number in numbers if number is not None]
            if len(known) < len(cells) / 4 or not all(NUMERIC.match(cell) for cell, n in zip(cells, numbers, strict=True) if n is not None):
                continue
            assert known == sorted(known, reverse=reverse), button.inner_text()
            sorted_columns += 1
    assert sorted_columns
    assert page.locator("article th[aria-sort=descending]").count() >= 1


COLUMN = """button => {
  const cell = button.closest("th"), table = cell.closest("table");
  return [...table.tBodies[0].rows].map(row => row.cells[cell.cellIndex].innerText.trim());
}"""
NUMERIC = re.compile(r"×?[\d.]+(?: %)?(?:$|\s\(|\sand\s)")


def shown_number(text: str) -> float | None:
    found = NUMERIC.match(text)
    return float(re.search(r"[\d.]+", text)[0]) if found else None
