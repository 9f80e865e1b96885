"""What stands on every page: title, language, one heading; "simulated" on what is; cautions before the first step."""

import re
from collections import Counter

import pytest
from playwright.sync_api import expect


def test_every_page_has_a_title_of_its_own(facts):
    """A protocol's own page and the page of its newest version say the same under two addresses, and share theirs."""
    titles = Counter(seen["title"] for address, seen in facts.items() if not re.fullmatch(r"/protocols/[^/]+/\d[\d.]+/", address))
    assert {title for title, times in titles.items() if times > 1} == set()
    assert min(map(len, titles)) > 10


def test_every_page_has_one_first_heading_and_its_language(facts):
    assert {address: seen["headings"] for address, seen in facts.items() if len(seen["headings"]) != 1 or not seen["headings"][0]} == {}
    assert {seen["language"] for seen in facts.values()} == {"en"}


def test_no_id_stands_twice_on_a_page(facts):
    assert {address: seen["repeatedIds"] for address, seen in facts.items() if seen["repeatedIds"]} == {}


def test_every_table_has_the_same_number_of_columns_in_every_row(facts):
    assert {address: seen["unevenTables"] for address, seen in facts.items() if seen["unevenTables"]} == {}


def test_every_page_made_from_simulated_data_says_so(facts):
    made_of_data = r"/|/results/.*|/steels/demo-.*|/submissions/.*|/analysts/|/objections/[^/]+/\d{3}/"
    pages = {address: seen["text"] for address, seen in facts.items() if re.fullmatch(made_of_data, address)}
    assert len(pages) > 90
    assert {address for address, text in pages.items() if "simulated" not in text.lower()} == set()


def test_every_table_of_invented_results_says_so_in_its_caption_and_nowhere_else(open_page, addresses):
    """So that a picture of the table still says it, and no row has to."""
    page = open_page(next(a for a in addresses if "/steels-exchanged-rope-v2-simulated/compare/" in a))
    captions = page.locator("article table caption").all_text_contents()
    assert len(captions) > 5
    assert [caption for caption in captions if not caption.endswith("Simulated.")] == []
    assert [row for row in page.locator("article table tr").all_text_contents() if "simulated" in row.lower()] == []


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_banner_of_invented_results_stays_in_view_and_hides_nothing_that_has_the_focus(open_page, addresses, width, scheme):
    page = open_page(
        next(a for a in addresses if "/steels-exchanged-rope-v2-simulated/compare/" in a),
        viewport={"width": width, "height": 800},
        color_scheme=scheme,
    )
    banner = page.locator(".banner.simulated")
    expect(banner).to_have_count(1)
    for share in (0, 0.3, 0.6, 0.9):
        page.evaluate("share => window.scrollTo(0, share * document.documentElement.scrollHeight)", share)
        box = banner.bounding_box()
        assert box and 0 <= box["y"] < 600 and box["height"] < 80, (share, box)
        assert page.evaluate(
            "box => document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2).closest('.banner') !== null", box
        ), f"{share}: something lies above the banner"
    covered = page.evaluate(
        """() => {
            const banner = document.querySelector(".banner.simulated"), found = [];
            window.scrollTo(0, document.documentElement.scrollHeight);
            for (const link of [...document.querySelectorAll("article a[href]")].filter((link) => link.offsetParent).reverse()) {
                link.focus();
                const { top, height } = link.getBoundingClientRect();
                if (getComputedStyle(banner).position !== "sticky") { return ["not sticky"]; }
                const bar = banner.getBoundingClientRect();
                if (bar.top < 70 && top + height <= bar.bottom && top >= bar.top) { found.push(link.href); }
            }
            return found;
        }"""
    )
    assert covered == []


def test_every_printed_sheet_of_invented_results_says_so(open_page, addresses):
    """By the head of the sheets that such a page is printed on (CSS Paged Media 3, named pages); of others by none."""
    heads = """() => [getComputedStyle(document.body).page, [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules])
        .filter((rule) => rule instanceof CSSPageRule && rule.selectorText === "simulated").map((rule) => rule.cssText).join("")]"""
    for address, named in (
        (next(a for a in addresses if "/steels-exchanged-rope-v2-simulated/compare/" in a), "simulated"),
        ("/safety/", "auto"),
    ):
        page = open_page(address)
        page.emulate_media(media="print")
        name, rule = page.evaluate(heads)
        assert name == named and "Simulated: invented people" in rule
        if named == "simulated":
            expect(page.locator(".banner.simulated")).to_be_visible()


def test_pages_without_data_do_not_call_themselves_simulated_as_a_whole(facts):
    for address in ("/safety/", "/conduct/", "/privacy/"):
        assert "Everything on this page comes from a demonstration" not in facts[address]["text"]


def test_the_cautions_of_every_protocol_stand_before_its_first_step(addresses, open_page, base):
    pages = [
        address
        for address in addresses
        if re.fullmatch(r"/protocols/.+/", address) and not re.search(r"/(changes|new)/$|^/protocols/compare/", address)
    ]
    assert len(pages) >= 8
    page = open_page(pages[0])
    for address in pages:
        page.goto(base + address)
        steps = page.locator("article :is(h2, h3, h4)[id^=s]").filter(has_text=re.compile(r"^s?\d"))
        expect(steps.first).to_be_attached()
        for caution in ("Local law", "Clamp", "Cut-resistant glove", "Never test on skin", "First aid", "blindfolded"):
            place = page.locator("article").get_by_text(caution).first
            assert place.evaluate("(place, step) => place.compareDocumentPosition(step)", steps.first.element_handle()) & 4, (
                f"{address}: {caution!r} does not stand before the first step"
            )


def test_every_page_leads_to_safety(facts):
    assert {address for address, seen in facts.items() if not any(link.split("#")[0] == "/safety/" for link in seen["links"])} <= {
        "/404.html"
    }
