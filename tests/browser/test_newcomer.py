"""A newcomer's whole path, on a phone's width and with the keyboard alone: from the first page to the pooled figures."""

import csv
import json
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import yaml
from playwright.sync_api import Browser, Locator, Page, expect

from edgehold import pipeline
from edgehold.cli import main
from tests.published import copy_protocols

from .crawling import NARROW, WATCH
from .forms import this_month, words
from .keyboard import Keyboard
from .serving import served

PROTOCOL, VERSION = "two-sharpeners-rope", "1.1.0"
PRACTICE = {"wren": "practised", "tern": "novice"}
RATE = 2.0  # keystrokes a second of somebody who hunts for the keys: common practice
MOST_MINUTES = 10


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Path:
    """One protocol and two evenings of other people's, built as a site; a third is needed before anything is pooled."""
    root = tmp_path_factory.mktemp("newcomer")
    copy_protocols(root, PROTOCOL)
    (root / "submissions").mkdir()
    pipeline.site(root)
    example = json.loads((root / "build/site/data/examples" / f"{PROTOCOL}-{VERSION}.json").read_text(encoding="utf-8"))
    for number, handles in enumerate((("auk", "smew"), ("coot", "scaup"))):
        _put(root, _others(example, number, *handles))
    pipeline.site(root)
    return root


def _others(example: dict, number: int, first: str, second: str) -> dict:
    """The worked example as if two other people had read somewhat other forces."""
    text = json.dumps(example).replace('"wren', f'"{first}').replace('"tern', f'"{second}')
    record = json.loads(text) | {"id": f"{first}-{example['month']}-a01", "origin": "measured"}
    for person, practice in zip(record["people"], PRACTICE.values(), strict=True):
        person["sharpening"] = practice
    random = np.random.default_rng(number)
    for run in record["runs"]:
        run_factor = random.normal(0, 0.15)
        for reading in run["readings"]:
            for value in reading["values"]:
                value["written"] = float(f"{value['written'] * math.exp(run_factor + random.normal(0, 0.02)):.3g}")
    return record


def _put(root: Path, record: dict) -> None:
    path = root / "submissions" / "measured" / PROTOCOL / f"{record['id']}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")


def _table(root: Path, name: str, **wanted: str) -> list[dict[str, str]]:
    with (root / "build" / "results" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if all(row[column] == value for column, value in wanted.items())]


def _typed(keyboard: Keyboard, record: dict) -> dict[str, int]:
    """Type a record into an empty form, field after field as Tab leads; how many fields, readings and optional ones that took."""
    page, counts = keyboard.page, {"fields": 0, "readings": 0, "optional": 0}
    for number, person in enumerate(record["people"], 1):
        card = page.get_by_role("group", name=f"Person {number}", exact=True)
        _write(keyboard, card.get_by_role("textbox", name="Handle", exact=True), person["handle"])
        keyboard.reach(card.get_by_role("checkbox", name=re.compile("^This person agreed")))
        keyboard.press("Space")
        keyboard.reach(card.locator("summary", has_text="If you know it"))
        keyboard.press("Enter")
        counts["optional"] += keyboard.choose(card.get_by_role("combobox", name="Sharpening", exact=True), person["sharpening"])
        counts["fields"] += 2
    for number, blade in enumerate(record["blades"], 1):
        card = page.get_by_role("group", name=f"Blade {number}", exact=True)
        _write(keyboard, card.get_by_role("textbox", name="Key", exact=True), blade["key"])
        counts["fields"] += 1
    for number, run in enumerate(record["runs"], 1):
        _type_run(keyboard, number, run, record["preparations"][number - 1], counts)
    return counts


def _write(keyboard: Keyboard, box: Locator, text: str) -> None:
    keyboard.reach(box)
    keyboard.write(text)


def _type_run(keyboard: Keyboard, number: int, run: dict, preparation: dict, counts: dict[str, int]) -> None:
    card = keyboard.page.locator(f"details[data-title='Run {number}']")
    if card.get_attribute("open") is None:
        keyboard.reach(card.locator("summary").first)
        keyboard.press("Enter")
    for label, word in (
        ("Blade", preparation["blade"]), ("Sharpener", preparation["sharpener"]), ("Tester", run["tester"]),
        ("Reading unit", run["reading_unit"]), ("Ended", run["ended"]),
    ):  # fmt: skip
        counts["fields"] += keyboard.choose(card.get_by_role("combobox", name=label, exact=True).first, word)
    for reading in run["readings"]:
        for repeat, value in enumerate(reading["values"], 1):
            cell = card.get_by_role("textbox", name=f"Run {number}, at {reading['work']}, repeat {repeat}", exact=True)
            _write(keyboard, cell, f"{value['written']:g}")
            counts["readings"] += 1


def _answer(keyboard: Keyboard) -> dict[str, str]:
    """Ratio on the page by the endpoint's title, for practised against novice; the figures are unfolded by the keyboard."""
    section = keyboard.page.locator("#form-answer")
    keyboard.reach(section.locator("summary"))
    expect(section).not_to_have_attribute("aria-busy", "true")  # what was typed last is in it
    keyboard.reach(section.locator("summary"))
    keyboard.press("Enter")
    rows = section.get_by_role("row").filter(has_text="practised against novice").all()
    cells = [[words(cell) for cell in row.locator("th, td").all()] for row in rows]
    return {row[0]: row[2] for row in cells}


def test_from_the_first_page_to_the_pooled_figures_with_the_keyboard_alone(small, browser, capsys):
    example = json.loads((small / "build/site/data/examples" / f"{PROTOCOL}-{VERSION}.json").read_text(encoding="utf-8"))
    for person in example["people"]:
        person["sharpening"] = PRACTICE[person["handle"]]
    with served(small / "build" / "site") as base, _phone(browser) as page:
        page.goto(base)
        keyboard = Keyboard(page)
        _walk_to_the_form(keyboard)
        walked, keyboard.strokes = keyboard.strokes, 0
        counts = _typed(keyboard, example)
        said = re.search(r"(\d+) fields, (\d+) readings", words(page.locator("dl.facts")))
        assert (counts["fields"], counts["readings"]) == (int(said[1]), int(said[2]))
        shown = _answer(keyboard)
        keyboard.reach(page.get_by_role("button", name="Check and save the finished file"))
        with page.expect_download() as waited:
            keyboard.press("Enter")
        name, text = waited.value.suggested_filename, Path(waited.value.path()).read_text(encoding="utf-8")
        place = re.search(r"submissions/measured/\S+\.json", words(page.locator("#form-next")))[0]
    assert keyboard.lost == []
    minutes = keyboard.strokes / RATE / 60
    with capsys.disabled():
        print(f"\na newcomer: {counts['fields']} fields, {counts['readings']} readings and {counts['optional']} optional fields take")
        print(f"{keyboard.strokes} keystrokes, {minutes:.1f} minutes at {RATE:g} a second; {walked} lead to the form")
    assert minutes < MOST_MINUTES

    record = json.loads(text)
    assert name == Path(place).name == f"{record['id']}.json" and record["month"] == this_month()
    (small / place).write_text(text, encoding="utf-8")
    assert main(["check", "--root", str(small), str(small / place)]) == 0
    assert "0 errors, 0 warnings" in capsys.readouterr().out
    assert [row["state"] for row in _table(small, "comparisons", endpoint="late")] == ["listed"]
    assert main(["pool", "--root", str(small)]) == 0
    (line,) = _table(small, "submissions", submission=record["id"])
    assert (line["path"], line["submitted_by"], line["runs"]) == (place, "wren", str(len(example["runs"])))
    _the_pool_holds(small, record, shown)


def _the_pool_holds(root: Path, record: dict, shown: dict[str, str]) -> None:
    """Each ratio that the screen showed stands in the pooled figures, and the pool of three takes it in."""
    endpoints = {rule["title"]: rule["id"] for rule in _front(root)["endpoints"]}
    assert shown.keys() == endpoints.keys()
    for title, ratio in shown.items():
        (own,) = _table(root, "contributions", endpoint=endpoints[title], submission=record["id"])
        assert f"×{math.exp(float(own['ln_estimate'])):.3g}" == ratio
        (pooled,) = _table(root, "comparisons", endpoint=endpoints[title])
        assert (pooled["state"], pooled["studies"], pooled["first"], pooled["second"]) == ("pooled", "3", "practised", "novice")


def _front(root: Path) -> dict:
    return yaml.safe_load((root / "protocols" / PROTOCOL / f"{VERSION}.md").read_text(encoding="utf-8").split("---\n", 2)[1])


@contextmanager
def _phone(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport=NARROW, accept_downloads=True)
    context.add_init_script(WATCH)
    page = context.new_page()
    yield page
    assert page.evaluate("window.policyViolations") == []
    context.close()


def _walk_to_the_form(keyboard: Keyboard) -> None:
    """From the first page to the questions, to a sheet, and back to its form."""
    page = keyboard.page
    keyboard.follow(page.locator("article").get_by_role("link", name="Do it tonight").first)
    keyboard.follow(page.locator(f"article a[href$='{PROTOCOL}-{VERSION}/sheet/']"))
    expect(page.get_by_role("heading", name="Before you cut")).to_be_attached()
    keyboard.follow(page.locator("article").get_by_role("link", name="Do it tonight", exact=True).first)
    keyboard.follow(page.get_by_role("link", name=re.compile(f"^The form for .* {re.escape(VERSION)}$")))
    expect(page.locator("#form-root")).to_be_visible()


def test_the_skip_link_leads_past_the_header(small, browser):
    with served(small / "build" / "site") as base, _phone(browser) as page:
        page.goto(f"{base}/tonight/")
        keyboard = Keyboard(page)
        keyboard.reach(page.get_by_role("link", name="Skip to content"))
        keyboard.press("Enter")
        keyboard.press("Tab")
        assert page.evaluate("document.activeElement.closest('article') !== null")
        assert keyboard.lost == []


def test_menu_and_search_of_a_phone_open_by_the_keyboard_and_are_not_walked_through_while_shut(small, browser):
    with served(small / "build" / "site") as base, _phone(browser) as page:
        page.goto(base)
        keyboard = Keyboard(page)
        in_menu, in_search = page.locator(".md-sidebar a", has_text="Methods"), page.get_by_role("textbox", name="Search")
        expect(in_menu).to_be_hidden()
        keyboard.reach(page.get_by_role("checkbox", name="Search"))
        keyboard.press("Space")
        expect(in_search).to_be_focused()
        keyboard.write("objections")
        expect(page.locator("[data-md-component=search-result]").get_by_role("link").first).to_be_visible()
        page.goto(f"{base}/methods/")
        keyboard.reach(page.get_by_role("checkbox", name="Menu"))
        keyboard.press("Space")
        keyboard.follow(page.locator(".md-sidebar").get_by_role("link", name="Do it tonight", exact=True))
        assert keyboard.lost == []
