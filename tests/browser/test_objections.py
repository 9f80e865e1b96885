"""From an objection to the version that cured it, and to the data behind its probe, as a reader goes."""

import csv
import re

import pytest
from playwright.sync_api import expect

from .crawling import NARROW, WIDE


@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_a_reader_follows_an_objection_to_the_version_that_cured_it(open_page, viewport):
    page = open_page("/objections/", viewport=viewport)
    revised = page.get_by_role("table").filter(has_text="Objections that are revised")
    row = revised.locator("tbody tr").filter(has_text=re.compile(r"s\d+-")).first
    row.get_by_role("link").click()
    page.wait_for_url(re.compile(r"/objections/[^/]+/\d{3}/$"))
    number = int(page.url.rstrip("/").rsplit("/", 1)[1])
    expect(page.locator("article p.finding")).to_contain_text("Revised in")
    page.get_by_role("link", name="what that version changes").click()
    page.wait_for_url(re.compile(r"/protocols/[^/]+/[^/]+/changes/#step-s"))
    step = page.locator(f"[id='{page.url.partition('#')[2]}']")
    expect(step).to_be_in_viewport()
    expect(step.get_by_role("link", name=f"objection {number}", exact=True)).to_be_visible()
    step.get_by_role("link", name="its text").click()
    passage = page.locator("h3:target + .difference")
    expect(passage.locator("ins").first).to_be_visible()
    step.get_by_role("link").first.click()
    page.wait_for_url(re.compile(r"/protocols/[^/]+/[^/]+/#s"))
    expect(page.locator("h3:target")).to_be_in_viewport()
    expect(page.locator("h3:target + .step-note")).to_contain_text(f"Objection {number} (revised in")


def with_an_answer(facts) -> str:
    """An objection whose probe has a figure."""
    pages = (address for address, seen in facts.items() if re.fullmatch(r"/objections/[^/]+/\d{3}/", address) and "×" in seen["text"])
    return next(address for address in pages if "Probes: what all runs say" in facts[address]["text"])


def test_a_reader_follows_a_probe_to_the_figures_behind_it(open_page, facts, tmp_path):
    page = open_page(with_an_answer(facts))
    page.locator("ul.evidence a[href^='#probe-']").first.click()
    expect(page.locator("h3:target")).to_be_in_viewport()
    row = page.locator("table.model, .table.model").locator("tbody tr").filter(has_text="×").first
    shown, link = row.locator("td.figure").inner_text(), row.locator("th").get_by_role("link")
    with page.expect_download() as saved:
        page.get_by_role("link", name="probes.csv").click()
    saved.value.save_as(tmp_path / "probes.csv")
    link.click()
    page.wait_for_url(re.compile(r"/results/[^/]+/[^/]+/#probe-"))
    there = page.locator("tr:target")
    expect(there).to_be_visible()
    assert there.locator("td.figure").first.inner_text().split() == shown.split()
    pool, endpoint, probe = re.search(r"/results/([^/]+)/([^/]+)/#probe-(.+)$", page.url).groups()
    with (tmp_path / "probes.csv").open(newline="", encoding="utf-8") as file:
        (found,) = (
            r
            for r in csv.DictReader(file)
            if (f"{r['protocol']}-v{r['major']}-{r['origin']}", r["endpoint"], r["probe"]) == (pool, endpoint, probe)
        )
    assert float(found["ratio"]) == pytest.approx(float(shown.split()[0].strip("×")), rel=0.01)


def test_every_objection_of_the_demonstration_says_that_it_is_invented(facts):
    pages = {address: seen["text"] for address, seen in facts.items() if re.fullmatch(r"/objections/[^/]+/\d{3}/", address)}
    assert len(pages) >= 10
    assert [address for address, text in pages.items() if "Nobody raised this objection" not in text] == []
