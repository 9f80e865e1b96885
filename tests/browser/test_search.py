"""The search works under the policy, by keyboard, and leads to the page."""

import pytest
from playwright.sync_api import expect


@pytest.fixture
def searched(open_page, base):
    def search(words: str):
        page = open_page("/")
        page.keyboard.press("/")
        box = page.get_by_role("textbox", name="Search")
        expect(box).to_be_focused()
        box.press_sequentially(words)
        return page, page.locator("[data-md-component=search-result]").get_by_role("link")

    return search


def test_a_word_of_the_trade_is_found_and_its_page_opens(searched):
    page, found = searched("repeatability")
    expect(found.first).to_be_visible(timeout=10_000)
    found.first.click()
    page.wait_for_url("**/?h=repeatability**")
    expect(page.locator("article")).to_contain_text("epeatability")


def test_a_protocol_is_found_by_its_title(searched, facts):
    address = next(a for a in facts if a.startswith("/protocols/") and a.count("/") == 3)
    _, found = searched(facts[address]["title"].rsplit(" ", 3)[0])
    expect(found.first).to_be_visible(timeout=10_000)
    assert any(f"{address.split('/')[2]}/" in link.get_attribute("href") for link in found.all())


def test_nonsense_finds_nothing(searched):
    page, found = searched("qqxyzzy")
    expect(page.locator("[data-md-component=search-result]")).to_contain_text("No matching", timeout=10_000)
    assert found.count() == 0
