"""Choosing the evidence in the browser: the program's numbers, the choice in the address, the mark on everything."""

import json
import math
from pathlib import Path
from xml.etree import ElementTree

import pytest
from playwright.sync_api import expect

from tests.explorer.write_corpus import CORPUS

from .crawling import NARROW
from .test_axe import grave
from .test_plots import texts_of

POOL, PAIR = "two-sharpeners-rope-v1-simulated", "practised-and-novice"
ADDRESS = f"/results/explore/?pool={POOL}&pair={PAIR}&endpoint=late"
CLOSE = 1e-6
ASK = """async (asked) => {
  const { answerOf, byMonths, withoutStudies } = await import("/assets/explore/answer.js");
  const { readChoice } = await import("/assets/explore/choice.js");
  const { pointsOf } = await import("/assets/explore/prediction.js");
  const points = pointsOf(JSON.parse(document.getElementById("explore-data").textContent).draws);
  const short = (fit) => fit && { estimate: fit.estimate, se: fit.se, low: fit.low, high: fit.high, tau2: fit.tau2 };
  return asked.cases.map(({ pair: name, endpoint: id, address }) => {
    const pair = asked.evidence[name], endpoint = pair.endpoints.find((one) => one.id === id);
    const answer = answerOf(pair, endpoint, readChoice(address), points), { kept, pooled, spread, prediction } = answer;
    return {
      kept: kept.map((i) => pair.submissions[i].id), studies: [...pooled.numbers], fit: short(pooled.fit), within: pooled.within,
      weights: pooled.fit && [...pooled.weights], spread, prediction, without: withoutStudies(answer)?.map(short) ?? null,
      months: [...byMonths(pair, endpoint, kept)].map((step) => ({ ...step, fit: short(step.fit) })),
    };
  });
}"""


def differences(one, other, place=""):
    """Where two answers differ; numbers by more than a millionth, of themselves or absolutely."""
    if isinstance(one, dict) and isinstance(other, dict):
        return [found for key in one.keys() | other.keys() for found in differences(one.get(key), other.get(key), f"{place}/{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [found for i, (a, b) in enumerate(zip(one, other, strict=True)) for found in differences(a, b, f"{place}/{i}")]
    if isinstance(one, int | float) and isinstance(other, int | float):
        return [] if math.isclose(one, other, rel_tol=CLOSE, abs_tol=CLOSE) else [f"{place}: {one} against {other}"]
    return [] if one == other else [f"{place}: {one} against {other}"]


@pytest.fixture
def explorer(open_page):
    """The page with one pair chosen."""
    page = open_page(ADDRESS)
    expect(page.locator("#explore-own .result")).not_to_be_empty()
    return page


def told(page) -> str:
    return page.locator("#explore-own .result").inner_text()


def test_two_hundred_selections_say_what_the_program_says(explorer):
    evidence = {f"{p['pool']}/{p['pair']}": p for p in json.loads((CORPUS / "evidence.json").read_text(encoding="utf-8"))}
    cases = json.loads((CORPUS / "selections.json").read_text(encoding="utf-8"))
    assert len(cases) >= 200
    asked = {"evidence": evidence, "cases": [{key: case[key] for key in ("pair", "endpoint", "address")} for case in cases]}
    found = explorer.evaluate(ASK, asked)
    wrong = [(one, differences(got, case["says"])) for one, case, got in zip(asked["cases"], cases, found, strict=True)]
    assert [(one, places) for one, places in wrong if places] == []


def test_with_nothing_left_out_every_pair_says_what_is_published(explorer, site: Path):
    evidence = {str(path): json.loads(path.read_text(encoding="utf-8")) for path in sorted((site / "data" / "explore").glob("*/*.json"))}
    cases = [{"pair": name, "endpoint": e["id"], "address": ""} for name, pair in evidence.items() for e in pair["endpoints"]]
    pooled = 0
    for case, got in zip(cases, explorer.evaluate(ASK, {"evidence": evidence, "cases": cases}), strict=True):
        published = next(e for e in evidence[case["pair"]]["endpoints"] if e["id"] == case["endpoint"])["by_studies"]
        assert (published is None) == (got["fit"] is None), case
        if published:
            pooled += 1
            ends = (got["fit"][name] for name in ("estimate", "low", "high"))
            assert [math.exp(end) for end in ends] == pytest.approx([published[name] for name in ("ratio", "low", "high")], rel=CLOSE), case
    assert pooled >= 20


def test_a_doubter_comes_from_the_page_of_a_pair_and_sends_the_choice_as_an_address(open_page):
    page = open_page(f"/results/{POOL}/sharpening/")
    page.get_by_role("link", name="Doubt this? Choose the evidence yourself").click()
    expect(page.locator("#explore-pair")).to_have_value(PAIR)
    rows = page.locator(".explore-plots figure").first.locator("rect.explore-one")
    expect(rows.first).to_be_visible()
    whole = told(page)
    drawn = rows.count()
    page.locator("#explore-keep-6").uncheck()
    assert rows.count() == drawn - 1
    one_less = told(page)
    assert one_less != whole and "leave=" in page.url
    page.locator("#explore-interest").check()
    assert "interest=out" in page.url and told(page) not in (whole, one_less)
    page.locator("#explore-grade").select_option("4")
    low = page.locator("#explore-ticks").get_by_text("left out: its evidence has a lower grade")
    assert "grade=4" in page.url and low.count() > 0 and page.get_by_text("evidence 4 of 5").count() > 0
    page.locator("#explore-grade").select_option("")
    assert "grade" not in page.url and low.count() == 0
    chosen, address = told(page), page.url
    other = open_page("/")
    other.goto(address)
    expect(other.locator("#explore-own .result")).to_have_text(chosen)
    assert not other.locator("#explore-keep-6").is_checked() and other.locator("#explore-interest").is_checked()
    for _ in ("the grade", "no grade", "makers and sellers"):
        page.go_back()
    expect(page.locator("#explore-own .result")).to_have_text(one_less)
    assert not page.locator("#explore-interest").is_checked()
    page.go_back()
    expect(page.locator("#explore-own .result")).to_have_text(whole)
    assert page.locator("#explore-keep-6").is_checked()


def test_a_selection_is_marked_wherever_it_is_shown_and_the_published_answer_stands_beside_it(explorer):
    mark = "Your own selection of simulated submissions, not a published result"
    explorer.locator("#explore-blind").check()
    assert explorer.locator("#explore-own h2").inner_text() == mark
    figures = explorer.locator(".explore-plots figure")
    assert figures.count() == 3
    for figure in figures.all():
        assert mark in figure.locator("svg text").first.text_content()
        assert mark in figure.locator("figcaption").inner_text()
        figure.locator("summary").click()
        assert mark in figure.locator("table caption").inner_text()
    published = explorer.locator("#explore-published")
    assert "practised sharpener" in published.inner_text()
    published.get_by_role("link").click()
    assert explorer.url.endswith(f"/results/{POOL}/sharpening/")


def test_a_selection_is_saved_as_a_picture_with_its_mark_and_the_address_that_answers_it(open_page):
    page = open_page(ADDRESS, viewport=NARROW, color_scheme="dark")
    page.locator("#explore-keep-6").uncheck()
    figure = page.locator(".explore-plots figure").first
    saved = {}
    for button in figure.locator(".plot-downloads button").all():
        with page.expect_download() as download:
            button.click()
        saved[download.value.suggested_filename] = download.value.path().read_bytes()
    assert list(saved) == ["selection-submissions.svg", "selection-submissions.png"]
    drawing = ElementTree.fromstring(saved["selection-submissions.svg"].decode())
    words = " ".join("".join(one.itertext()) for one in drawing.iter("{http://www.w3.org/2000/svg}text"))
    assert "Your own selection of simulated submissions, not a published result" in words
    for told in (*figure.locator("figcaption").inner_text().split(), "practised against novice"):
        assert told in words
    assert page.url in "".join(words.split()), "whoever doubts it can open it"
    assert 900 < float(drawing.get("width")) < 1000, "as wide as on a desk, from a telephone too"
    kept = dict(texts_of(saved["selection-submissions.png"]))
    assert page.url in kept["Source"] and kept["Description"] == " ".join(figure.locator("figcaption").inner_text().split())
    page.locator("#explore-to").select_option(page.locator("#explore-to option").nth(1).get_attribute("value"))
    expect(page.locator(".explore-plots figure").nth(1).locator(".plot-downloads")).to_be_hidden()


def test_rules_studies_months_and_endpoints_leave_out_what_they_say(explorer):
    kept = explorer.locator("#explore-own .result")
    explorer.locator("#explore-version-1\\.0\\.0").check()
    assert "versions=1.0.0" in explorer.url
    study = explorer.locator("[id^=explore-study-]").first
    study.uncheck()
    assert "studies=" in explorer.url
    first = explorer.locator("#explore-to option").nth(1).get_attribute("value")
    explorer.locator("#explore-to").select_option(first)
    assert f"to={first}" in explorer.url
    expect(kept).to_contain_text("You keep none")
    assert explorer.locator(".explore-plots figure").nth(1).locator("svg").count() == 0
    address = explorer.url
    explorer.locator("#explore-endpoint").focus()
    explorer.locator("#explore-endpoint").select_option("early")
    expect(explorer.locator("#explore-endpoint")).to_be_focused()
    assert explorer.url == address.replace("endpoint=late", "endpoint=early")
    explorer.get_by_role("button", name="Put everything back").click()
    assert explorer.url.endswith(f"?pool={POOL}&pair={PAIR}&endpoint=early")
    assert not explorer.locator("#explore-version-1\\.0\\.0").is_checked() and study.is_checked()
    expect(kept).to_contain_text("Nothing is left out")


def test_the_keyboard_alone_leaves_a_submission_out(explorer):
    box = explorer.locator("#explore-keep-0")
    box.focus()
    explorer.keyboard.press("Space")
    assert not box.is_checked() and "leave=" in explorer.url
    expect(box).to_be_focused()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_every_bar_is_on_the_screen_and_axe_finds_nothing_grave(open_page, scheme):
    page = open_page(f"{ADDRESS}&interest=out", viewport=NARROW, color_scheme=scheme)
    expect(page.locator("#explore-own .result")).not_to_be_empty()
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    beyond = """width => [...document.querySelectorAll(".explore-plot > *")].filter((part) => {
      const { left, right } = part.getBoundingClientRect(); return left < 0 || right > width; }).length"""
    assert page.evaluate(beyond, NARROW["width"]) == 0
    page.locator(".explore-plots details").evaluate_all("all => all.forEach(details => { details.open = true; })")
    assert grave(page) == []


def test_without_scripts_the_page_says_what_to_do(open_page):
    page = open_page("/results/explore/", java_script_enabled=False)
    assert "needs JavaScript" in page.locator("noscript").inner_text()
    assert not page.locator("#explore-root").is_visible()


@pytest.mark.parametrize("address", ["?pool=nothing&pair=nothing", "?pool=%3Cscript%3E&pair=../../x", f"?pool={POOL}&pair=constructor"])
def test_an_address_that_names_no_pair_is_told_so(open_page, address):
    page = open_page(f"/results/explore/{address}")
    expect(page.locator("#explore-status")).to_contain_text("no evidence on the pair")
    page.locator("#explore-pool").select_option(POOL)
    expect(page.locator("#explore-own .result")).not_to_be_empty()


def test_nonsense_in_an_address_leaves_nothing_out(open_page):
    page = open_page(f"{ADDRESS}&leave=%3Cimg%20src%3Dx%3E,nobody&studies=x,1e400&from=soon&interest=maybe")
    expect(page.locator("#explore-own .result")).not_to_be_empty()
    whole = open_page(ADDRESS)
    expect(whole.locator("#explore-own .result")).not_to_be_empty()
    assert told(page).split(" Nothing")[0] == told(whole).split(" Nothing")[0]


def test_a_file_that_cannot_be_had_is_told_and_asked_for_again(browser, base):
    context = browser.new_context()
    page = context.new_page()
    page.route("**/data/explore/**", lambda route: route.abort())
    page.goto(base + ADDRESS)
    expect(page.locator("#explore-status")).to_contain_text("could not be loaded")
    page.unroute("**/data/explore/**")
    page.locator("#explore-endpoint, #explore-pool").first.select_option("steels-exchanged-rope-v2-simulated")
    expect(page.locator("#explore-own .result")).not_to_be_empty()
    context.close()
