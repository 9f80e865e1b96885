"""Forms for objections, responses, outcomes and protocols: the program's findings, files that the check accepts, from a step to a file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import expect

from edgehold.records import load_repository
from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.review.drafts import name_of
from edgehold.review.writing import markdown_text
from edgehold.words import group
from tests.forms.review_corpus import cases, path_of, program_findings, rules_of, write_repository
from tests.records.builder import TODAY

from .crawling import NARROW
from .forms import Tab, new_context, this_month
from .test_axe import grave
from .test_form_rules import OF_REVIEWS, TEXTS

SAVE = "Check and save the file"
ROPE = "protocols/two-sharpeners-rope"
TARGET = {"protocol": "two-sharpeners-rope", "version": "1.0.0", "step": "s6-sharpen"}
JUDGE = """async ({ corpus, rules, today }) => {
  const { judge, rulesFor, pathOf } = await import("/assets/form/review_file.js");
  const { markdownText } = await import("/assets/form/yaml.js");
  return corpus.map(({ record, body, protocol, number }) => {
    const own = rules[record.kind], draft = number ? { protocol, number } : { ...record, analysis: protocol === "analysis" ? "yes" : "" };
    const found = judge(record, body, rulesFor(draft, own), today).map(({ pointer, code }) => [pointer, code]);
    return { found, text: markdownText(record, body), path: pathOf(draft, own) };
  });
}"""


@pytest.fixture
def base(form_base):
    """The site of the forms, which has these objections."""
    return form_base


@pytest.fixture(scope="module")
def judged(browser, form_base, tmp_path_factory):
    """Every case of the corpus with what the program and what the browser say."""
    root = write_repository(tmp_path_factory.mktemp("reviews"))
    corpus, rules = cases(), rules_of(root)
    page = browser.new_page()
    page.goto(f"{form_base}/methods/")
    given = [{"record": c.record, "body": c.body, "protocol": c.protocol, "number": c.number} for c in corpus]
    said = page.evaluate(JUDGE, {"corpus": given, "rules": rules, "today": {"year": TODAY.year, "month": TODAY.month}})
    page.close()
    return list(zip(corpus, program_findings(root, corpus), said, [path_of(root, case) for case in corpus], strict=True))


def without_places(found):
    return {("", code) if code in TEXTS else (place, code) for place, code in found}


def test_the_forms_find_the_same_codes_at_the_same_places(judged):
    differ = [
        (case, program - form, form - program)
        for case, program, form in ((c, without_places(p), without_places(map(tuple, said["found"]))) for c, p, said, _ in judged)
        if program != form
    ]
    assert differ == []


def test_the_corpus_holds_good_files_and_reaches_every_rule_of_the_forms(judged, tmp_path):
    found = {code for _, program, _, _ in judged for _, code in program}
    assert sum(not program for _, program, _, _ in judged) >= 100
    rules = rules_of(write_repository(tmp_path))
    tables = [form["table"] for form in (rules["objection"], rules["response"], rules["outcome"])]
    tables += [part["table"] for target in rules["objection"]["targets"].values() for part in (target, *target["versions"])]
    tables += [thread["table"] for kind in ("response", "outcome") for thread in rules[kind]["threads"]]
    entries = [entry for table in tables for entry in table]
    assert {entry["code"] for entry in entries} <= found
    assert {entry["rule"] for entry in entries} >= OF_REVIEWS


def test_the_forms_write_the_bytes_and_the_place_that_the_command_writes(judged):
    for case, _, said, path in judged:
        assert said["text"] == markdown_text(case.record, case.body)
        assert said["path"] == path


def test_a_critic_goes_from_a_step_of_a_protocol_to_a_file_that_the_check_accepts(context, base, form_root, tmp_path):
    page = context.new_page()
    page.goto(f"{base}/protocols/two-sharpeners-rope/1.1.0/#s6-sharpen")
    page.locator("a[href*='step=s6-sharpen']").first.click()
    page.wait_for_url("**/objections/new/**")
    expect(page.get_by_label("Against", exact=True)).to_have_value("two-sharpeners-rope@1.1.0")
    expect(page.get_by_label("Step", exact=True)).to_have_value("s6-sharpen")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-wrong")).to_have_text("To put right (5)")
    statement = 'Loading is quick at first: "no" doubt.\n\n- It levels off.\n---\nAnd so on: yes.'
    page.get_by_label("Title", exact=True).fill("Stones: they load")
    page.get_by_label("Threat", exact=True).select_option("order")
    page.get_by_label("material", exact=True).check()
    page.get_by_label("Statement", exact=True).fill(statement)
    page.get_by_label("Proposed change", exact=True).fill("Dress it first.\nAlways.")
    page.get_by_role("button", name="Add evidence").click()
    page.get_by_label("Probe", exact=True).select_option("run-order")
    page.get_by_label("Handle", exact=True).fill("auk")
    page.get_by_label("Interest", exact=True).select_option("none")
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    path = page.locator("#form-path").inner_text()
    assert path == f"{ROPE}/objections/002-stones-they-load/00-objection.md" and waited.value.suggested_filename == "00-objection.md"
    for part in ("protocols", "submissions"):
        shutil.copytree(form_root / part, tmp_path / part)
    before = load_repository(tmp_path).findings
    (tmp_path / path).parent.mkdir()
    shutil.copy(waited.value.path(), tmp_path / path)
    found = load_repository(tmp_path)
    assert [f for f in found.findings if f not in before] == []
    thread = next(t for t in found.objections if t.path == path)
    assert thread.statement == statement and thread.objection.proposed_change == "Dress it first.\nAlways."
    assert (thread.objection.against.step, thread.objection.evidence[0].probe) == ("s6-sharpen", "run-order")
    assert (thread.objection.by, thread.objection.month) == ("auk", this_month())


def test_a_half_done_draft_is_there_again_after_the_page_was_left(context, base):
    address = "/objections/new/?protocol=two-sharpeners-rope&version=1.1.0&step=s6-sharpen"
    tab = Tab(context, base, address)
    tab.page.get_by_label("Statement", exact=True).fill("It loads.")
    tab.page.get_by_label("Handle", exact=True).fill("auk")
    expect(tab.page.locator("#form-kept")).to_contain_text("Kept in this browser")
    tab.page.reload()
    expect(tab.page.locator("#form-status")).to_contain_text("Restored")
    expect(tab.page.get_by_label("Statement", exact=True)).to_have_value("It loads.")
    tab.page.goto(f"{base}/objections/new/?protocol=analysis")
    expect(tab.page.get_by_label("Against", exact=True)).to_have_value("analysis")
    expect(tab.page.get_by_label("Statement", exact=True)).to_have_value("")
    expect(tab.page.locator("#form-drafts")).to_contain_text("Other drafts in this browser (1)")
    assert tab.troubles == []


def test_an_answer_and_a_decision_follow_the_thread(context, base):
    page = context.new_page()
    page.goto(f"{base}/objections/two-sharpeners-rope/001/")
    address = page.get_by_role("link", name="Answer it").get_attribute("href")
    tab = Tab(context, base, f"/objections/two-sharpeners-rope/001/{address}")
    page = tab.page
    page.get_by_label("revision", exact=True).check()
    page.get_by_label("Revised in", exact=True).select_option("1.0.0")
    page.get_by_label("Text", exact=True).fill("Done.")
    page.get_by_label("Handle", exact=True).fill("ruff")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-found")).to_contain_text("does not touch what was objected to")
    page.get_by_label("rebuttal", exact=True).check()
    page.get_by_role("button", name="Add evidence").click()
    page.get_by_label("Kind", exact=True).select_option("citation")
    page.get_by_label("Source", exact=True).fill("Somebody (1999): a paper")
    page.get_by_label("Interest", exact=True).select_option("owner")
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    front, body = split_front_matter(Path(waited.value.path()).read_text(encoding="utf-8"))
    tree = parse_yaml(front).tree
    assert tree["response"] == "rebuttal" and tree["evidence"] == [{"citation": "Somebody (1999): a paper"}] and body.strip() == "Done."
    expect(page.locator("#form-path")).to_have_text(f"{ROPE}/objections/001-the-stone-loads/02-response.md")
    page.goto(f"{base}/objections/decide/?protocol=two-sharpeners-rope&number=1")
    page.get_by_label("Outcome", exact=True).select_option("rebutted")
    page.get_by_label("Reason", exact=True).fill("The paper says so.")
    page.get_by_label("Handle", exact=True).fill("tern")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-found")).to_contain_text("let somebody else decide")
    page.get_by_label("Handle", exact=True).fill("ruff")
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    assert waited.value.suggested_filename == "02-outcome.md"
    assert tab.troubles == []


def test_a_protocol_is_drafted_from_a_version_and_checked_as_the_program_does(context, base, form_root, tmp_path):
    tab = Tab(context, base, "/protocols/new/?protocol=two-sharpeners-rope&version=1.1.0")
    page = tab.page
    source = (form_root / ROPE / "1.1.0.md").read_text(encoding="utf-8")
    expect(page.get_by_label("Version", exact=True)).to_have_value("2.1.0")
    for version, told in (("1.2", "The text does not have the form"), ("1.1.0", "is there already and never changes")):
        page.get_by_label("Version", exact=True).fill(version)
        page.get_by_role("button", name=SAVE).click()
        expect(page.locator("#form-found")).to_contain_text(told)
    page.get_by_label("Version", exact=True).fill("1.1.1")
    page.get_by_label("What is new", exact=True).fill('Wording: "sharper", no more')
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    written = Path(waited.value.path()).read_text(encoding="utf-8")
    expect(page.locator("#form-path")).to_have_text(f"{ROPE}/1.1.1.md")
    changed = [line for line in written.splitlines() if line not in source.splitlines()]
    tables = [line for line in changed if line.startswith("{table: ")]  # those of the older text that say what the settings say
    assert tables and [line for line in changed if line not in tables] == ['version: "1.1.1"', 'changes: "Wording: \\"sharper\\", no more"']
    for part in ("protocols", "submissions"):
        shutil.copytree(form_root / part, tmp_path / part)
    (tmp_path / ROPE / "1.1.1.md").write_text(written, encoding="utf-8")
    assert [f for f in load_repository(tmp_path).findings if f.file == f"{ROPE}/1.1.1.md"] == []
    page.get_by_label("Start from", exact=True).select_option(label="A method of its own: a skeleton")
    expect(page.get_by_label("What is new", exact=True)).to_have_value("first version")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-wrong")).to_have_text("To put right (1)")
    page.get_by_label("Id", exact=True).fill("new")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-found")).to_contain_text("keeps for itself")
    page.get_by_label("The file", exact=True).fill("no head")
    page.get_by_role("button", name=SAVE).click()
    expect(page.locator("#form-found")).to_contain_text("does not begin with front matter")
    assert tab.troubles == []


PAGES = (
    "/objections/new/?protocol=two-sharpeners-rope&version=1.1.0&step=s6-sharpen",
    "/objections/respond/?protocol=analysis&number=1",
    "/objections/decide/?protocol=two-sharpeners-rope&number=1",
    "/protocols/new/?protocol=life-on-card",
)


@pytest.mark.parametrize("address", PAGES)
def test_nothing_is_wider_than_a_telephone_and_nothing_bars_anybody(browser, base, address):
    context = new_context(browser, viewport=NARROW)
    tab = Tab(context, base, address)
    tab.page.get_by_role("button", name=SAVE).click()
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    assert grave(tab.page) == []
    assert tab.troubles == []
    context.close()


@pytest.mark.parametrize("address", PAGES)
def test_without_scripts_the_page_says_how_to_write_the_file(browser, base, address):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(base + address)
    expect(page.locator("#form-off")).to_contain_text("does not run here")
    expect(page.locator("#form-root")).to_be_hidden()
    expect(page.get_by_label("Command", exact=True).first).to_contain_text("edgehold draft")
    context.close()


def test_an_objection_is_raised_with_the_keyboard_alone(context, base):
    tab = Tab(context, base, "/objections/new/?protocol=analysis")
    keyboard = tab.page.keyboard
    tab.page.get_by_label("Against", exact=True).focus()
    for text in ("\t", "Pooled alike", "\t", "anal", "\t", " ", "\t", "It leans.", "\t\t\t\t", "auk", "\t", "none"):
        keyboard.press("Space") if text == " " else [keyboard.press("Tab") for _ in text] if text.isspace() else keyboard.type(text)
    while tab.page.evaluate("document.activeElement.textContent") != SAVE:
        keyboard.press("Tab")
    with tab.page.expect_download():
        keyboard.press("Enter")
    expect(tab.page.locator("#form-path")).to_have_text("protocols/analysis/objections/002-pooled-alike/00-objection.md")
    assert tab.troubles == []


def test_the_text_goes_into_a_link_where_there_is_somewhere_to_go(context, base):
    page = context.new_page()
    page.goto(f"{base}/methods/")
    links = page.evaluate(
        """async ([path, says]) => {
          const { sending } = await import("/assets/form/next.js");
          const rules = { repository_url: "https://code.example/edgehold", sending: says, limits: { link: 6000 } };
          return [sending(path, "a\\n", rules, ""), sending(path, "x".repeat(7000), rules, "")].map(shown => shown.querySelector("a").href);
        }""",
        [f"{ROPE}/objections/002-{name_of('A b')}/00-objection.md", group("sending")],
    )
    place = "https://code.example/edgehold/new/HEAD?filename=protocols%2Ftwo-sharpeners-rope%2Fobjections%2F002-a-b%2F00-objection.md"
    assert links == [f"{place}&value=a%0A", place]
