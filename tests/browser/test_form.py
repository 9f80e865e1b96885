"""The form as somebody uses it: typed, closed and restored, opened, pasted into, checked, saved."""

import json
import math
import re
from pathlib import Path

import html5lib
import pytest
from playwright.sync_api import expect

from tests.answers.cases import answered

from .crawling import NARROW
from .forms import FORM, Tab, check_file, example, new_context, this_month, type_example, words
from .test_axe import grave

DRAFTS = "Object.keys(localStorage).filter(key => key.startsWith('edgehold/draft/')).length"


def test_the_worked_example_can_be_typed_and_takes_as_many_fields_as_the_page_says(tab, form_site, tmp_path):
    record = example(form_site)
    taken = type_example(tab, record)
    said = re.search(r"(\d+) fields, (\d+) readings", words(tab.page.locator("dl.facts")))
    assert taken == {"fields": int(said[1]), "readings": int(said[2])}
    name, saved, text = tab.save()
    for part in ("format", "protocol", "licence", "submitted_by", "people", "blades", "preparations", "runs"):
        assert saved[part] == record[part], part
    assert saved["origin"] == "measured" and saved["month"] == this_month()
    assert name == f"{saved['id']}.json" and re.fullmatch(rf"wren-{this_month()}-[a-z0-9]{{3}}", saved["id"])
    assert text == json.dumps(saved, indent=2, ensure_ascii=False) + "\n"
    repository = check_file(tmp_path, name, text)
    assert repository.findings == ()
    assert [reading.values for reading in repository.submissions[0].runs[0].readings] == [
        tuple(value["written"] for value in reading["values"]) for reading in record["runs"][0]["readings"]
    ]


def test_keys_of_the_file_stand_in_the_order_of_the_schema(tab, form_site):
    record = example(form_site)
    tab.open({key: record[key] for key in sorted(record, reverse=True)})
    assert list(tab.save()[1]) == list(record)


def test_a_closed_tab_loses_nothing(context, form_base):
    first = Tab(context, form_base)
    first.person(1).get_by_label("Handle", exact=True).fill("wren")
    first.cell(1, 10, 2).fill("1,85")
    first.page.close()
    again = Tab(context, form_base)
    expect(again.page.locator("#form-status")).to_contain_text("Restored what you typed")
    expect(again.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
    expect(again.cell(1, 10, 2)).to_have_value("1,85")
    assert first.troubles + again.troubles == []


def test_several_drafts_stand_side_by_side_and_none_is_thrown_away_at_a_touch(tab):
    tab.person(1).get_by_label("Handle", exact=True).fill("wren")
    tab.page.get_by_role("button", name="Start another").click()
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("")
    tab.person(1).get_by_label("Handle", exact=True).fill("tern")
    tab.page.get_by_role("button", name="Throw this one away").click()
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("tern")
    tab.page.get_by_text("Other drafts in this browser (1)").click()
    tab.page.get_by_role("button", name="Go on with it").click()
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
    tab.page.get_by_role("button", name="Throw this one away").click()
    tab.page.get_by_role("button", name="Throw this one away: really?").click()
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("")
    expect(tab.page.get_by_text("Other drafts in this browser (1)")).to_be_visible()


def _two_tabs(context, form_base):
    """The same draft in two tabs, of which the second has written last; the handle that each shows."""
    first = Tab(context, form_base)
    first.person(1).get_by_label("Handle", exact=True).fill("wren")
    expect(first.page.locator("#form-kept")).to_contain_text("Kept in this browser")
    second = Tab(context, form_base)
    second.person(1).get_by_label("Handle", exact=True).fill("tern")
    expect(first.page.locator("#form-status")).to_contain_text("Another tab has changed this draft")
    return first, second


def test_two_tabs_with_one_draft_do_not_write_over_each_other(context, form_base):
    first, second = _two_tabs(context, form_base)
    first.cell(1, 0, 1).fill("0.9")
    first.page.keyboard.press("Tab")
    first.page.wait_for_timeout(600)  # longer than a draft waits before it is written
    again = Tab(context, form_base)
    expect(again.person(1).get_by_label("Handle", exact=True)).to_have_value("tern")
    expect(again.cell(1, 0, 1)).to_have_value("")
    first.page.get_by_role("button", name="Keep this one as well").click()
    assert first.page.evaluate(DRAFTS) == 2
    expect(first.cell(1, 0, 1)).to_have_value("0.9")
    assert first.troubles + second.troubles + again.troubles == []


def test_a_tab_whose_draft_was_changed_elsewhere_can_go_on_with_what_stands_there(context, form_base):
    first, second = _two_tabs(context, form_base)
    first.page.get_by_role("button", name="Go on with what stands there").click()
    handle = first.person(1).get_by_label("Handle", exact=True)
    expect(handle).to_have_value("tern")
    handle.fill("auk")
    expect(second.page.locator("#form-status")).to_contain_text("Another tab has changed this draft")
    assert first.page.evaluate(DRAFTS) == 1


def test_a_draft_that_another_tab_wrote_in_another_format_is_not_offered(context, form_base):
    """Another version of the site may write it: nothing here can open it, and what stands here can be kept beside it."""
    first = Tab(context, form_base)
    first.person(1).get_by_label("Handle", exact=True).fill("wren")
    expect(first.page.locator("#form-kept")).to_contain_text("Kept in this browser")
    second = Tab(context, form_base)
    second.page.evaluate(
        "other => Object.keys(localStorage).filter(k => k.startsWith('edgehold/draft/')).forEach(k => localStorage.setItem(k, other))",
        json.dumps({"format": 99}),
    )
    expect(first.page.locator("#form-kept")).to_contain_text("Changed in another tab")
    expect(first.page.get_by_role("button", name="Go on with what stands there")).to_have_count(0)
    first.page.get_by_role("button", name="Keep this one as well").click()
    expect(first.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
    assert first.page.evaluate(DRAFTS) == 2
    assert first.troubles == []


def test_the_same_draft_written_again_late_is_no_change(context, form_base):
    """A page that is being left may write after the next one has read what it had written before."""
    first = Tab(context, form_base)
    first.person(1).get_by_label("Handle", exact=True).fill("wren")
    expect(first.page.locator("#form-kept")).to_contain_text("Kept in this browser")
    second = Tab(context, form_base)
    expect(second.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
    first.page.evaluate(
        "() => { for (const key of Object.keys(localStorage).filter((k) => k.startsWith('edgehold/draft/'))) {"
        " const kept = JSON.parse(localStorage.getItem(key)); kept.saved = new Date(Date.parse(kept.saved) + 1000).toISOString();"
        " localStorage.setItem(key, JSON.stringify(kept)); } }"
    )
    second.page.wait_for_timeout(300)  # an event of the storage comes within a few milliseconds
    expect(second.page.locator("#form-status")).not_to_contain_text("Another tab")
    expect(second.page.locator("#form-kept")).not_to_contain_text("Changed in another tab")
    assert first.troubles + second.troubles == []


def test_a_half_done_file_is_opened_gone_on_with_and_saved(tab, form_site, tmp_path):
    record = example(form_site)
    del record["runs"][3]["readings"][5:], record["month"], record["runs"][2]["ended"]
    record["people"][0]["sharpening"] = "practised"
    tab.open(record)
    tab.refused()
    expect(tab.run(3).get_by_label("Ended", exact=True)).to_have_attribute("aria-invalid", "true")
    half = tab.save("Save it half done")[1]
    assert "ended" not in half["runs"][2] and half["runs"][3]["readings"] == record["runs"][3]["readings"]
    tab.open(half)
    tab.run(3).get_by_label("Ended", exact=True).select_option("tester stopped")
    name, saved, text = tab.save()
    assert saved["people"][0]["sharpening"] == "practised"
    assert saved["runs"][3]["readings"] == record["runs"][3]["readings"]
    assert check_file(tmp_path, name, text).errors == ()


def test_what_an_opened_file_says_is_saved_unchanged(tab, form_site):
    """Everything optional, in units and spellings that nobody would choose: the form shows it and writes the same."""
    record = example(form_site)
    record["people"][1]["sharpening"] = "novice"
    record["blades"][0] |= {
        "steel": {"designation": "demo-plain-carbon", "composition_percent": {"C": 0.95, "Mn": 0.4}}, "batch": "forge.7",
        "hardness": {"hrc": 60.5, "known_by": "estimated"}, "edge": "plain", "profile": "recurve", "grind": "one-sided",
        "thickness_behind_edge": {"written": "1/64", "unit": "in", "canonical": 0.000396875},
        "interest": [{"person": "wren", "interest": "owner"}], "note": "reground once",
    }  # fmt: skip
    record["lots"] = [{"key": "wren.coil", "medium": "rope, natural fibre, three-strand, 9.5 mm", "note": "220 m"}]
    record["instruments"] = [{"key": "wren.scale", "kind": "kitchen scale", "resolution": {"written": 1, "unit": "gf"}}]
    record["preparations"][0] |= {
        "start_state": "apex flattened", "edge_angle": {"basis": "per side", "left_deg": 15, "right_deg": 18.5, "known_by": "guide"},
        "stages": [{"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400", "micrometres": 35, "angle_deg": 17}],
        "deburring": "alternating strokes", "strop": "none", "minutes": 12.5, "note": "Grüße, 刃, 🔪",
    }  # fmt: skip
    record["preparations"][2]["previous_preparation"] = "edge-1"
    record["runs"][0] |= {
        "evening": 1, "lot": "wren.coil", "coil_position_m": 0, "instrument": "wren.scale", "temperature_c": -4.5, "humidity_percent": 60,
        "blinding": "none", "tester_guess": {"sharpener": "tern", "blade": "wren.galley", "confidence_percent": 60},
        "planned_last_checkpoint": 160, "reading_unit": "gf", "note": "rain",
        "readings": [
            {"work": 0, "values": [{"written": "90,5"}, {"written": "91 (2)"}, {"written": "3 1/8", "limit": "below"}], "note": "first"},
        ],
    }  # fmt: skip
    record |= {"plan": {"id": "plan-1", "sha256": "0" * 64}, "note": "line one\nline two"}
    tab.open(record)
    assert tab.save()[1] == record


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        ("0,9\t0,91\t0,92\n1,1\t1,2\t1,3", [[0, ["0,9", "0,91", "0,92"]], [5, ["1,1", "1,2", "1,3"]]]),
        ("work;a;b;c\n0;0,9;;0,92\n20;3 1/8;25 (5);>49", [[0, ["0,9", "0,92"]], [20, ["3 1/8", "25 (5)", ">49"]]]),
        ("0,0.9,0.91,0.92\r\n5,1.1,1.2,1.3\r\n", [[0, ["0.9", "0.91", "0.92"]], [5, ["1.1", "1.2", "1.3"]]]),
        ("0,9 0,91 0,92\n1,1 1,2 1,3", [[0, ["0,9", "0,91", "0,92"]], [5, ["1,1", "1,2", "1,3"]]]),
        ("0.9 0.91 3 1/8\n1.1 1.2 25 (5)", [[0, ["0.9", "0.91", "3 1/8"]], [5, ["1.1", "1.2", "25 (5)"]]]),
    ],
)
def test_a_block_from_a_spreadsheet_is_put_into_the_table(tab, block, expected):
    card = tab.run(1)
    card.get_by_text("Paste a block from a spreadsheet").click()
    card.get_by_label("Copied cells").fill(block)
    card.get_by_role("button", name="Put it into the table").click()
    expect(tab.page.locator("#form-status")).to_contain_text("rows put into the table")
    assert [[work, shown(tab, work)] for work, _ in expected] == expected


def shown(tab, work):
    return [value for repeat in (1, 2, 3) if (value := tab.cell(1, work, repeat).input_value())]


def test_a_block_for_several_runs_goes_into_their_tables(tab):
    card = tab.run(1)
    card.get_by_text("Paste a block from a spreadsheet").click()
    card.get_by_label("Copied cells").fill("0\t1.1\t1.2\t1.3\t2.1\t2.2\t2.3\n5\t3.1\t3.2\t3.3\t4.1\t4.2\t4.3")
    card.get_by_role("button", name="Put it into the table").click()
    expect(tab.cell(2, 5, 3)).to_have_value("4.3")
    expect(tab.cell(1, 5, 1)).to_have_value("3.1")


def test_a_block_that_does_not_fit_is_put_nowhere_and_said_why(tab):
    card = tab.run(1)
    card.get_by_text("Paste a block from a spreadsheet").click()
    card.get_by_label("Copied cells").fill("1 2 3 4 5")
    card.get_by_role("button", name="Put it into the table").click()
    expect(card.get_by_text("It has 5 columns, and this table takes 3")).to_be_visible()
    assert shown(tab, 0) == []


def test_cells_copied_from_a_spreadsheet_can_be_pasted_where_the_keyboard_is(tab):
    tab.cell(1, 5, 2).focus()
    tab.page.evaluate("""() => {
      const data = new DataTransfer();
      data.setData("text/plain", "1.1\\t1.2\\n2.1\\t2.2");
      document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }));
    }""")
    expect(tab.cell(1, 5, 2)).to_have_value("1.1")
    expect(tab.cell(1, 5, 3)).to_have_value("1.2")
    expect(tab.cell(1, 10, 3)).to_have_value("2.2")


def test_a_date_where_a_number_was_is_asked_about_and_names_the_cell(tab):
    tab.run(1).get_by_label("Reading unit", exact=True).select_option("N")
    tab.cell(1, 5, 2).fill("3-Jan")
    tab.page.keyboard.press("Tab")
    card = tab.run(1)
    expect(card.get_by_text("at 5, repeat 2: What is written cannot be read as one number")).to_contain_text(
        "a spreadsheet may have made a date of it"
    )
    cell = tab.cell(1, 5, 2)
    expect(cell).to_have_attribute("aria-invalid", "true")
    expect(tab.said_at(cell)).to_contain_text("at 5, repeat 2")
    cell.fill("3")
    tab.page.keyboard.press("Tab")
    expect(cell).not_to_have_attribute("aria-invalid", "true")


def test_a_field_is_checked_when_it_is_left_and_says_what_is_wrong_beside_it(tab):
    handle = tab.person(1).get_by_label("Handle", exact=True)
    handle.fill("Wren")
    expect(handle).not_to_have_attribute("aria-invalid", "true")
    tab.page.keyboard.press("Tab")
    expect(handle).to_have_attribute("aria-invalid", "true")
    expect(tab.said_at(handle)).to_have_text("Capitals stand where only lower case may. What to do: write wren.")
    expect(tab.person(2).locator(".said:visible")).to_have_count(0)


def test_a_handle_that_looks_like_a_name_is_warned_of_and_can_be_kept(tab):
    tab.person(1).get_by_label("Handle", exact=True).fill("anna-berg")
    tab.page.keyboard.press("Tab")
    expect(tab.person(1).get_by_text("could be somebody’s name")).to_be_visible()
    expect(tab.person(1).get_by_label("Handle", exact=True)).not_to_have_attribute("aria-invalid", "true")


def test_saving_what_is_not_finished_leads_to_the_first_thing_to_put_right(tab):
    tab.person(1).get_by_label("Handle", exact=True).fill("wren")
    tab.refused()
    expect(tab.page.locator(":focus")).to_have_attribute("aria-invalid", "true")
    expect(tab.page.locator("#form-status")).to_contain_text("still to be put right")
    count = tab.page.locator("#form-found ul.grave li").count()
    assert f"({count})" in tab.page.locator("#form-wrong").inner_text() and count > 10
    tab.page.get_by_role("button", name=re.compile("^Run 3, Ended")).click()
    expect(tab.page.locator("details[data-title='Run 3']").get_by_label("Ended", exact=True)).to_be_focused()


def test_an_angle_asks_what_the_figure_means_and_is_never_halved(tab, form_site):
    record = example(form_site)
    record["preparations"][0]["edge_angle"] = {"basis": "per side", "left_deg": 30}
    tab.open(record)
    card = tab.run(1)
    card.get_by_text("If you know it", exact=True).first.click()
    left = card.get_by_label("Left (degrees)")
    left.focus()
    tab.page.keyboard.press("Tab")
    expect(card.get_by_text("More than 25 degrees per side.")).to_be_visible()
    card.get_by_label("both together").check()
    expect(card.get_by_text("More than 25 degrees per side.")).to_be_hidden()
    assert tab.save()[1]["preparations"][0]["edge_angle"] == {"basis": "both together", "left_deg": 30}


def test_a_warning_can_be_answered_in_the_file(tab, form_site, tmp_path):
    record = example(form_site)
    record["runs"][0]["readings"][3]["work"] = 22
    tab.open(record)
    tab.save()
    answer = tab.page.get_by_label("Your answer to: off-checkpoint")
    answer.fill("lost count")
    answer.blur()
    name, saved, text = tab.save()
    assert saved["answers"] == [{"pointer": "/runs/0/readings/3/work", "code": "off-checkpoint", "says": "lost count"}]
    (finding,) = check_file(tmp_path, name, text).findings
    assert "answered: lost count" in finding.message


def test_a_name_that_is_changed_is_changed_wherever_it_is_used(tab, form_site):
    tab.open(example(form_site))
    tab.person(1).get_by_label("Handle", exact=True).fill("auk")
    tab.page.keyboard.press("Tab")
    saved = tab.save()[1]
    assert saved["submitted_by"] == "auk" and {run["tester"] for run in saved["runs"]} == {"auk"}
    assert {p["sharpener"] for p in saved["preparations"]} == {"auk", "tern"}


def test_a_run_taken_out_takes_its_sharpening_with_it_and_asks_first(tab, form_site):
    tab.open(example(form_site))
    tab.run(2).get_by_role("button", name="Take run 2 out", exact=True).click()
    tab.run(2).get_by_role("button", name="Take run 2 out: really?").click()
    saved = tab.save()[1]
    assert [run["id"] for run in saved["runs"]] == ["run-1", "run-3", "run-4"]
    assert [p["id"] for p in saved["preparations"]] == ["edge-1", "edge-3", "edge-4"]


def test_a_run_can_be_added_and_gets_names_of_its_own(tab, form_site):
    tab.open(example(form_site))
    tab.page.get_by_role("button", name="Add a run").click()
    half = tab.save("Save it half done")[1]
    assert half["runs"][4]["id"] == "run-5" and half["runs"][4]["order"] == 5 and half["runs"][4]["preparation"] == "edge-5"
    assert half["preparations"][4] == {"id": "edge-5", "blade": "wren.galley"}


def test_a_sharpening_without_a_run_is_shown_and_kept_or_taken_out(tab, form_site):
    record = example(form_site)
    record["preparations"].append({"id": "edge-9", "blade": "wren.galley", "sharpener": "auk"})
    tab.open(record)
    tab.refused()
    card = tab.page.get_by_role("group", name="Sharpening without a run, edge-9")
    card.get_by_label("Sharpener", exact=True).select_option("tern")
    assert tab.save()[1]["preparations"][4] == {"id": "edge-9", "blade": "wren.galley", "sharpener": "tern"}
    card.get_by_role("button", name="Take this sharpening out").click()
    card.get_by_role("button", name="Take this sharpening out: really?").click()
    assert tab.save()[1]["preparations"] == example(form_site)["preparations"]


def test_one_preparation_for_two_runs_can_be_put_right(tab, form_site):
    record = example(form_site)
    record["runs"][1]["preparation"] = "edge-1"
    tab.open(record)
    tab.refused()
    box = tab.run(2).get_by_label("Preparation", exact=True)
    expect(box).to_have_attribute("aria-invalid", "true")
    box.select_option("edge-2")
    assert tab.save()[1] == example(form_site)


def test_curves_and_answer_appear_as_readings_are_typed(tab, form_site):
    expect(tab.page.locator("#form-curves svg")).to_have_count(0)
    expect(tab.page.locator("#form-answer section")).to_have_count(0)
    tab.run(1).get_by_label("Reading unit", exact=True).select_option("N")
    tab.cell(1, 0, 1).fill("0.9")
    tab.cell(1, 5, 1).fill("1.2")
    drawing = tab.page.locator("#form-curves [role=img]")
    expect(drawing).to_have_attribute("aria-label", re.compile(r"Run 1.*: 0\.9 N at 0, 1\.2 N at 5"))
    tab.open(example(form_site))
    expect(tab.page.locator("#form-curves polyline")).to_have_count(4)
    expect(tab.page.locator("#form-answer")).to_contain_text("rule out a difference larger than")
    expect(tab.page.locator("#form-answer")).to_contain_text("Simulated.")


BARS = """() => [...document.querySelectorAll("#form-answer .own-answer")].map(one => {
  const drawing = one.querySelector("svg.answer-bar"), box = drawing.getBoundingClientRect();
  const at = (name, side) => [...drawing.querySelectorAll(name)].map(part => Number(part.getAttribute(side)));
  const words = [...drawing.querySelectorAll("text")], texts = parts => [...parts].map(part => part.textContent);
  const seen = part => part.getBoundingClientRect().left >= 0 && part.getBoundingClientRect().right <= innerWidth;
  return {
    begins: one.querySelector("p").textContent, sides: texts(one.querySelectorAll(".sides span")), words: texts(words),
    ticks: at(".bar-tick", "x1"), one: at(".bar-one", "x1"), worth: at(".bar-worth", "x1"),
    interval: [...at(".bar-interval", "x1"), ...at(".bar-interval", "x2")], mark: at(".bar-mark", "x").map(x => x + 3.5),
    left: box.left, width: box.width, inside: words.every(seen),
    size: Math.min(...words.map(part => parseFloat(getComputedStyle(part).fontSize) * box.width / drawing.viewBox.baseVal.width)),
  };
})"""


def test_on_a_phone_the_answer_leads_with_its_verdict_and_its_bars_stand_on_one_scale(browser, form_base, form_site):
    context = new_context(browser, viewport={"width": 390, "height": 844})
    tab, record = Tab(context, form_base), example(form_site)
    tab.open(record)
    expect(tab.page.locator("#form-answer svg.answer-bar").first).to_be_visible()
    drawn = tab.page.evaluate(BARS)
    rules = json.loads(tab.page.locator("#form-rules").text_content())
    own = answered({"submission": record, "protocol": "two-sharpeners-rope/1.1.0", "changes": {}, "repeatability": rules["repeatability"]})
    assert len(drawn) == len(own["results"]) > 3
    reach = float(next(word for word in reversed(drawn[0]["words"]) if word.startswith("×")).removeprefix("×"))
    worthwhile = {rule["id"]: rule["worthwhile_ratio"] for rule in rules["protocol"]["endpoints"]}
    for one, result in zip(drawn, own["results"], strict=True):
        assert one["begins"].startswith(result["sentence"])
        assert (one["ticks"], one["one"], one["left"], one["width"]) == tuple(drawn[0][name] for name in ("ticks", "one", "left", "width"))
        half = one["ticks"][-1] - one["one"][0]

        def place(ratio, middle=one["one"][0], half=half):
            return middle + half * math.log(min(max(ratio, 1 / reach), reach)) / math.log(reach)

        held = worthwhile[result["endpoint"]]
        assert one["worth"] == pytest.approx([place(1 / held), place(held)], abs=0.1)
        assert one["interval"] == pytest.approx([place(result["low"]), place(result["high"])], abs=0.1)
        assert one["mark"] == pytest.approx([place(result["ratio"])], abs=0.11)
        assert len(one["sides"]) == 2 and one["sides"][0].startswith("←") and one["sides"][1].endswith("→")
        assert result["second"] in one["sides"][0] and result["first"] in one["sides"][1]
        assert one["size"] > 10 and one["inside"]
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert tab.troubles == []
    context.close()


def test_a_file_of_another_protocol_is_refused_with_where_it_belongs(tab, form_site):
    record = example(form_site)
    record["protocol"]["version"] = "1.0.0"
    tab.open(record)
    expect(tab.page.locator("#form-status")).to_contain_text("The file follows two-sharpeners-rope 1.0.0; this form is for")
    expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("")


def test_a_file_that_is_none_is_refused_in_words(tab):
    for text, said in (
        ("not json", "The file is not JSON"),
        ("[]", "The file is not a submission"),
        ("[" * 100_000 + "]" * 100_000, "The file"),
        ('{"note": "' + "x" * 1_100_000 + '"}', "at most 1000000 are read"),
        (json.dumps({"runs": [{}] * 30_000}), "more than any submission needs"),
    ):
        tab.open(text)
        expect(tab.page.locator("#form-status")).to_contain_text(said)
        expect(tab.page.locator("details[data-title='Run 1']")).to_be_visible()


def test_what_the_form_has_no_place_for_is_told(tab, form_site):
    tab.open(example(form_site) | {"__proto__x": 1, "sharpness": 3, "lots": "none"})
    expect(tab.page.locator("#form-status")).to_contain_text(
        "Left out, because the form has no place for it: /__proto__x, /sharpness, /lots"
    )


def test_a_file_dropped_on_the_form_is_opened(tab, form_site):
    tab.page.evaluate(
        """text => {
          const data = new DataTransfer();
          data.items.add(new File([text], "dropped.json", { type: "application/json" }));
          const drop = new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true });
          document.getElementById("form-root").dispatchEvent(drop);
        }""",
        json.dumps(example(form_site)),
    )
    expect(tab.page.locator("#form-status")).to_contain_text("Opened dropped.json")
    expect(tab.person(2).get_by_label("Handle", exact=True)).to_have_value("tern")


def test_the_arrows_and_enter_go_down_a_column(tab):
    tab.cell(1, 0, 2).focus()
    tab.page.keyboard.type("1.5")
    tab.page.keyboard.press("Enter")
    expect(tab.cell(1, 5, 2)).to_be_focused()
    tab.page.keyboard.press("ArrowUp")
    expect(tab.cell(1, 0, 2)).to_be_focused()


def test_pass_or_fail_is_chosen_and_saved(context, form_base, form_site, tmp_path):
    tab = Tab(context, form_base, "/tonight/life-on-card-1.0.0/")
    record = json.loads((form_site / "data/examples/life-on-card-1.0.0.json").read_text(encoding="utf-8"))
    taken = type_example(tab, record)
    said = re.search(r"(\d+) fields, (\d+) readings", words(tab.page.locator("dl.facts")))
    assert taken == {"fields": int(said[1]), "readings": int(said[2])}
    name, saved, text = tab.save()
    assert saved["runs"] == record["runs"]
    assert check_file(tmp_path, name, text).findings == ()
    assert tab.troubles == []


def test_what_becomes_public_is_said_before_anything_can_be_saved(tab):
    said = tab.page.get_by_role("heading", name="Before you send anything in").bounding_box()
    assert said["y"] < tab.page.get_by_role("button", name="Check and save the finished file").bounding_box()["y"]
    text = words(tab.page.locator("section.note"))
    assert "public for good" in text and "cannot forget" in text and "CC0 1.0" in text


def test_the_cautions_stand_above_the_form(tab):
    cautions = tab.page.locator("section.cautions")
    assert cautions.bounding_box()["y"] < tab.page.locator("#form-root").bounding_box()["y"]
    assert "Local law" in words(cautions) and "never hold it across hand or lap" in words(cautions)


def test_without_javascript_the_page_says_what_to_do_instead(browser, form_base):
    context = new_context(browser, java_script_enabled=False)
    page = context.new_page()
    page.goto(form_base + FORM)
    expect(page.get_by_text("The form needs JavaScript")).to_be_visible()
    expect(page.locator("#form-off").get_by_role("link", name="the worked example")).to_be_visible()
    expect(page.locator("#form-root")).to_be_hidden()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_axe_finds_nothing_and_nothing_sticks_out(browser, form_base, form_site, scheme, size):
    context = new_context(browser, color_scheme=scheme, **({"viewport": NARROW} if size == "narrow" else {}))
    tab = Tab(context, form_base)
    record = example(form_site)
    record["runs"][0]["tester"] = "nobody"
    record["runs"][0]["readings"][3]["values"][0]["written"] = 44
    record["preparations"][0]["edge_angle"] = {"basis": "per side", "left_deg": 30}
    record["blades"][0]["steel"] = {"composition_percent": {"C": 1}}
    tab.open(record)
    tab.refused()
    expect(tab.page.locator("#form-answer section")).to_be_visible()
    tab.page.locator("#form-root details").evaluate_all("all => all.forEach(part => { part.open = true; })")
    assert grave(tab.page) == []
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= tab.page.evaluate("innerWidth")
    context.close()


def test_the_pages_of_the_forms_are_well_formed_and_hold_no_style_of_their_own(form_site):
    for page in sorted((form_site / "tonight").rglob("index.html")):
        parser = html5lib.HTMLParser()
        tree = parser.parse(page.read_text(encoding="utf-8"))
        assert [error for error in parser.errors if error[1] != "unexpected-end-tag-implied-end-tag"] == [], page
        elements = [element for element in tree.iter() if isinstance(element.tag, str)]
        ids = [element.get("id") for element in elements if element.get("id")]
        assert len(ids) == len(set(ids)), page
        assert not [e for e in elements if "style" in e.attrib or any(name.startswith("on") for name in e.attrib)], page


def test_the_index_leads_to_the_newest_form_of_every_question_and_an_older_version_to_its_own(context, form_base):
    page = context.new_page()
    page.goto(f"{form_base}/")
    page.locator("article").get_by_role("link", name="Do it tonight").first.click()
    expect(page.locator("section.cautions")).to_be_visible()
    links = page.locator("section[aria-labelledby=questions] a[href]").evaluate_all("all => all.map(link => new URL(link.href).pathname)")
    assert {link for link in links if re.fullmatch(r"/tonight/[^/]+/", link)} == {
        "/tonight/life-on-card-2.0.0/", "/tonight/steels-exchanged-rope-3.0.0/", "/tonight/two-sharpeners-rope-2.0.0/",
        "/tonight/first-evening-paper-1.0.0/", "/tonight/finish-in-halves-rope-1.0.0/", "/tonight/strop-or-not-paper-1.0.0/",
    }  # fmt: skip
    for name, version in (("life-on-card", "1.0.0"), ("two-sharpeners-rope", "1.0.0"), ("two-sharpeners-rope", "1.1.0")):
        page.goto(f"{form_base}/protocols/{name}/{version}/")
        link = page.get_by_role("link", name="Do it tonight: the form")
        assert link.evaluate("link => new URL(link.href).pathname") == f"/tonight/{name}-{version}/"


def test_reference_edges_and_known_weights_are_folded_away_and_typed_where_somebody_has_them(tab, form_site, tmp_path):
    type_example(tab, example(form_site))
    tab.page.locator("summary", has_text="lots, instruments").click()
    tab.page.get_by_role("button", name="Add a lot", exact=True).click()
    lot = tab.page.get_by_role("group", name="Lot 1", exact=True)
    lot.get_by_label("Key", exact=True).fill("wren.segments")
    tab.page.keyboard.press("Tab")
    summary = tab.page.locator("summary", has_text="reference edges, known weights")
    expect(summary).to_be_visible()
    summary.click()
    tab.page.get_by_role("button", name="Add a reference", exact=True).click()
    edge = tab.page.get_by_role("group", name="Reference 1", exact=True)
    edge.get_by_label("Pack", exact=True).select_option("wren.segments")
    edge.get_by_label("Segment", exact=True).fill("wren.segment-1")
    for repeat, value in ((1, "0.9"), (2, "1.1")):
        edge.get_by_label(f"Reference 1, at 0, repeat {repeat}", exact=True).fill(value)
    tab.page.get_by_role("button", name="Add a weight", exact=True).click()
    for part, value, unit in (("Known", "500", "g"), ("Read", "5.4", "N")):
        inside = tab.page.get_by_role("group", name="Weight 1", exact=True).get_by_role("group", name=part, exact=True)
        inside.get_by_label("Written", exact=True).fill(value)
        inside.get_by_label("Unit", exact=True).select_option(unit)
    tab.page.keyboard.press("Tab")
    name, saved, text = tab.save()
    (reference,) = saved["references"]
    assert (reference["when"], reference["tester"], reference["reading_unit"]) == ("start", "wren", saved["runs"][0]["reading_unit"])
    assert [[row["work"], [value["written"] for value in row["values"]]] for row in reference["readings"]] == [[0, [0.9, 1.1]]]
    assert saved["weights"] == [{"known": {"written": 500, "unit": "g"}, "read": {"written": 5.4, "unit": "N"}}]
    (loaded,) = check_file(tmp_path, name, text).submissions
    assert loaded.references[0].readings[0].values == (0.9, 1.1) and loaded.weights[0].read_n == 5.4


KEPT = {"format": 1, "name": "x", "saved": "2026-05-01T10:00:00.000Z", "signs": "abcd", "auto": {}, "draft": {}}
DAMAGED = [
    "{", "", "null", "[]", "7", '"text"', "{}", "\\u0000", "[" * 100_000,
    *({**KEPT, **changed} for changed in (
        {"draft": []}, {"draft": None}, {"draft": "text"}, {"auto": None}, {"auto": []}, {"saved": 7}, {"signs": None}, {"name": "another"},
        {"draft": {"runs": "text"}}, {"draft": {"runs": 7}}, {"draft": {"people": "text"}}, {"draft": {"people": {"length": 3}}},
        {"draft": {"blades": [7, None, "text"], "runs": [None]}}, {"draft": {"runs": [{"readings": "text"}]}, "dirty": True},
        {"draft": {"preparations": 7}}, {"draft": {"notes": {"deep": [[[[]]]]}}}, {"format": "one"},
    )),
]  # fmt: skip


@pytest.mark.parametrize("address", [FORM, "/objections/new/"])
def test_a_damaged_draft_never_leaves_the_form_empty_and_is_offered_as_a_file(context, form_base, address):
    tab = Tab(context, form_base, address)
    key = f"edgehold/draft/{'objection' if address != FORM else 'submission/two-sharpeners-rope/1.1.0'}/x"
    lost = 0
    for kept in DAMAGED:
        text = kept if isinstance(kept, str) else json.dumps(kept)
        tab.page.goto(f"{form_base}{FORM}sheet/")  # a page without a form: one that is being left may write its own draft late
        tab.page.evaluate("([key, text]) => { localStorage.clear(); localStorage.setItem(key, text); }", [key, text])
        tab.page.goto(form_base + address)
        expect(tab.page.locator("#form-root")).to_be_visible()
        expect(tab.page.locator("#form-fields").get_by_role("textbox").first).to_be_visible()
        offered = tab.page.locator("#form-drafts .aside")
        if not offered.count():  # enough could be made of it to go on: it stands in the form or among the drafts, as it was
            assert tab.page.evaluate("key => localStorage.getItem(key) !== null", key), text[:80]
            continue
        lost += 1
        with tab.page.expect_download() as waited:
            offered.get_by_role("button", name="Save it as a file").click()
        assert Path(waited.value.path()).read_text(encoding="utf-8") == text
    assert lost >= 15 and tab.troubles == []
    tab.page.reload()
    offered = tab.page.locator("#form-drafts .aside")
    expect(offered).to_have_count(1)  # it waits there until somebody throws it away
    offered.get_by_role("button", name="Throw it away").click()
    offered.get_by_role("button").last.click()
    expect(offered).to_have_count(0)
