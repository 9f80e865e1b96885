"""Pages of objections, of what stands against versions, and of what versions changed."""

from __future__ import annotations

import itertools
import re
from functools import cache
from html import unescape

import html5lib
import pytest
from hostile import PAYLOADS, hostile
from sample import results
from sample_objections import objection, outcome

from edgehold.pages import safe_text
from edgehold.pages.addresses import objection_form
from edgehold.results.model.results import Results
from tests.generated import generate_pages

DOWNLOADS = ("probes.csv", "runs.csv")


@cache
def pages() -> dict[str, str]:
    return dict(generate_pages(results(measured=4, simulated=4), DOWNLOADS))


def page(address: str, among: dict[str, str] | None = None) -> str:
    return unescape((among or pages())[f"{address}/index.md"].split("---\n", 2)[2])


def words(html: str) -> str:
    return " ".join("".join(html5lib.parse(html).itertext()).split())


def links(html: str) -> set[str]:
    return set(re.findall(r'href="([^"]*)"', html))


def with_objections(*replaced, **changes) -> Results:
    found = results(measured=4, simulated=4)
    return found.model_copy(update={"objections": replaced or found.objections} | changes)


STATES = {
    "analysis/001": "Open: not decided yet, or opened again on new evidence.",
    "analysis/002": "Cured in version 1.1.0 of the program.",
    "card-life/001": "Open: not decided yet, or opened again on new evidence.",
    "steels-rope/001": "Revised in 1.1.0: led to a change of the method.",
    "steels-rope/003": "Rebutted: shown not to hold.",
    "steels-rope/004": "Withdrawn: taken back.",
    "steels-rope/005": "Upheld and unresolved: found to hold, and not cured yet. Also raised as objection 6.",
    "steels-rope/006": "Upheld and unresolved: found to hold, and not cured yet. It repeats objection 5, and is decided there.",
    "steels-rope/007": "Struck: out of order: the number and the reason stay, the text does not.",
}


@pytest.mark.parametrize("address", STATES)
def test_every_objection_has_a_page_that_says_its_state(address):
    assert STATES[address] in words(page(f"objections/{address}"))


def test_the_list_has_what_is_open_first_and_leads_to_every_objection():
    listed = page("objections")
    heads = re.findall(r"<h2[^>]*>([^<]*)</h2>", listed)
    assert heads[:6] == ["Open", "Upheld and unresolved", "Revised", "Rebutted", "Withdrawn", "Struck"]
    assert {f"{address}/" for address in STATES} <= links(listed)
    assert "11 objections recorded: 4 open, 2 upheld and unresolved, 2 revised, 1 rebutted, 1 withdrawn, 1 struck." in words(listed)
    assert 'id="two-sharpeners-1"' in listed


def test_a_site_without_objections_says_so_and_leads_to_the_form():
    listed = page("objections", dict(generate_pages(results().model_copy(update={"objections": (), "protocols": (), "moves": ()}))))
    assert "No objection is recorded yet." in words(listed) and "new/" in links(listed)


def test_a_thread_tells_who_and_with_what_interest_and_links_what_it_rests_on():
    thread = page("objections/steels-rope/003")
    told = words(thread)
    assert "March 2026, by cleat (makes blades)" in told and "May 2026, by harbour-board" in told
    assert "../../../submissions/measured/steels-rope/2026-02-harbour-1/" in links(thread)
    assert "https://example.org/paper" in links(thread) and "Source: A book, 1901." in told
    assert "The objector’s interestno interest in any blade" in told


def test_an_invented_objection_says_so_on_its_page_and_in_every_table():
    assert 'class="banner simulated"' in page("objections/steels-rope/003")
    for html in (page("objections"), page("protocols/steels-rope/1.1.0")):
        (table,) = (table for table in re.findall(r"<table>.*?</table>", html, re.DOTALL) if "Flaw number 3" in table)
        (row,) = (row for row in re.findall(r"<tr.*?</tr>", table, re.DOTALL) if "Flaw number 3" in row)
        assert '<span class="mark">simulated</span>' in row or "Simulated.</caption>" in table
    assert "simulated" not in words(page("objections/steels-rope/004"))


def test_an_invented_objection_says_so_wherever_it_closes_bars_or_is_cured():
    found = results(measured=4, simulated=0)
    invented = tuple(o.model_copy(update={"simulated": True}) for o in found.objections)
    made = dict(generate_pages(found.model_copy(update={"objections": invented})))
    for address in ("tonight", "tonight/card-life-1.0.0", "tonight/card-life-1.0.0/sheet", "protocols/steels-rope/1.1.0"):
        html = page(address, made)
        assert len(re.findall(r"[Oo]bjection \d", html)) > 0
        for line in re.findall(r"<(?:li|h2|p|td)[^>]*>(?:(?!</(?:li|h2|p|td)>).)*[Oo]bjection \d.*?</(?:li|h2|p|td)>", html, re.DOTALL):
            assert "simulated" in line, (address, line)
    (step,) = re.findall(r'<li id="step-s2-reading">.*?</li>', page("protocols/steels-rope/1.1.0/changes", made))
    assert '<span class="mark">simulated</span>' in step


def test_a_struck_objection_keeps_number_and_reason():
    told = words(page("objections/steels-rope/007"))
    assert "Objection 7, struck" in told and "It spoke of a person." in told
    assert not re.search(r"What is wrong|What would cure it|Stands againstno", told.replace("Stands againstno version", ""))


def test_an_objection_leads_to_the_version_that_cures_it_and_to_the_step_there():
    thread = page("objections/steels-rope/001")
    changes = "../../../protocols/steels-rope/1.1.0/changes/"
    assert f"{changes}#step-s2-reading" in links(thread)
    changed = page("protocols/steels-rope/1.1.0/changes")
    assert 'id="step-s2-reading"' in changed and "../../../../objections/steels-rope/001/" in links(changed)


def test_a_difference_is_told_field_by_field_and_line_by_line():
    changed = page("protocols/steels-rope/1.1.0/changes")
    told = words(changed)
    assert "reading › repeats23" in told and "needs › A kitchen_scalenothingwhere: cheap" in told
    assert "The MINOR number was raised." in told and "/reading/repeats" in told
    assert '<del><span class="sign">−</span> Read twice.</del>' in changed and "</span> Read three times.</ins>" in changed
    assert "12 lines unchanged" in told and "1. **Clamp the rope.**" in told
    assert "s9-gone: Gone (removed)" in told and 'id="text-s2-reading"' in changed


def test_the_first_version_has_no_page_of_changes():
    assert "protocols/steels-rope/1.0.0/changes/index.md" not in pages()


def test_a_probe_is_told_wherever_it_was_asked_with_what_it_does_not_show():
    thread = page("objections/steels-rope/002")
    told = words(thread)
    rows = re.findall(r'<tr><th scope="row"><a href="([^"]*)#probe-lot-0">', thread)
    assert len(rows) == 6  # three endpoints of two pools
    assert all(row.startswith("../../../results/steels-rope-v1-") for row in rows)
    assert "What it does not show: Other media." in told and "The one probe finds nothing, 1/20 by chance." in told
    assert "too little" in told  # of lot-1
    assert {"../../../data/probes.csv", "../../../data/runs.csv"} <= links(thread)


def test_a_probe_of_another_protocol_is_not_told():
    rows = [row for row in re.findall(r'<a href="([^"]*)#probe-lot-0">', page("objections/two-sharpeners/001")) if row]
    assert len(rows) == 3 and all(row.startswith("../../../results/two-sharpeners-v1-") for row in rows)


def test_a_probe_that_was_asked_nowhere_is_said_to_be_uncomputed():
    assert "This probe has not been computed yet." in words(page("objections/analysis/001"))
    alone = with_objections(objection(1, probes=("lot-0",)), pools=(), moves=(), protocols=())
    assert "there are no results of this protocol" in words(page("objections/steels-rope/001", dict(generate_pages(alone))))


def test_a_blocking_objection_puts_a_banner_on_an_adopted_version():
    banner = re.compile(r'<div class="banner blocking" role="note">(.*?)</div>', re.DOTALL)
    for address in ("protocols/steels-rope", "protocols/steels-rope/1.1.0"):
        (found,) = banner.findall(page(address))
        assert "A blocking objection stands against this version. Objection 2 (open): Flaw number 2" in words(found)
        assert "closed" not in words(found)
    assert not banner.findall(page("protocols/two-sharpeners"))


def test_a_blocking_objection_before_adoption_bars_it():
    found = results(measured=4)
    waiting = tuple(p.model_copy(update={"status": "in review"}) for p in found.protocols)
    told = words(page("protocols/steels-rope/1.1.0", dict(generate_pages(found.model_copy(update={"protocols": waiting})))))
    assert "this version cannot be adopted while it does" in told


@pytest.mark.parametrize(("address", "what"), [("tonight/card-life-1.0.0", "form"), ("tonight/card-life-1.0.0/sheet", "sheet")])
def test_an_objection_about_safety_stands_where_form_and_sheet_were(address, what):
    closed = page(address)
    assert f"The {what} is closed. A blocking objection about safety stands against this version." in words(closed)
    assert "What is wrong, told under 1." in words(closed) and "form-rules" not in closed and "<script" not in closed
    assert "the form and the sheet are closed" in words(page("protocols/card-life/1.0.0"))
    assert "Do it tonight: the form" not in words(page("protocols/card-life/1.0.0"))
    assert "version 1.0.0: closed" in words(page("tonight"))


def test_one_by_somebody_whom_nobody_knows_closes_nothing_and_is_read_before_the_cutting():
    found = results(measured=4)
    unheard = tuple(p.model_copy(update={"closed_by": ()}) for p in found.protocols)
    made = dict(generate_pages(found.model_copy(update={"protocols": unheard})))
    for address in ("protocols/card-life/1.0.0", "objections/card-life/001"):
        told = words(page(address, made))
        assert "Somebody says that this method is dangerous." in told and "a maintainer has been asked to look" in told
    assert "Objection 1 (open): Slips" in words(page("protocols/card-life/1.0.0", made))
    assert "tonight/card-life-1.0.0/sheet/index.md" not in made  # nothing stands in the sheet's place
    for address in ("protocols/card-life/1.0.0", "objections/card-life/001", "protocols/steels-rope/1.1.0"):
        assert "Somebody says that this method is dangerous." not in words(page(address))


def test_a_closed_version_that_is_retired_had_no_form_to_close():
    found = results(measured=4)
    retired = tuple(p.model_copy(update={"status": "retired"}) for p in found.protocols)
    assert "tonight/card-life-1.0.0/index.md" not in dict(generate_pages(found.model_copy(update={"protocols": retired})))


def test_every_step_leads_to_its_objections_and_to_a_new_one():
    method = page("protocols/steels-rope/1.1.0")
    for step, told in (("s1-safe-first", "Objection 2 (open)"), ("s2-reading", "Objection 1 (revised in 1.1.0), Objection 5 (upheld")):
        note = re.search(rf'<h3 id="{step}">.*?</h3><p class="step-note">(.*?)</p>', method, re.DOTALL)
        assert note and told in words(note[1])
        assert f"../../..{objection_form('steels-rope', '1.1.0', step)}" in links(note[1])


def test_a_protocol_tells_threats_objections_by_state_and_its_life():
    told = words(page("protocols/steels-rope/1.1.0"))
    assert "orderThe first is freshest.s2Objection 5 (upheld and unresolved)" in told
    assert "mediumRaised in objections; the method names no such threat there.–Objection 1 (revised in 1.1.0), Objection 2 (open)" in told
    assert "November 2025: released, by harbour-board. The moot of November" in told
    assert "March 2026: adopted, by slip-warden. Pilot: 2026-02-harbour-1" in told
    heads = re.findall(r'<h3 id="objections-[^"]*">([^<]*)</h3>', page("protocols/steels-rope/1.1.0"))
    assert heads == ["Open", "Upheld and unresolved", "Revised", "Rebutted", "Withdrawn", "Struck"]


def test_a_step_whose_heading_does_not_survive_is_not_linked_to():
    lost = "    ### s2-reading · Set up\n"
    assert safe_text.headings(lost) == frozenset() and "s2-reading" in safe_text.headings("### s2-reading · Set up\n")
    found = results(measured=4)
    protocols = tuple(p.model_copy(update={"body": lost}) for p in found.protocols)
    made = dict(generate_pages(found.model_copy(update={"protocols": protocols})))
    assert not [path for path, html in made.items() if re.search(r'href="[^"]*#s2-reading"', html)]


def test_what_strangers_wrote_in_objections_stays_readable_as_text():
    attacked = dict(generate_pages(hostile(results(measured=4))))
    for address in ("objections/steels-rope/001", "objections/two-sharpeners/001", "protocols/steels-rope/1.1.0/changes"):
        assert sum(" ".join(payload.split()) in words(page_of(attacked, address)) for payload in PAYLOADS if "\u202e" not in payload) >= 4


def page_of(made: dict[str, str], address: str) -> str:
    return made[f"{address}/index.md"].split("---\n", 2)[2]


def test_a_source_that_is_an_address_that_runs_something_is_no_link():
    cited = objection(1, "rebutted", outcome("rebutted"), evidence=({"probe": "", "submission": "", "citation": "javascript:alert(1)"},))
    made = dict(generate_pages(with_objections(cited, moves=(), protocols=())))
    assert "Source: javascript:alert(1)" in words(page("objections/steels-rope/001", made))
    assert not [link for link in links(page("objections/steels-rope/001", made)) if "script:" in link]


def test_headings_of_all_these_pages_come_in_order():
    for path, html in pages().items():
        if path.startswith(("objections/", "tonight/card", "protocols/")):
            levels = [int(level) for level in re.findall(r"<h([1-6])[ >]", html)]
            assert levels[0] == 1 and levels.count(1) == 1, path
            assert all(after <= before + 1 for before, after in itertools.pairwise(levels)), (path, levels)
