"""A file that means harm, opened in the form: nothing runs, nothing is asked elsewhere, and every text can be read."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from edgehold.records.model.submission import Submission

from .crawling import FACTS, NARROW
from .forms import Tab, example, new_context
from .payloads import Payloads
from .test_hostile import MARK, free_texts, written_texts

HIDDEN = {"answers/*/says", "answers/*/pointer", "answers/*/code"}
"""An answer is shown where its warning stands, and goes with it."""


@pytest.fixture(scope="module")
def hostile(form_site):
    """The worked example with a payload in every free text, and what was written where."""
    record = example(form_site)
    say = Payloads()
    record["people"][0]["sharpening"] = "novice"
    record["blades"][0] |= {"note": say.short(), "thickness_behind_edge": {"written": "1", "unit": "mm"}}
    record["lots"] = [{"key": "wren.coil", "medium": say.label(), "note": say.short()}]
    record["lots"].append({"key": "wren.segments", "use": "reference edges", "note": say.short()})
    record["instruments"] = [{"key": "wren.scale", "kind": say.short()}]
    read = [{"work": work, "values": [{"written": force}], "note": say.short()} for work, force in ((0, 0.9), (10, 1.4))]
    where = {"evening": 1, "instrument": "wren.scale"}
    edge = {"when": "start", "pack": "wren.segments", "segment": "wren.segment-1", "tester": "wren", "lot": "wren.coil"}
    units = {"work_unit": "cut", "reading_unit": "N"}
    record["references"] = [where | edge | units | {"readings": read, "note": say.short()}]
    known, shown = {"written": 500, "unit": "g"}, {"written": 5.0, "unit": "N"}
    record["weights"] = [where | {"known": known, "read": shown, "note": say.short()}]
    for preparation in record["preparations"]:
        stages = [{"as_printed": text, "grit": say.label()} for text in say.every()[:4]]
        preparation |= {"stages": stages, "deburring": say.short(), "strop": say.short(), "note": say.short()}
        preparation["condition"] = say.label()
    for run in record["runs"]:
        run |= {"note": say.short(), "level": say.label(), "tester_guess": {"level": say.label()}}
        for reading in run["readings"]:
            reading["note"] = say.short()
    record["note"] = say.long()
    return record


@pytest.fixture
def tab(browser, form_base):
    context = new_context(browser, viewport=NARROW)
    opened = Tab(context, form_base)
    yield opened
    assert opened.troubles == []
    context.close()


def texts_of(tree: object) -> list[str]:
    if isinstance(tree, str):
        return [tree]
    inside = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ()
    return [text for entry in inside for text in texts_of(entry)]


def unfold(tab: Tab) -> None:
    tab.page.locator("#form-root details").evaluate_all("all => all.forEach(part => { part.open = true; })")


def test_every_free_text_of_the_file_carries_a_payload(hostile):
    texts = written_texts(hostile)
    left = {place for place in free_texts(Submission) if not any(MARK.search(text) for text in texts.get(place, []))}
    assert {place for place in left - HIDDEN if not place.startswith("plan/opened/")} == set()


def test_nothing_runs_nothing_is_asked_elsewhere_and_the_texts_stand_as_typed(tab, hostile):
    tab.open(hostile)
    unfold(tab)
    seen = tab.page.evaluate(FACTS)
    assert (seen["scriptRan"], seen["handlers"], seen["styled"], seen["violations"], seen["repeatedIds"]) == (None, [], [], [], [])
    assert [address for address in seen["addresses"] if ":" in address and not address.startswith(("http:", "https:", "data:image/"))] == []
    shown = set(tab.page.locator("#form-root :is(input, textarea, select)").evaluate_all("all => all.map(box => box.value)"))
    told = [text for text in texts_of(hostile) if "mark" in text]
    assert len(told) > 60
    missing = [text for text in told if text not in shown and " ".join(text.split()) not in {" ".join(value.split()) for value in shown}]
    assert missing == []


def test_it_is_checked_drawn_and_saved_like_any_other(tab, hostile):
    tab.open(hostile)
    tab.refused()
    unfold(tab)
    expect(tab.page.locator("#form-found")).to_contain_text("The lot is of another medium than the protocol")
    assert tab.save("Save it half done")[1] == hostile
    assert tab.page.evaluate(FACTS)["scriptRan"] is None
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= 390


def test_words_that_are_not_of_the_lists_are_shown_and_do_nothing(tab, form_site):
    """Where a choice is asked for, a file may hold anything: handles, units, endings, keys, names of elements."""
    record = example(form_site)
    harm = '"><img src=x onerror="scriptRan=1"><script>scriptRan=2</script>javascript:scriptRan=3'
    record["people"][0]["handle"] = record["runs"][0]["tester"] = record["runs"][0]["ended"] = record["blades"][0]["key"] = harm
    record["runs"][1]["reading_unit"] = record["runs"][1]["readings"][2]["work"] = harm
    record["preparations"][0]["edge_angle"] = {"basis": harm, "left_deg": harm}
    record["blades"][0]["steel"] = {"designation": harm, "composition_percent": {harm: 1, "__proto__": 2, "C": harm}}
    record["id"] = record["month"] = record["submitted_by"] = harm
    record["answers"] = [{"pointer": harm, "code": "off-checkpoint", "says": harm}]
    tab.open(record)
    tab.refused()
    unfold(tab)
    seen = tab.page.evaluate(FACTS)
    assert (seen["scriptRan"], seen["handlers"], seen["styled"], seen["violations"]) == (None, [], [], [])
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value(harm)
    expect(tab.run(1).get_by_label("Tester", exact=True)).to_have_value(harm)
    assert tab.page.evaluate("({}).value") is None
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_draft_that_somebody_else_wrote_into_the_browser_does_nothing(browser, form_base, form_site):
    context = new_context(browser)
    first = Tab(context, form_base)
    first.person(1).get_by_label("Handle", exact=True).fill("wren")
    first.page.keyboard.press("Tab")
    expect(first.page.locator("#form-kept")).to_contain_text("Kept in this browser")
    first.page.evaluate("""() => Object.keys(localStorage).filter(key => key.startsWith("edgehold/draft/")).forEach((key, n) => {
      localStorage.setItem(key + "x", "{not json");
      localStorage.setItem(key + "y", JSON.stringify({ format: 1, name: "y", draft: 5, auto: {} }));
      localStorage.setItem(key + "z", JSON.stringify({ format: 99, name: "z", draft: {}, auto: {} }));
    })""")
    first.page.close()
    again = Tab(context, form_base)
    expect(again.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
    assert again.troubles == []
    context.close()
