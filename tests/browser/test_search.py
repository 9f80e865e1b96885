"""The search finds what people type, works under the policy and by keyboard, and loads nothing before somebody searches."""

import json
import re

import pytest
from playwright.sync_api import expect

from .crawling import NARROW

PAIR = "/compare/{}-and-{}/"
FIRST = {
    # steels, by name, by parts of it, and those of the register that nobody has tested, by designations of several standards
    "demo-high-speed": "/steels/demo-high-speed/",
    "high speed": "/steels/demo-high-speed/",
    "High Carbon Stainless": "/steels/demo-high-carbon-stainless/",
    "powder": "/steels/demo-powder-stainless/",
    "plain carbon steel": "/steels/demo-plain-carbon/",
    "tough stainles": "/steels/demo-tough-stainless/",
    "1.4116": "/compare/",
    "X50CrMoV15": "/compare/",
    "x50 cr mo v15": "/compare/",
    "440c": "/compare/",
    "440 C": "/compare/",
    "SUS440C": "/compare/",
    "aisi 52100": "/compare/",
    # two steels
    "demo-high-speed vs demo-plain-carbon": PAIR.format("demo-high-speed", "demo-plain-carbon"),
    "demo-plain-carbon or demo-high-speed?": PAIR.format("demo-high-speed", "demo-plain-carbon"),
    "is fine stainless better than tough stainless": PAIR.format("demo-fine-stainless", "demo-tough-stainless"),
    "plain carbon against powder stainless": PAIR.format("demo-plain-carbon", "demo-powder-stainless"),
    # submissions, objections, endpoints
    "petrel-2026-04-p15": "/submissions/simulated/two-sharpeners-rope/petrel-2026-04-p15/",
    "petrel 2026-04": "/submissions/simulated/two-sharpeners-rope/petrel-2026-04-p15/",
    "submission oakum g02": "/submissions/simulated/finish-in-halves-rope/oakum-2026-10-g02/",
    "slice along the grain": "/objections/first-evening-paper/001/",
    "objection 3 life on card": "/objections/life-on-card/003/",
    "blunt edge stopping by chance": "/objections/steels-exchanged-rope/003/",
    "damp rope": "/objections/two-sharpeners-rope/006/",
    "sharpness after 160 cuts": r"/results/steels-exchanged-rope-v\d-simulated/late/",
    "after 80 cuts late": r"/results/two-sharpeners-rope-v1-simulated/late/",
    # methods
    "two sharpeners": "/protocols/two-sharpeners-rope/",
    "strop": "/compare/strop-or-not-paper/bare-and-stropped/",
    "first evening": "/protocols/first-evening-paper/",
    "life on card": "/protocols/life-on-card/",
    "coarse or fine": "/compare/finish-in-halves-rope/coarse-and-fine/",
    "hierarchical model": "/methods/",
    "crosed model": "/methods/#all-runs-in-one-model",
    # all else
    "repeatability": "/analysts/",
    "sample size": "/tonight/",
    "safety": "/safety/",
    "gloves": "/safety/",
    "privacy": "/privacy/",
    "worked example": "/worked-example/",
    "download csv": "/data/",
    "text-contradicts": "/check/#text-contradicts",
    "licence": "/data/#cite",
}
SEARCH = r"/assets/search/"


@pytest.fixture
def searched(open_page):
    def search(words: str):
        page = open_page("/")
        page.keyboard.press("/")
        box = page.get_by_role("textbox", name="Search")
        expect(box).to_be_focused()
        box.press_sequentially(words)
        return page, page.locator("#search-found").get_by_role("link")

    return search


def test_nothing_of_the_search_is_loaded_before_somebody_searches(open_page):
    page = open_page("/")
    page.wait_for_load_state("networkidle")
    loaded = "() => performance.getEntriesByType('resource').map(one => new URL(one.name).pathname)"
    before = page.evaluate(loaded)
    assert before and [path for path in before if re.search(SEARCH, path) or "worker" in path] == []
    with page.expect_request("**/assets/search/index.json"), page.expect_request("**/assets/vendor/minisearch.mjs"):
        page.get_by_role("textbox", name="Search").click()
    expect(page.locator("#search-said")).to_contain_text("Type a steel")


def test_what_people_type_finds_what_they_mean_first(searched, base):
    page, found = searched("x")
    box, said = page.get_by_role("textbox", name="Search"), page.locator("#search-said")
    expect(said).not_to_contain_text("Loading")
    wrong = {}
    for words, first in FIRST.items():
        box.fill(words)
        got = found.first.get_attribute("href", timeout=2_000).removeprefix(base) if found.count() else "nothing"
        if not re.fullmatch(first, got):
            wrong[words] = got
    assert len(FIRST) >= 40 and wrong == {}


def test_steels_pairs_submissions_and_objections_are_all_there(site, addresses):
    index = {entry.get("address", "") for entry in json.loads((site / "assets/search/index.json").read_text(encoding="utf-8"))}
    assert {address.removeprefix("/") for address in addresses if address != "/404.html"} - index == set()


def test_a_page_is_opened_by_the_keyboard_alone(searched):
    page, found = searched("petrel-2026-04-p15")
    expect(found.first).to_contain_text("petrel-2026-04-p15")
    page.keyboard.press("ArrowDown")
    expect(found.first).to_be_focused()
    page.keyboard.press("ArrowDown")
    expect(found.nth(1)).to_be_focused()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    page.wait_for_url("**/petrel-2026-04-p15/")


def test_enter_opens_the_first_and_escape_shuts_the_search(searched):
    page, found = searched("safety")
    expect(found.first).to_be_visible()
    page.keyboard.press("Escape")
    expect(found.first).to_be_hidden()
    page.keyboard.press("/")
    expect(found.first).to_be_visible()
    page.keyboard.press("Enter")
    page.wait_for_url("**/safety/")


def test_a_phone_finds_and_opens_a_page(open_page):
    page = open_page("/methods/", viewport=NARROW)
    page.locator(".tools > [for=__search]").click()
    page.keyboard.type("gloves")
    found = page.locator("#search-found").get_by_role("link")
    expect(found.first).to_be_visible()
    box = found.first.bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= NARROW["width"]
    found.first.click()
    page.wait_for_url("**/safety/")


def test_nonsense_finds_nothing_and_says_so(searched):
    page, found = searched("qqxyzzy")
    expect(page.locator("#search-said")).to_have_text("Nothing is found by these words.")
    assert found.count() == 0


def test_an_index_that_does_not_come_is_told_and_asked_for_again(open_page):
    page = open_page("/")
    page.route("**/index.json", lambda route: route.abort())
    page.keyboard.press("/")
    expect(page.locator("#search-said")).to_contain_text("could not be loaded")
    page.unroute("**/index.json")
    page.keyboard.press("Escape")
    page.keyboard.press("/")
    page.keyboard.type("safety")
    expect(page.locator("#search-found").get_by_role("link").first).to_be_visible()
