"""Kept pages and citations in a browser: readable without a script, inert under hostile texts, and copied with one click."""

import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from .crawling import NARROW, WIDE, crawl, kept_pages_of
from .serving import served


@pytest.fixture(scope="module")
def kept(hostile_site):
    """Addresses of kept pages, and where they are served."""
    with served(hostile_site) as address:
        yield kept_pages_of(hostile_site), address


def test_kept_pages_do_nothing_but_be_read(browser, kept):
    pages, address = kept
    assert {re.sub(r"/archive/[^/]+/", "/", page).split("/")[1] for page in pages} >= {"", "results", "steels", "analysts"}
    for page, facts in crawl(browser, address, pages).items():
        assert facts["scriptRan"] is None and facts["violations"] == [] and facts["handlers"] == [] and facts["foreign"] == [], page
        assert facts["errors"] == [] and facts["elsewhere"] == [], page
        assert facts["policy"] and facts["language"] == "en" and facts["headings"], page
        assert all(link.startswith(address) or link.startswith("https://") for link in facts["links"]), page


@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_kept_pages_are_readable_and_nothing_grave_is_found(browser, kept, viewport):
    pages, address = kept
    context = browser.new_context(viewport=viewport)
    for kind in (r"/archive/[^/]+/", r".*/results/[^/]+/", r".*/compare/[^/]+/", r".*/steels/[^/]+/"):
        page = context.new_page()
        page.goto(address + next(one for one in pages if re.fullmatch(kind, one)))
        found = Axe().run(page).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:160]) for v in found if v["impact"] in ("serious", "critical")] == [], kind
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], kind
        page.close()
    context.close()


def test_from_a_result_to_its_kept_page_and_back(browser, kept, hostile_site):
    pages, address = kept
    pool = next(re.sub(r"/archive/[^/]+", "", one) for one in pages if re.fullmatch(r".*/results/[^/]+/", one) and "/log/" not in one)
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    page.goto(address + pool)
    page.evaluate("() => { navigator.clipboard.writeText = async text => { window.copied = text; }; }")
    page.get_by_text("Cite this result").click()
    page.get_by_role("button", name="Copy the CSL-JSON").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    (item,) = json.loads(page.evaluate("window.copied"))
    assert item["type"] == "dataset" and item["id"].startswith("edgehold-")
    page.get_by_role("button", name="Copy the text").click()
    path = re.search(r"/archive/\S+/", page.evaluate("window.copied")).group()
    heading = page.locator("h1").inner_text()
    page.get_by_role("link", name="The page as it is kept").click()
    expect(page).to_have_url(address + path)
    expect(page.locator("h1")).to_have_text(heading)
    page.get_by_role("link", name="The page as it is now").click()
    expect(page).to_have_url(address + pool)
    context.close()
