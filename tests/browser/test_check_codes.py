"""Every code of the check has an address, and the page that lists them is filtered by words."""

import pytest
from playwright.sync_api import expect

from edgehold.records.codes import CODES


@pytest.fixture
def page(open_page):
    return open_page("/check/")


def test_every_code_has_an_address_that_shows_its_line(page):
    assert {row.get_attribute("id") for row in page.locator("article tr[id]").all()} == set(CODES)
    page.get_by_role("link", name="wrong-unit", exact=True).click()
    assert page.url.endswith("/check/#wrong-unit")
    line = page.locator("#wrong-unit")
    expect(line).to_be_in_viewport()
    header = page.locator("header").first.bounding_box()
    assert line.bounding_box()["y"] >= header["y"] + header["height"] - 1, "it is not under the header"


def test_the_filter_leaves_the_lines_with_all_its_words(page):
    page.get_by_role("searchbox", name="Only codes and words with").fill("Unit WRONG")
    shown = page.locator("article tr[id]:visible")
    texts = [text.lower() for text in shown.all_inner_texts()]
    assert 0 < len(texts) < len(CODES) / 4 and all("unit" in text and "wrong" in text for text in texts)
    expect(page.locator("output")).to_have_text(f"{len(texts)} / {len(CODES)}")


def test_a_link_to_a_line_that_is_filtered_away_shows_it(page):
    page.get_by_role("searchbox", name="Only codes and words with").fill("nothing has these words")
    expect(page.locator("article tr[id]:visible")).to_have_count(0)
    page.evaluate("location.hash = 'wrong-unit'")
    expect(page.locator("#wrong-unit")).to_be_in_viewport()
    expect(page.locator("article tr[id]:visible")).to_have_count(len(CODES))
