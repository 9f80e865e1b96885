"""A newcomer's whole path, on a phone's width and with the keyboard alone: from the planner of "Do it tonight" to the pooled figures."""

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

from edgehold import builds
from edgehold.cli import main
from edgehold.records.read.letters import from_letters
from tests.published import copy_protocols

from .crawling import NARROW, WATCH
from .forms import this_month, words
from .keyboard import Keyboard
from .serving import served

PROTOCOL, VERSION = "two-sharpeners-rope", "2.0.0"
PRACTICE = {"wren": "practised", "tern": "novice"}
RATE = 2.0  # keystrokes a second of somebody who hunts for the keys: common practice
MOST_MINUTES = 10
TESTER, HANDLES = "fid", "fid, wren, tern"
LUCK = 0.03  # ln; no two readings of a run and the next are alike

# Half of what the same path took before there was a planner, on a phone of 390 × 844: 70 screens, 122 fields for four runs, 22 minutes of
# reading at 230 words a minute, 7 to 11 steps. Paper, and the page of the method behind it, are not counted here.
SCREEN, MOST_SCREENS, WORDS_A_MINUTE, MOST_READING, MOST_STEPS = 844, 35, 230, 11, 5
MOST_FIELDS = 122 / 4 / 2  # a run, readings among them
COUNTED = """() => {
  const texts = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT), told = [];
  const read = at => at.localName !== "option" && !at.closest("svg, .sr, pre") && at.checkVisibility({ visibilityProperty: true });
  while (texts.nextNode()) { if (read(texts.currentNode.parentElement)) { told.push(texts.currentNode.data); } }
  return { height: document.documentElement.scrollHeight, words: (told.join(" ").match(/[\\p{L}\\p{N}]\\S*/gu) ?? []).length };
}"""  # text that is seen: no words of lists that are shut, no labels in drawings
PAPER = """() => {
  window.printed = [];
  window.print = () => window.printed.push(document.getElementById("plan-paper").innerText);
}"""


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Path:
    """One protocol and two evenings of other people's, built as a site; a third is needed before anything is pooled."""
    root = tmp_path_factory.mktemp("newcomer")
    copy_protocols(root, PROTOCOL)
    (root / "submissions").mkdir()
    builds.site(root)
    example = json.loads((root / "build/site/data/examples" / f"{PROTOCOL}-{VERSION}.json").read_text(encoding="utf-8"))
    for number, handles in enumerate((("auk", "smew"), ("coot", "scaup"))):
        _put(root, _others(example, number, *handles))
    builds.site(root)
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
    """Type what the planner did not fill in, field after field as Tab leads; how many fields, readings and optional ones that took."""
    page, counts = keyboard.page, {"fields": 0, "readings": 0, "optional": 0}
    for number, person in enumerate(record["people"], 1):
        card = page.get_by_role("group", name=f"Person {number}", exact=True)
        expect(card.get_by_role("textbox", name="Handle", exact=True)).to_have_value(person["handle"])
        keyboard.reach(card.get_by_role("checkbox", name=re.compile("^This person agreed")))
        keyboard.press("Space")
        counts["fields"] += 1
        if person.get("sharpening"):
            keyboard.reach(card.locator("summary", has_text="If you know it"))
            keyboard.press("Enter")
            counts["optional"] += keyboard.choose(card.get_by_role("combobox", name="Sharpening", exact=True), person["sharpening"])
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
    figures = section.locator("summary", has_text="The figures")
    keyboard.reach(figures)
    expect(section).not_to_have_attribute("aria-busy", "true")  # what was typed last is in it
    keyboard.reach(figures)
    keyboard.press("Enter")
    rows = section.get_by_role("row").filter(has_text="practised against novice").all()
    cells = [[words(cell) for cell in row.locator("th, td").all()] for row in rows]
    keyboard.press("Enter")  # folded again
    return {row[0]: row[2] for row in cells}


def _planned(page: Page, example: dict) -> dict:
    """What was done by the order on the page: the people, and readings like the example's for each run in its place."""
    heads, *rows = [row.locator("th, td").all_inner_texts() for row in page.locator("#plan-order tr").all()]
    order = [dict(zip(heads, row, strict=True)) for row in rows]
    read = {edge["sharpener"]: run["readings"] for edge, run in zip(example["preparations"], example["runs"], strict=True)}
    random = np.random.default_rng(5)
    runs, edges = [], []
    for row in order:
        last, factor = 40, math.exp(random.normal(0, 0.1))
        values = [
            {
                "work": one["work"],
                "values": [{"written": float(f"{v['written'] * factor * math.exp(random.normal(0, LUCK)):.3g}")} for v in one["values"]],
            }
            for one in read[row["Sharpened by"]]
            if one["work"] <= last
        ]
        edges.append({"blade": row["Blade"], "sharpener": row["Sharpened by"]})
        runs.append({"tester": row["Cut and read by"], "reading_unit": "N", "ended": "last checkpoint", "readings": values})
    people = [{"handle": TESTER}, *({"handle": handle, "sharpening": word} for handle, word in PRACTICE.items())]
    return {"people": people, "preparations": edges, "runs": runs}


def _plan(keyboard: Keyboard, example: dict) -> tuple[dict, dict[str, float], int]:
    """Five questions, of which four are answered already; the plan, its sheet and key on paper, and the form opened on it."""
    page, steps = keyboard.page, 0
    _write(keyboard, page.get_by_label("Handles, yours first"), HANDLES)
    keyboard.press("Enter")
    steps += 1
    expect(page.locator("#plan-first")).to_be_focused()
    expect(page.locator("#plan-best")).to_contain_text("6 runs to 40 cuts")
    record = _planned(page, example)
    for name in ("Print the sheet", "Print the key"):
        keyboard.reach(page.get_by_role("button", name=name))
        keyboard.press("Enter")
    sheet, key = page.evaluate("window.printed")
    assert "Before you cut" in sheet and sheet.count("Ended:") == len(record["runs"]) and "wren" not in sheet
    assert all(word in key for word in ("wren", "tern", "who keeps the codes"))
    steps += 1  # both to one printer
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    seen = page.evaluate(COUNTED)
    keyboard.reach(page.get_by_role("button", name="Open the form with this filled in"))
    keyboard.press("Enter")
    page.wait_for_url(re.compile(f"/tonight/{PROTOCOL}-"))
    expect(page.locator("#form-root")).to_be_visible()
    return record, seen, steps + 1


def test_from_do_it_tonight_to_the_pooled_figures_with_the_keyboard_alone(small, browser, capsys):
    example = json.loads((small / "build/site/data/examples" / f"{PROTOCOL}-{VERSION}.json").read_text(encoding="utf-8"))
    with served(small / "build" / "site") as base, _phone(browser) as page:
        page.add_init_script(f"({PAPER})()")
        page.goto(f"{base}/tonight/")
        keyboard = Keyboard(page)
        record, planner, steps = _plan(keyboard, example)
        planned, keyboard.strokes = keyboard.strokes, 0
        counts = _typed(keyboard, record)
        shown = _answer(keyboard)
        keyboard.reach(page.get_by_role("button", name="Check and save the finished file"))
        with page.expect_download() as waited:
            keyboard.press("Enter")
        name, text = waited.value.suggested_filename, Path(waited.value.path()).read_text(encoding="utf-8")
        place = re.search(r"submissions/measured/\S+\.json", words(page.locator("#form-next")))[0]
        keyboard.reach(page.get_by_role("button", name="Copy the block"))
        keyboard.press("Enter")
        block = page.locator("textarea.letters").input_value()
        form, steps = page.evaluate(COUNTED), steps + 2
    assert keyboard.lost == []
    assert len(block) < 3_500 and from_letters(block) == text.encode()
    _stays_short(planner, form, counts, len(record["runs"]), steps, planned, keyboard.strokes, capsys)

    record = json.loads(text)
    assert name == Path(place).name == f"{record['id']}.json" and record["month"] == this_month()
    (small / place).write_text(text, encoding="utf-8")
    assert main(["check", "--root", str(small), str(small / place)]) == 0
    assert "0 errors, 0 warnings" in capsys.readouterr().out
    assert [row["state"] for row in _table(small, "comparisons", endpoint="late")] == ["listed"]
    assert main(["pool", "--root", str(small)]) == 0
    (line,) = _table(small, "submissions", submission=record["id"])
    assert (line["path"], line["submitted_by"], line["runs"]) == (place, TESTER, str(len(record["runs"])))
    _the_pool_holds(small, record, shown)


def _stays_short(planner: dict, form: dict, counts: dict[str, int], runs: int, steps: int, planned: int, typed: int, capsys) -> None:
    screens, read = ((planner[part] + form[part]) / of for part, of in (("height", SCREEN), ("words", WORDS_A_MINUTE)))
    answered, minutes = 1 + counts["fields"], typed / RATE / 60
    said = f"{screens:.1f} screens, {read:.1f} minutes to read, {answered} fields and {counts['readings']} readings, {steps} steps"
    with capsys.disabled():
        print(f"\na newcomer: {said};")
        print(f"{planned} keystrokes to plan, {typed} to type, {minutes:.1f} minutes at {RATE:g} a second")
    assert screens <= MOST_SCREENS and read <= MOST_READING and steps <= MOST_STEPS
    assert (answered + counts["readings"]) / runs <= MOST_FIELDS and minutes < MOST_MINUTES


def _the_pool_holds(root: Path, record: dict, shown: dict[str, str]) -> None:
    """Each ratio that the screen showed stands in the pooled figures, and the pool of three takes it in."""
    endpoints = {rule["title"]: rule["id"] for rule in _front(root)["endpoints"]}
    assert shown.keys() == endpoints.keys()
    for title, ratio in shown.items():
        (own,) = _table(root, "contributions", endpoint=endpoints[title], submission=record["id"])
        if ratio == "–":  # every run outlasted its last checkpoint: the pool has no figure of it either
            assert own["ln_estimate"] == ""
            continue
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
        expect(page.locator("#search-found").get_by_role("link").first).to_be_visible()
        page.goto(f"{base}/methods/")
        keyboard.reach(page.get_by_role("checkbox", name="Menu"))
        keyboard.press("Space")
        keyboard.follow(page.locator(".md-sidebar").get_by_role("link", name="Do it tonight", exact=True))
        assert keyboard.lost == []
