"""The log of how pooled estimates moved, as pages."""

from __future__ import annotations

import re
from html import unescape

import html5lib
import pytest
from sample import results

from edgehold.results.model.results import Results
from tests.generated import generate_pages

LOG = "results/log/steels-rope-v1-measured/index.md"


def page_of(address: str, given: Results) -> str:
    return unescape(dict(generate_pages(given))[address].split("---\n", 2)[2])


def words(html: str) -> str:
    return " ".join("".join(html5lib.parse(html).itertext()).split())


def test_the_newest_month_stands_first_with_what_it_did() -> None:
    told = words(page_of(LOG, results(measured=4)))
    assert re.search(r"October 2026, \S+ against \S+: One was retracted, and the ratio fell\.", told)
    assert re.findall(r"(October 2026|January 2026|November 2025)\s", told.split("before → after", 2)[2])[:3] == [
        "October 2026",
        "January 2026",
        "November 2025",
    ]
    assert "×0.857" in told and "3 → 3" in told


def test_submissions_are_linked_by_number_because_ids_can_hold_handles() -> None:
    given = results(measured=4)
    page = page_of(LOG, given)
    (month,) = (m for m in given.moves[-1].months if m.month == "2026-01")
    for number, happening in enumerate(month.happened, 1):
        link = f'<a href="../../../submissions/measured/steels-rope/{happening.submission}/">submission {number}</a>'
        assert link in page
    assert not any(s.id in words(page) for s in given.submissions)


def test_a_decided_objection_is_context_and_one_that_is_invented_says_so_where_the_page_does_not() -> None:
    given = results(simulated=4)
    measured = given.model_copy(update={"moves": tuple(log.model_copy(update={"origin": "measured"}) for log in given.moves)})
    for found, origin, mark in ((given, "simulated", ""), (measured, "measured", ' <span class="mark">simulated</span>')):
        page = page_of(f"results/log/two-sharpeners-v1-{origin}/index.md", found)
        assert re.search(rf'<a href="[^"]*objections/[^"]*">Objection 1</a>{mark} revised: Damp rope', page)


@pytest.mark.parametrize("address", ["", "compare/demo-slate-and-demo-tide/", "sharpening/"])
def test_pool_and_comparison_pages_lead_to_the_log(address: str) -> None:
    given = results(measured=4)
    first, second = given.pools[-1].endpoints[0].steels[0].first, given.pools[-1].endpoints[0].steels[0].second
    place = address.replace("demo-slate-and-demo-tide", f"{first}-and-{second}")
    page = page_of(f"results/steels-rope-v1-measured/{place}index.md", given)
    assert "log/steels-rope-v1-measured/" in page


def test_what_was_taken_out_is_told_without_its_pool() -> None:
    told = words(page_of("results/log/index.md", results(measured=4)))
    assert "October 2026: one was taken out." in told and "gone-1" not in told


def test_a_pool_in_which_nothing_counts_any_more_keeps_its_log() -> None:
    given = results(measured=4)
    emptied = given.model_copy(update={"pools": given.pools[:-1]})
    assert "Nothing counts here any more: all of it was retracted." in words(page_of(LOG, emptied))


def test_without_anything_to_compare_the_months_stand_alone() -> None:
    told = words(page_of(LOG, results(measured=1)))
    assert "No two things were compared yet." in told and "Version 1.0.0 released" in told


def test_nobody_has_sent_in_anything() -> None:
    assert "nothing has moved" in words(page_of("results/log/index.md", results(0, 0)))
