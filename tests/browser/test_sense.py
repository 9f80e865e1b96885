"""Slips of the hand in the form: its script asks what the check asks, in the same words, and the question stands at the cell."""

import pytest
from playwright.sync_api import expect

from edgehold.forms.submission import form_rules
from edgehold.records import load_repository
from edgehold.records.registers import load_steels
from tests.forms.corpus import FRONTS, cases, program_findings, rules_of
from tests.records.builder import TODAY
from tests.sense.honest import SENSE, honest, problems, protocols
from tests.sense.slips import PROTOCOL, SLIPS, record, sheet, slipped

from .forms import FORM, Tab, new_context

CHECK = """async ({ corpus, rules, today }) => {
  const { check } = await import("/assets/form/rules.js");
  return corpus.map(([name, record]) => check(record, rules[name], today).map(({ pointer, code, asks }) => [pointer, code, asks ?? ""]));
}"""
RULES = protocols().protocols[PROTOCOL].record


@pytest.fixture
def tab(browser, form_base):
    context = new_context(browser)
    opened = Tab(context, form_base, FORM)
    yield opened
    assert opened.troubles == []
    context.close()


def judged(page, corpus, rules):
    """What the form's script asks of each record of a corpus: (pointer, code, question)."""
    day = {"year": TODAY.year, "month": TODAY.month}
    return [set(map(tuple, found)) for found in page.evaluate(CHECK, {"corpus": corpus, "rules": rules, "today": day})]


def real_rules():
    found = {}
    for (name, version), protocol in protocols().protocols.items():
        rules = form_rules(protocol.record, "adopted", "2026-01", load_steels(), base_url="https://edgehold.example/")
        found[f"{name} {version}"] = rules
    return found


def asked_by_program(tree):
    return {(p.pointer, p.code, str(p.message)) for p in problems(tree) if p.code in SENSE}


def test_the_form_asks_about_every_slip_in_the_words_of_the_check(tab):
    name = " ".join(PROTOCOL)
    found = judged(tab.page, [[name, slipped(slip)] for slip in SLIPS] + [[name, record()]], real_rules())
    for slip, some in zip(SLIPS, found, strict=False):
        (one,) = [one for one in some if one[2]]
        assert one[:2] == (slip.place, slip.code) and slip.words in one[2], slip.what
        assert some >= asked_by_program(slipped(slip)), slip.what
    assert found[-1] == set()


def test_the_form_asks_what_the_check_asks_of_honest_submissions_too(tab):
    """A hundred at the largest spread: limits, other units, decimal commas, fractions, runs broken off."""
    records = list(honest(100, 0.4))
    corpus = [[f"{tree['protocol']['id']} {tree['protocol']['version']}", tree] for tree in records]
    found = [{one for one in some if one[1] in SENSE} for some in judged(tab.page, corpus, real_rules())]
    assert found == [asked_by_program(tree) for tree in records]
    assert any(found)


def test_questions_of_the_form_have_the_words_of_the_check_over_the_whole_corpus(tab, tmp_path):
    corpus = cases()
    program_findings(tmp_path / "repository", corpus)
    said = {}
    for finding in load_repository(tmp_path / "repository", today=TODAY).findings:
        said.setdefault(finding.file, set()).add((finding.pointer, finding.code, str(finding.message)))
    found = judged(tab.page, [[case.protocol, case.record] for case in corpus], {name: rules_of(name) for name in FRONTS})
    compared = 0
    for number, (case, some) in enumerate(zip(corpus, found, strict=True)):
        mine = said.get(f"submissions/measured/{case.protocol}/case-{number:04d}.json", set())
        for one in (one for one in some if one[2] and one[:2] in {told[:2] for told in mine}):
            assert one[2] in {told[2].partition(" — answered")[0] for told in mine if told[:2] == one[:2]}, case.why
            compared += 1
    assert compared > 30


def test_a_question_stands_at_its_cell_as_soon_as_the_cell_is_left(tab):
    tab.open(record())
    cell = tab.cell(1, 80, 1)
    cell.fill("2940")
    tab.page.keyboard.press("Tab")
    expect(tab.said_at(cell)).to_have_text("At 80 cuts, first reading: 2940 gf beside 287 and 279: was 294 meant?")
    expect(cell).not_to_have_attribute("aria-invalid", "true")
    expect(cell).to_have_value("2940")
    cell.fill("294")
    tab.page.keyboard.press("Tab")
    expect(tab.run(1).get_by_text("was 294 meant?")).to_have_count(0)


def test_the_finished_file_is_saved_as_typed_and_focus_goes_to_the_first_question(tab):
    tree = record()
    tree["runs"][1]["readings"][3]["values"][1] = {"written": 23}
    tree["runs"][2]["reading_unit"] = "N"
    tab.open(tree)
    saved = tab.save()[1]
    assert saved["runs"] == tree["runs"]
    expect(tab.cell(2, 20, 2)).to_be_focused()
    expect(tab.page.locator("#form-status")).to_contain_text("2 questions stand at the readings")
    expect(tab.page.locator("#form-found")).to_contain_text("is the unit gf, not N?")
    answer = tab.page.get_by_label("Your answer to: far-from-neighbours")
    answer.fill("the thread was cut before")
    answer.blur()
    tab.page.get_by_label("Your answer to: unit-in-doubt").fill("gf, of course")
    tab.page.keyboard.press("Tab")
    assert len(tab.save()[1]["answers"]) == 2
    expect(tab.page.locator("#form-status")).to_have_text(f"Saved {tree['id']}.json.")


def test_a_filled_in_sheet_with_a_slip_is_asked_about_at_the_cell_of_the_form(tab):
    slip = next(slip for slip in SLIPS if slip.what == "a stray <")
    data = sheet(slipped(slip), RULES)
    tab.page.set_input_files("#form-file", files=[{"name": "sheet.csv", "mimeType": "text/csv", "buffer": data}])
    expect(tab.page.locator("#form-status")).to_contain_text("sheet.csv")
    tab.save()
    cell = tab.cell(3, 10, 1)
    expect(cell).to_be_focused()
    expect(cell).to_have_value("<177")
    expect(tab.said_at(cell)).to_contain_text("<177 gf stands among readings without")
