"""A method in a post: one click puts it on the clipboard; where the browser does not let it, the text is marked; its critic objects."""

from __future__ import annotations

import re
import shutil

from playwright.sync_api import expect

from edgehold.cards.method import method_card
from edgehold.pages import addresses
from edgehold.records import load_repository

from .crawling import NARROW
from .forms import Tab, new_context
from .keyboard import Keyboard

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
