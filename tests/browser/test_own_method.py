"""A protocol file of one's own, opened in the browser: the table of two methods is the one that the program makes."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from edgehold.review.writing import markdown_text
from tests.forms.method_corpus import OF_LEVELS
from tests.published import PROTOCOLS

from .crawling import FACTS, NARROW
from .forms import Tab, new_context
from .keyboard import Keyboard
from .payloads import Payloads
from .test_axe import grave
from .test_method_form import written

COMPARE = "/protocols/compare/"
CELLS = """() => [...document.querySelectorAll("section[aria-labelledby] table")].map(table =>
  [...table.tBodies[0].rows].map(row => [...row.cells].map(cell => cell.textContent.replace(/\\s+/g, " ").trim())))"""
NOTES = "() => [...document.querySelectorAll('.note')].map(note => note.textContent).filter(text => text.includes('leaves'))"
EVENING, STANDING = "What an evening tells", re.compile(r" ?Objection \d+ stands( \(blocking\))?\.")


def newest(protocol: str):
    """The file of a protocol's newest version."""
    return max((PROTOCOLS / protocol).glob("*.md"), key=lambda path: [int(part) for part in path.stem.split(".")])


def open_own(page, file, beside: str) -> None:
    page.get_by_label("Your protocol file", exact=True).set_input_files(file)
    expect(page.locator("#form-status")).to_contain_text("read, and shown below")
    label = page.get_by_label("Beside", exact=True).locator("option", has_text=beside).text_content()
    page.get_by_label("Beside", exact=True).select_option(label=label)


PAIRS = [
    ("finish-in-halves-rope", "life-on-card"),
    ("first-evening-paper", "steels-exchanged-rope"),
    ("life-on-card", "strop-or-not-paper"),
    ("steels-exchanged-rope", "two-sharpeners-rope"),
    ("strop-or-not-paper", "two-sharpeners-rope"),
]


@pytest.mark.parametrize(("own", "other"), PAIRS)
def test_a_published_file_opened_as_ones_own_has_the_rows_of_the_published_page(context, form_base, own, other):
    tab = Tab(context, form_base, COMPARE)
    open_own(tab.page, newest(own), f"({other} ")
    shown, notes = tab.page.evaluate(CELLS), tab.page.evaluate(NOTES)
    tab.page.goto(f"{form_base}{COMPARE}{own}-and-{other}/")
    threats, settings = tab.page.evaluate(CELLS)
    assert shown[0] == [[kind, STANDING.sub("", one).strip(), two] for kind, one, two in threats]  # an own file has no objections yet
    assert [row for row in shown[1] if row[0] != EVENING] == [row for row in settings if row[0] != EVENING]
    if not any("stands" in one for _, one, _ in threats):
        assert notes == tab.page.evaluate(NOTES)
    assert tab.troubles == []


def test_with_the_keyboard_on_a_telephone_a_method_from_the_form_stands_beside_a_published_one(browser, form_base, tmp_path):
    context = new_context(browser, viewport=NARROW)
    tab = Tab(context, form_base, COMPARE)
    page, keyboard = tab.page, Keyboard(tab.page)
    file = tmp_path / "own.md"
    file.write_text(written(OF_LEVELS, "2026-05")["files"][0][1], encoding="utf-8")
    keyboard.choose_file(page.get_by_label("Your protocol file", exact=True), file)
    expect(page.get_by_role("heading", name="Threat by threat")).to_be_visible()
    keyboard.reach(page.get_by_label("Beside", exact=True))
    keyboard.write("Two sharpeners")
    expect(page.locator("#form-next thead").first).to_contain_text("two-sharpeners-rope")
    expect(page.locator("#form-next")).to_contain_text("coarse-or-fine-on-twine 1.0.0, your own")
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    assert keyboard.lost == [] and grave(page) == [] and tab.troubles == []
    context.close()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("no head", "begins with its settings between two lines of hyphens"),
        ("---\na: [1\n---\nb\n", "The settings are not valid YAML"),
        ("---\nformat: protocol/1.4.0\n---\nb\n", "A field that the format requires is empty or absent"),
        ("---\n- 1\n---\nb\n", "an object with named fields"),
    ],
)
def test_what_is_no_protocol_is_said_to_be_none(context, form_base, tmp_path, text, told):
    tab = Tab(context, form_base, COMPARE)
    (tmp_path / "own.md").write_text(text, encoding="utf-8")
    tab.page.get_by_label("Your protocol file", exact=True).set_input_files(tmp_path / "own.md")
    expect(tab.page.locator("#form-found")).to_contain_text(told)
    expect(tab.page.locator("#form-next table")).to_have_count(0)
    assert tab.troubles == []


def test_a_hostile_file_does_nothing(context, form_base, tmp_path):
    say = Payloads()
    texts = [" ".join(text.split())[:200] for text in say.every()]
    threats = "\n".join(f"- threat: medium\n  text: {_quoted(text)}\n  steps: []" for text in texts)
    before, after = written(OF_LEVELS, "2026-05")["files"][0][1].split("threats:\n", 1)
    (tmp_path / "own.md").write_text(f"{before}threats:\n{threats}\n{after}", encoding="utf-8")
    tab = Tab(context, form_base, COMPARE)
    open_own(tab.page, tmp_path / "own.md", "(life-on-card ")
    assert all(text.strip() in tab.page.locator("#form-next").text_content() for text in texts)
    seen = tab.page.evaluate(FACTS)
    assert (seen["scriptRan"], seen["handlers"], seen["styled"], seen["violations"], seen["repeatedIds"]) == (None, [], [], [], [])
    assert tab.troubles == []


def _quoted(text: str) -> str:
    """A text as front matter writes it."""
    return markdown_text({"x": text}, "").splitlines()[1].removeprefix("x: ")
