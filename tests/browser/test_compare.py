"""A or B: somebody chooses two by name, by keyboard and on a phone, and gets the page of both or what would compare them."""

import json
import re

import pytest
from playwright.sync_api import expect

from edgehold.pages import one_exchange
from edgehold.results.model.results import Results

from .crawling import NARROW
from .keyboard import Keyboard
from .payloads import as_shown
from .serving import served


@pytest.fixture
def chooser(open_page):
    """The page that chooses, on a phone, and a keyboard on it."""
    page = open_page("/compare/", viewport=NARROW)
    expect(page.locator("#choose-root")).to_be_visible()
    return page, Keyboard(page)


def choose(page, keyboard: Keyboard, label: str, text: str) -> None:
    """Type a part of a name and take the first that fits."""
    field = page.get_by_role("combobox", name=label, exact=True)
    keyboard.reach(field)
    keyboard.write(text)
    keyboard.press("ArrowDown")
    keyboard.press("Enter")


def rules(page) -> dict:
    return json.loads(page.locator("#choose-rules").text_content())


def test_two_steels_are_chosen_by_keyboard_and_their_page_opens(chooser, site):
    page, keyboard = chooser
    choose(page, keyboard, "First one", "high-sp")
    expect(page.get_by_role("combobox", name="First one")).to_have_value("demo-high-speed (simulated)")
    choose(page, keyboard, "Second one", "demo plain")
    expect(page.locator("#choose-answer").get_by_role("link")).to_have_count(1)
    assert re.search(r"\?a=demo-high-speed&b=demo-plain-carbon$", page.url)
    keyboard.press("Enter")
    page.wait_for_url("**/compare/demo-high-speed-and-demo-plain-carbon/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("demo-high-speed or demo-plain-carbon?")
    assert keyboard.lost == [] and keyboard.strokes < 60
    results = json.loads((site / "data" / "results.json").read_text(encoding="utf-8"))
    pool = next(p for p in results["pools"] if (p["protocol"], p["major"]) == ("steels-exchanged-rope", 2))
    late = next(e for e in pool["endpoints"] if e["id"] == pool["quoted"]["endpoint"])
    answer = next(c for c in late["steels"] if (c["first"], c["second"]) == ("demo-high-speed", "demo-plain-carbon"))
    expect(page.locator("article .finding").first).to_contain_text(answer["sentence"])


def test_two_that_nothing_compares_say_at_once_which_test_would(chooser):
    page, keyboard = chooser
    choose(page, keyboard, "First one", "440C")
    choose(page, keyboard, "Second one", "1.2379")
    answer = page.locator("#choose-answer")
    expect(answer).to_contain_text("Nothing compares 440C with 1.2379 yet.")
    expect(answer).to_contain_text("anybody who has a blade of each")
    keyboard.follow(answer.get_by_role("link", name="Plan the test"))
    wanted = re.search(r"\?question=(.+)$", page.url)[1]
    assert page.locator("[name=plan-question]:checked").input_value() == wanted
    assert keyboard.lost == []


def test_what_is_chosen_stands_in_the_address(open_page):
    page = open_page("/compare/?a=aisi-440c&b=aisi-d2")
    expect(page.get_by_role("combobox", name="First one")).to_have_value("440C")
    expect(page.locator("#choose-answer")).to_contain_text("Nothing compares 440C with D2 yet.")
    page = open_page("/compare/?a=finish-in-halves-rope%3Acoarse&b=finish-in-halves-rope%3Afine")
    expect(page.locator("#choose-answer a")).to_have_attribute("href", "finish-in-halves-rope/coarse-and-fine/")
    page = open_page("/compare/?a=%3Cimg%20src%3Dx%3E&b=__proto__")
    expect(page.locator("#choose-answer")).to_have_text("Choose two, and this says what is known of them.")


def test_the_only_other_one_is_chosen_by_itself(chooser):
    page, keyboard = chooser
    choose(page, keyboard, "First one", "novice")
    expect(page.get_by_role("combobox", name="Second one")).to_have_value("practised sharpener")
    expect(page.locator("#choose-answer a")).to_have_attribute("href", "practised-and-novice/")


def test_what_is_never_compared_is_not_offered_and_says_why_when_asked(chooser, open_page):
    page, keyboard = chooser
    choose(page, keyboard, "First one", "demo-high-speed")
    field = page.get_by_role("combobox", name="Second one")
    field.fill("440")
    expect(page.locator("#choose-b-list [role=option]")).to_have_count(0)
    field.fill("440C")
    expect(page.locator("#choose-answer")).to_contain_text("demo-high-speed (simulated) is invented")
    field.fill("novice")
    expect(page.locator("#choose-answer")).to_contain_text("Choose two steels, two levels of one treatment")
    field.fill("Unobtainium <b>9</b>")
    expect(page.locator("#choose-answer")).to_contain_text("Nothing here is called “Unobtainium <b>9</b>”")
    assert page.locator("#choose-answer b").count() == 0


def test_the_list_follows_the_pattern_of_a_combobox(chooser):
    page, _ = chooser
    field, listed = page.get_by_role("combobox", name="First one"), page.locator("#choose-a-list")
    expect(field).to_have_attribute("aria-expanded", "false")
    field.press_sequentially("demo")
    expect(field).to_have_attribute("aria-expanded", "true")
    options = listed.get_by_role("option")
    expect(page.locator("#choose-count")).to_have_text(f"{options.count()} names fit")
    expect(page.locator("#choose-answer")).to_have_text("Choose two, and this says what is known of them.")
    field.press("ArrowUp")
    expect(field).to_have_attribute("aria-activedescendant", options.last.get_attribute("id"))
    field.press("ArrowDown")
    expect(options.first).to_have_attribute("aria-selected", "true")
    field.press("Escape")
    expect(listed).to_be_hidden()
    field.press("Escape")
    expect(field).to_have_value("")
    field.click()
    options.nth(2).click()
    expect(field).not_to_have_value("")
    expect(listed).to_be_hidden()


def test_the_browser_and_the_pages_name_the_same_exchange(chooser, site):
    page, _ = chooser
    results = Results.model_validate_json((site / "data" / "results.json").read_bytes())
    methods = one_exchange.open_methods(results)
    known = one_exchange.tables(results, methods)
    names = [steel.id for steel in results.steels] + ["aisi-440c", "aisi-d2"]
    pairs = [(a, b) for a in names for b in names if a != b]
    told = page.evaluate(
        """async pairs => {
          const { exchangeOf } = await import('../assets/compare/exchange.js');
          const rules = JSON.parse(document.getElementById('choose-rules').textContent);
          const of = key => rules.things.find(thing => thing.key === key);
          const told = ([a, b]) => exchangeOf(of(a), of(b), rules);
          return pairs.map(told).map(({ code, values, links }) => [code, values, links.length]);
        }""",
        [list(pair) for pair in pairs],
    )
    for pair, (code, values, links) in zip(pairs, told, strict=True):
        exchange = one_exchange.of_steels(*pair, known, methods)
        assert (f"chooser.{code}", values, links) == (exchange.sentence.code, exchange.sentence.arguments, len(exchange.links)), pair
    assert {code for code, _, _ in told} == {"swap", "send", "anybody"}
    assert list(rules(page)["methods"]) == list(methods)


def test_without_scripts_every_two_are_in_a_list(browser, base, addresses):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{base}/compare/")
    expect(page.locator("#choose-off")).to_be_visible()
    expect(page.locator("#choose-root")).to_be_hidden()
    pages = {address for address in addresses if re.fullmatch(r"/compare/.+", address)}
    assert len(pages) >= 18 and {link.evaluate("a => a.pathname") for link in page.locator("#all ~ .table a").all()} == pages
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_name_figure_bar_and_words_are_in_view(open_page, scheme):
    page = open_page("/compare/demo-high-speed-and-demo-plain-carbon/", viewport=NARROW, color_scheme=scheme)
    for row in page.locator(".stacks").first.locator("tbody tr:not(.group)").all()[:4]:
        cells = row.locator("th, td:not(:empty)").all() + row.locator("svg").all()
        assert len(cells) == 6
        for cell in cells:
            box = cell.bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= NARROW["width"]


def test_names_of_strangers_stay_names(browser, hostile_site, hostile_facts):
    found = [address for address in hostile_facts if re.fullmatch(r"/compare/hostile-rope/[^/]+/", address)]
    assert len(found) == 1, "runs of two levels"
    with served(hostile_site) as base:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{base}/compare/")
        handed = rules(page)
        levels = [thing for thing in handed["things"] if thing["kind"] == "level"]
        assert len(levels) == 3
        with_page = next(
            [handed["things"][one], handed["things"][other]] for one, other, address, _ in handed["pairs"] if "hostile-rope" in address
        )
        for thing in levels:
            page.get_by_role("combobox", name="First one").fill(thing["name"])
            expect(page.locator("#choose-a-list [role=option]").first).to_be_visible()
            shown = page.locator("#choose-a-list").inner_text()
            assert as_shown(thing["name"]) in as_shown(shown)
        page.get_by_role("combobox", name="First one").fill(with_page[0]["label"])
        page.get_by_role("combobox", name="Second one").fill(with_page[1]["label"])
        page.get_by_role("button", name="Compare").click()
        page.wait_for_url("**/compare/hostile-rope/*/")
        assert page.evaluate("window.scriptRan") is None
        for thing in with_page:
            assert as_shown(thing["name"]) in as_shown(page.locator("article").inner_text())
        context.close()


def test_from_the_first_page_to_a_pair_and_its_citation_in_three_clicks(open_page):
    page = open_page("/", viewport=NARROW)
    page.get_by_role("link", name="Look up A or B").first.click()
    page.get_by_role("link", name="demo-high-speed or demo-plain-carbon?").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("demo-high-speed or demo-plain-carbon?")
    page.locator("details.cite > summary", has_text="Cite this result").click()
    expect(page.locator("#cite-bibtex")).to_be_visible()
    assert "demo-high-speed or demo-plain-carbon" in page.locator("#cite-bibtex").inner_text()
