"""A method in a post: one click puts it on the clipboard; where the browser does not let it, the text is marked."""

from __future__ import annotations

import re

from playwright.sync_api import expect

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
