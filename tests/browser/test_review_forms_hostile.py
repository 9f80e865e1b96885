"""Forms about objections on a site that means harm, filled in by somebody who does: nothing runs, the file says what was typed."""

from __future__ import annotations

import shutil
from pathlib import Path
from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from edgehold.records import load_repository

from .crawling import FACTS, NARROW
from .forms import Tab, new_context
from .hostile import PROTOCOL, VERSIONS
from .payloads import Payloads
from .serving import served

SAVE = "Check and save the file"
RAISE = f"/objections/new/?protocol={PROTOCOL}&version={VERSIONS[-1]}&step=s1-prepare"
ADDRESSES = {
    "to raise an objection": RAISE,
    "to answer one": f"/objections/respond/?protocol={PROTOCOL}&number=2",
    "to decide one": f"/objections/decide/?protocol={PROTOCOL}&number=2",
    "to draft a protocol": f"/protocols/new/?protocol={PROTOCOL}&version={VERSIONS[-1]}",
}


@pytest.fixture(scope="module")
def base(hostile_site):
    with served(hostile_site) as address:
        yield address


@pytest.fixture
def context(browser):
    opened = new_context(browser, viewport=NARROW)
    yield opened
    opened.close()


def harmless(tab: Tab) -> None:
    seen = tab.page.evaluate(FACTS)
    assert (seen["scriptRan"], seen["handlers"], seen["styled"], seen["violations"], seen["repeatedIds"]) == (None, [], [], [], [])
    assert [address for address in seen["addresses"] if ":" in address and not address.startswith(("http:", "https:", "data:image/"))] == []
    assert tab.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert tab.troubles == []


@pytest.mark.parametrize("address", ADDRESSES.values(), ids=ADDRESSES)
def test_a_form_made_from_hostile_protocols_and_threads_does_nothing(context, base, address):
    tab = Tab(context, base, address)
    expect(tab.page.locator("#form-root :is(input, select, textarea)").first).to_be_visible()
    harmless(tab)


@pytest.mark.parametrize("payload", Payloads().every()[:8], ids=range(8))
def test_what_an_address_asks_for_is_looked_up_and_never_shown_as_markup(context, base, payload):
    asked = quote(payload)
    harmless(Tab(context, base, f"/objections/new/?protocol={asked}&version={asked}&step={asked}#{asked}"))
    harmless(Tab(context, base, f"/objections/respond/?protocol={asked}&number={asked}"))


def test_what_is_typed_stands_in_the_file_and_the_check_takes_it(context, base, hostile_site, tmp_path):
    say = Payloads()
    title, change, source, statement = say.short().replace("\t", " "), say.long()[:3000], say.short(), "\n\n".join(say.every())
    tab = Tab(context, base, RAISE)
    page = tab.page
    page.get_by_label("Title", exact=True).fill(title)
    page.get_by_label("Threat", exact=True).select_option("order")
    page.get_by_label("minor", exact=True).check()
    page.get_by_label("Statement", exact=True).fill(statement)
    page.get_by_label("Proposed change", exact=True).fill(change)
    page.get_by_role("button", name="Add evidence").click()
    page.get_by_label("Kind", exact=True).select_option("citation")
    page.get_by_label("Source", exact=True).fill(source)
    page.get_by_label("Interest", exact=True).select_option("none")
    page.get_by_label("Handle", exact=True).fill("auk")
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    harmless(tab)
    path = page.locator("#form-path").inner_text()
    for part in ("protocols", "submissions"):
        shutil.copytree(hostile_site.parents[1] / part, tmp_path / part)
    (tmp_path / path).parent.mkdir()
    shutil.copy(waited.value.path(), tmp_path / path)
    found = load_repository(tmp_path)
    assert [finding for finding in found.errors if finding.file == path] == []
    thread = next(thread for thread in found.objections if thread.path == path)
    assert (thread.objection.title, thread.objection.evidence[0].citation) == (title, source)
    assert thread.objection.proposed_change == change.strip()
    assert thread.statement == statement.strip()
    assert Path(path).parts[:3] == ("protocols", PROTOCOL, "objections")
