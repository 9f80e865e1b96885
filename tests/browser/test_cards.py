"""In a post: a method, a plan and what was found. The scripts say what the program says, one click puts it on the clipboard (where the
browser does not let it, the text is marked), and a link leads to the form for what is wrong with it."""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from answers.cases import files, rules_of
from playwright.sync_api import Browser, Page, expect

from edgehold.cards.fitting import CUT, HASH, LONGEST, SHORTEST, Line, fitted
from edgehold.cards.method import method_card
from edgehold.pages import addresses
from edgehold.records import load_repository
from edgehold.report.card import report_card
from tests.planning.households import HOUSEHOLDS, SEEDS, asked_in_the_browser, card, handed_out
from tests.report.reports import opened, report

from .crawling import NARROW
from .forms import Tab, new_context
from .keyboard import Keyboard
from .serving import modules

ASSETS = Path(__file__).parents[2] / "site" / "pages" / "assets"
EVENING = Path(__file__).parents[2] / "submissions" / "simulated" / "two-sharpeners-rope" / "dunlin-2026-10-p47.json"
ASK = "https://boatyard.example/objections/new/?protocol=x&version=1.0.0"
METHOD = "/protocols/two-sharpeners-rope/2.0.0/"


def test_one_click_copies_the_method(open_page):
    page = open_page(METHOD)
    page.evaluate("() => { navigator.clipboard.writeText = async text => { window.copied = text; }; }")
    page.get_by_text("The method in a post").click()
    page.get_by_role("button", name="Copy it").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    copied = page.evaluate("window.copied")
    assert copied == page.locator("#card").text_content() and len(copied) <= 1000 and copied.count("\n") > 10
    assert copied.startswith("Two sharpeners, one edge in halves, rope (method two-sharpeners-rope 2.0.0")
    assert re.search(r"What is wrong with this\? ", copied)


def test_where_the_clipboard_is_shut_the_text_is_marked(open_page):
    page = open_page(METHOD)
    page.evaluate("() => { navigator.clipboard.writeText = async () => { throw new Error('no'); }; }")
    page.get_by_text("The method in a post").click()
    page.get_by_role("button", name="Copy it").click()
    expect(page.get_by_text("copy it yourself")).to_be_visible()
    assert page.evaluate("getSelection().toString()").startswith("Two sharpeners, one edge in halves")


@pytest.fixture(scope="module")
def scripts(browser: Browser) -> Iterator[Page]:
    with modules(browser, ASSETS, "plan/card.js") as page:
        yield page


def test_whatever_the_lines_the_scripts_fit_them_as_the_program_does(scripts):
    rng, cases = np.random.default_rng(7), []
    words = ["edge", "of", "a", "longer-word,", "ends.", "π", "🔪", "x" * 70, ";:"]
    for _ in range(300):
        drawn = [" ".join(rng.choice(words, rng.integers(0, 40))) for _ in range(rng.integers(1, 14))]
        lines = [{"text": text, "rank": int(rng.integers(0, 6)), "prose": bool(rng.integers(0, 2))} for text in drawn]
        cases.append({"lines": lines, "figures": {"longest": int(rng.integers(1, 1200)), "shortest": SHORTEST, "cut": CUT}})
    got = scripts.evaluate("cases => import('../form/fitting.js').then(m => cases.map(one => m.fitted(one.lines, one.figures)))", cases)
    assert got == [fitted([Line(**line) for line in case["lines"]], case["figures"]["longest"]) for case in cases]
    assert sum(CUT in text for text in got) > 100 and any(len(text.splitlines()) > 5 for text in got)


@pytest.mark.parametrize("name", HOUSEHOLDS)
def test_a_plan_in_a_post_is_the_programs(scripts, name):
    rules = handed_out(name)
    rules["protocols"][0]["ask"] = ASK
    body = """given => import('./planned.js').then(async p => { const { planCard } = await import('./card.js');
      return given.seeds.map(seed => planCard(p.planned(given.question, given.rules, seed)[0], given.rules, "2026-05")); })"""
    got = scripts.evaluate(body, {"rules": rules, "question": asked_in_the_browser(name), "seeds": list(SEEDS)})
    assert got == [card(name, seed, ASK) for seed in SEEDS]
    assert all(len(text) <= LONGEST and ASK in text for text in got)


def test_what_was_found_in_a_post_is_the_programs(scripts):
    """Of every case of the corpus that answers are held to."""
    given = {}
    for name, case in files().items():
        rules = rules_of(case) | {"protocol": opened(name).protocol.record.model_dump(mode="json"), "ask": ASK}
        given[name] = {"record": case["submission"], "rules": rules}
    body = """async given => { const { reportCard } = await import('../form/card.js'), { comparisons } = await import('../form/answer.js');
      return Object.fromEntries(Object.entries(given).map(([name, { record, rules }]) =>
        [name, reportCard(record, comparisons(record, rules), rules, "0".repeat(64))])); }"""
    got = scripts.evaluate(body, given)
    assert got == {name: report_card(report(name), ASK) for name in given}
    assert max(map(len, got.values())) <= LONGEST and len({text.splitlines()[0].split(":")[0] for text in got.values()}) > 6


def on_the_clipboard(page: Page) -> None:
    page.evaluate("() => { navigator.clipboard.writeText = async text => { window.copied = text; }; }")


def copied_and_objected_to(page: Page, keys: Keyboard, place: str, summary: str) -> str:
    """The card at a place, unfolded, copied and left for the objection form by keyboard; the version asked about is chosen there."""
    at = page.locator(place)
    keys.reach(at.locator("summary").filter(has_text=summary))
    keys.press("Enter")
    keys.reach(at.get_by_role("button", name="Copy it"))
    keys.press("Enter")
    expect(at.get_by_text("Copied.")).to_be_visible()
    copied = page.evaluate("window.copied")
    assert copied == at.locator("pre.post").text_content() and len(copied) <= LONGEST
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    keys.follow(at.get_by_role("link", name="What is wrong with this?"))
    named = re.search(r"protocol=([^&]+)&version=([^&]+)", page.url).groups()
    chosen = page.locator("#form-fields select").evaluate_all("all => all.map(one => one.value)")
    assert "@".join(named) in chosen, "the objection form is filled in so far"
    assert keys.lost == []
    return copied


def test_a_plan_is_copied_and_objected_to_by_keyboard_on_a_narrow_screen(open_page):
    page = open_page("/tonight/", viewport=NARROW)
    on_the_clipboard(page)
    keys = Keyboard(page)
    keys.reach(page.get_by_role("button", name="Show what fits"))
    keys.press("Enter")
    expect(page.locator("#plan-result")).to_be_visible()
    assert copied_and_objected_to(page, keys, "#plan-post", "What you will do, in a post").startswith("What I will do in ")


def test_what_was_found_is_copied_and_objected_to_by_keyboard_on_a_narrow_screen(open_page):
    page = open_page("/tonight/two-sharpeners-rope-2.0.0/", viewport=NARROW)
    on_the_clipboard(page)
    page.locator("input[type=file]").first.set_input_files(EVENING)
    post = "#form-answer details:has(pre.post)"
    expect(page.locator(post)).to_be_attached()
    keys = Keyboard(page)
    page.locator("#form-answer h3").evaluate("head => { head.tabIndex = -1; head.focus(); }")
    copied = copied_and_objected_to(page, keys, post, "What you found, in a post")
    assert copied.startswith("Simulated: no blade was cut with.") and "(two-sharpeners-rope 2.0.0)" in copied


def test_the_finished_file_is_named_by_its_hash_in_the_post(open_page):
    page = open_page("/tonight/two-sharpeners-rope-2.0.0/")
    page.locator("input[type=file]").first.set_input_files(EVENING)
    expect(page.locator("#form-answer pre.post")).to_be_attached()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Check and save the finished file").click()
    hashed = hashlib.sha256(Path(saved.value.path()).read_bytes()).hexdigest()
    expect(page.locator("#form-next pre.post")).to_contain_text(f"SHA-256 of the result's file: {hashed[:HASH]}…")
    assert "SHA-256" not in page.locator("#form-answer pre.post").text_content()


def test_a_critic_goes_from_a_card_in_the_clipboard_to_an_objection(browser, form_base, form_root, tmp_path):
    """With the keyboard, on a telephone: the card's last line leads to the form, and what comes out of it passes the check."""
    key = ("two-sharpeners-rope", "2.0.0")
    loaded = load_repository(form_root).protocols[key]
    ask = form_base + addresses.objection_form(*key)
    context = new_context(browser, viewport=NARROW, permissions=["clipboard-read", "clipboard-write"])
    tab = Tab(context, form_base, "/objections/new/?protocol=analysis")  # any page: it stands for wherever the card was posted
    page = tab.page
    page.evaluate("card => navigator.clipboard.writeText(card)", method_card(loaded.record, "adopted", loaded.sha256, form_base, ask))
    pasted = page.evaluate("navigator.clipboard.readText()")
    (address,) = re.findall(r"What is wrong with this\? (\S+)", pasted)
    page.goto(address)
    keyboard = Keyboard(page)
    expect(page.get_by_label("Against", exact=True)).to_have_value("@".join(key))
    keyboard.reach(page.get_by_label("Title", exact=True))
    keyboard.write("The last half is cut by a tired hand")
    keyboard.choose(page.get_by_label("Threat", exact=True), "order")
    keyboard.reach(page.get_by_label("blocking", exact=True))
    keyboard.press("ArrowDown")  # material
    keyboard.reach(page.get_by_label("Statement", exact=True))
    keyboard.write("Hands tire.")
    keyboard.reach(page.get_by_label("Handle", exact=True))
    keyboard.write("auk")
    keyboard.choose(page.get_by_label("Interest", exact=True), "none")
    keyboard.reach(page.get_by_role("button", name="Check and save the file"))
    with page.expect_download() as waited:
        keyboard.press("Enter")
    path = page.locator("#form-path").inner_text()
    for part in ("protocols", "submissions"):
        shutil.copytree(form_root / part, tmp_path / part)
    (tmp_path / path).parent.mkdir()
    shutil.copy(waited.value.path(), tmp_path / path)
    found = load_repository(tmp_path)
    assert [f for f in found.errors if f.file == path] == []
    thread = next(thread for thread in found.objections if thread.path == path)
    assert (thread.objection.against.version, thread.objection.threat, thread.objection.severity) == ("2.0.0", "order", "material")
    assert keyboard.lost == [] and tab.troubles == []
    context.close()
