"""From the first page to everything by links alone, with the keyboard; no link leads nowhere."""

import re
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from playwright.sync_api import Page, expect

from .crawling import NARROW

ROUTES = {
    "results": [r"/results/"],
    "a comparison": [r"/results/", r"/results/steels[^/]+/", r"/results/steels[^/]+/compare/[^/]+/"],
    "how much sharpening mattered": [r"/results/", r"/results/two[^/]+/", r"/results/[^/]+/sharpening/"],
    "a steel": [r"/steels/", r"/steels/[^/]+/"],
    "a protocol and its older version": [r"/protocols/", r"/protocols/[^/]+/", r"/protocols/[^/]+/1\.0\.0/"],
    "the ledger and a submission": [r"/results/", r"/submissions/", r"/submissions/simulated/[^/]+/[^/]+/"],
    "methods": [r"/methods/"],
    "data": [r"/data/"],
    "safety": [r"/safety/"],
    "an objection": [r"/protocols/", r"/objections/", r"/objections/[^/]+/\d{3}/"],
    "what a version changed": [r"/protocols/", r"/protocols/two[^/]+/", r"/protocols/[^/]+/[^/]+/changes/"],
}


def follow(page: Page, base: str, pattern: str) -> None:
    """Put the keyboard on the first visible link that leads there, and press Enter."""
    links = page.locator("a[href]")
    targets = links.evaluate_all(
        "links => links.map(link => link.checkVisibility({visibilityProperty: true}) ? link.href.split('#')[0] : '')"
    )
    place = next((place for place, target in enumerate(targets) if re.fullmatch(re.escape(base) + pattern, target)), None)
    assert place is not None, f"no visible link on {page.url} leads to {pattern}"
    links.nth(place).focus()
    expect(links.nth(place)).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(re.escape(targets[place])))


@pytest.mark.parametrize("route", ROUTES.values(), ids=ROUTES)
def test_the_keyboard_leads_there_from_the_first_page(open_page, base, route):
    page = open_page("/")
    for pattern in route:
        follow(page, base, pattern)
    expect(page.get_by_role("heading", level=1)).to_be_visible()


def test_tab_alone_reaches_the_main_places_and_shows_where_it_is(open_page):
    page = open_page("/")
    reached = set()
    for _ in range(20):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.getAttribute('href') || document.activeElement.localName"))
        outline = page.evaluate("(({outlineStyle, outlineWidth}) => outlineStyle + outlineWidth)(getComputedStyle(document.activeElement))")
        assert not outline.startswith("none"), "the focused element shows no outline"
        if {"results/", "protocols/", "methods/", "data/", "input"} <= reached:
            return
    pytest.fail(f"twenty times Tab reached only {reached}")


def test_a_phone_reaches_the_main_places_from_the_first_page(open_page, base):
    for pattern in (r"/results/", r"/protocols/", r"/methods/", r"/data/", r"/submit/"):
        page = open_page("/", viewport=NARROW)
        page.get_by_title("Menu").click()
        link = page.locator(f"a[href='{pattern.strip('/')}/']:visible").first
        link.click()
        page.wait_for_url(f"{base}{pattern}")


def test_every_page_is_reached_by_some_link(facts, addresses):
    linked = {link.split("#")[0] for seen in facts.values() for link in seen["links"]}
    assert set(addresses) - linked == {"/404.html"}


def test_every_internal_link_is_answered(facts, base):
    targets = {link.split("#")[0] for address, seen in facts.items() if address != "/404.html" for link in seen["links"]}
    dead = {target: status for target in sorted(targets) if target.startswith("/") and (status := _status(base + target)) != 200}
    assert len(targets) > 100
    assert dead == {}


def test_links_to_other_sites_are_http_and_pass_nothing_on(facts):
    outside = {link for seen in facts.values() for link in seen["links"] if not link.startswith("/")}
    assert {link for link in outside if not re.match(r"https?://|mailto:", link)} == set()


def _status(address: str) -> int:
    try:
        with urlopen(address, timeout=10) as answer:
            return answer.status
    except HTTPError as error:
        with error:
            return error.code


def test_a_wrong_address_gets_a_page_that_leads_back(open_page, base):
    page = open_page("/no/such/page/")
    assert page.evaluate("performance.getEntriesByType('navigation')[0].responseStatus") == 404
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    for link in page.locator("article").get_by_role("link").all():
        assert _status(link.evaluate("a => a.href")) == 200
    page.get_by_role("link", name="To the first page").click()
    page.wait_for_url(f"{base}/")
