"""The form of questions: the program's own bytes; an author from nothing to a checked file set, by keyboard, on a telephone."""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import expect

from edgehold import builds
from edgehold.cli import main
from edgehold.forms.method import method_rules
from edgehold.records import load_repository
from edgehold.review.method_settings import settings, told
from edgehold.review.method_text import text_of
from edgehold.review.review_files import Review, review_files
from edgehold.review.writing import markdown_text
from tests.forms.method_corpus import BAD, GOOD, OF_LEVELS, WHOLE
from tests.published import copy_protocols

from .crawling import FACTS, NARROW
from .forms import Tab, new_context, this_month
from .keyboard import Keyboard
from .payloads import Payloads
from .test_axe import grave

NEW = "/protocols/new/"
SAVE = "Check and save the files"
MOST_PLACES, FILES, REQUESTS = 15, 4, 1  # before: 42 places, 5 to 7 files, 2 or 3 requests
WRITE = """async ({ corpus, rules, month }) => {
  const { told, settings, textOf } = await import("/assets/form/method_settings.js");
  const { reviewFiles } = await import("/assets/form/review_files.js");
  const { markdownText } = await import("/assets/form/yaml.js");
  return Promise.all(corpus.map(async answers => {
    const { told: given, wrong } = told(answers, rules);
    if (wrong.length) { return { wrong: wrong.map(({ name, why }) => [name, why]), files: [] }; }
    const tree = settings(given, rules), text = markdownText(tree, textOf(given, rules)), { said } = given;
    const review = { id: said.id, version: rules.version, by: said.by, evidence: said.evidence, month, first: 1 };
    return { wrong: [], files: (await reviewFiles(text, tree, review, rules)).map(({ path, text }) => [path, text]) };
  }));
}"""


def written(answers, month):
    """What the program says of answers, and the files that it makes of them."""
    given, wrong = told(answers)
    if wrong:
        return {"wrong": [[one.name, str(one.why)] for one in wrong], "files": []}
    tree, said = settings(given), given.said
    text, name = markdown_text(tree, text_of(given)), said["id"]
    others = review_files(name, "1.0.0", text.encode(), tree, Review(said["by"], month, said["evidence"]), 1)
    return {"wrong": [], "files": [[f"protocols/{name}/1.0.0.md", text], *([path, data.decode()] for path, data in others)]}


def test_the_form_writes_the_bytes_that_the_command_writes_and_finds_the_same(context, form_base, form_root):
    page = context.new_page()
    page.goto(f"{form_base}/methods/")
    corpus, rules = [*GOOD, *BAD], json.loads(json.dumps(method_rules(load_repository(form_root))))
    said = page.evaluate(WRITE, {"corpus": corpus, "rules": rules, "month": "2026-05"})
    assert said == [written(answers, "2026-05") for answers in corpus]


def answer(keyboard: Keyboard, page, answers: dict[str, str]) -> int:
    """Answer questions with the keyboard, in their order; how many places that took."""
    for name, text in answers.items():
        box = page.locator(f"#question-{name}")
        if box.evaluate("box => box.localName") == "select":
            keyboard.reach(box)
            told = box.locator(f'option[value="{text}"]').text_content() or ""
            while box.input_value() != text:
                assert told, f"{text!r} cannot be chosen by typing its words"
                keyboard.write(told[0])
                told = told[1:]
        else:
            keyboard.reach(box)
            keyboard.write(text)
    return len(answers)


@pytest.mark.parametrize("answers", [WHOLE, OF_LEVELS], ids=["open", "levels"])
def test_an_author_goes_from_nothing_to_one_request_that_the_check_accepts(browser, form_base, form_root, tmp_path, answers):
    context = new_context(browser, viewport=NARROW)
    tab = Tab(context, form_base, NEW)
    page, keyboard = tab.page, Keyboard(tab.page)
    ordered = {name: answers[name] for name in OF_LEVELS if name in answers}
    in_order = page.locator("#form-questions [name]").evaluate_all("boxes => boxes.map(box => box.name)")
    places = answer(keyboard, page, dict(sorted(ordered.items(), key=lambda pair: in_order.index(pair[0]))))
    assert places <= MOST_PLACES
    expect(page.locator("#form-questions")).to_contain_text(f"{places} of {places} places filled in")
    keyboard.reach(page.get_by_role("button", name=SAVE))
    with page.expect_download() as waited:
        keyboard.press("Enter")
    assert keyboard.lost == [] and grave(page) == [] and tab.troubles == []
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]
    with zipfile.ZipFile(io.BytesIO(Path(waited.value.path()).read_bytes())) as archive:
        assert archive.testzip() is None
        files = {name: archive.read(name) for name in archive.namelist()}
    assert len(files) == FILES
    expect(page.locator("#form-next details.written")).to_have_count(FILES)
    context.close()
    goes_in(tmp_path, files, answers["by"])


def goes_in(root: Path, files: dict[str, bytes], by: str) -> None:
    """One request onto the published protocols: the check of requests finds no error, the version is in review, and it can be planned."""
    copy_protocols(root, "two-sharpeners-rope")
    (root / "submissions").mkdir()
    git(root, "init", "-q")
    commit(root, "as it is")
    for path, data in files.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)
    commit(root, "a method")
    assert git(root, "rev-list", "--count", "HEAD") == str(1 + REQUESTS)
    assert main(["check", "--root", str(root), "--against", "HEAD~1"]) == 0
    repository = load_repository(root)
    (name,) = {path.split("/")[1] for path in files}
    assert [(event.kind, event.by, event.month) for event in repository.events[name]] == [
        ("released", by, this_month()), ("opened for review", by, this_month()),
    ]  # fmt: skip
    assert repository.events[name][0].sha256 == hashlib.sha256(files[f"protocols/{name}/1.0.0.md"]).hexdigest()
    levels = bool(repository.protocols[(name, "1.0.0")].record.question.levels)
    others = [] if levels else ["--sharpener", "wren"]
    asked = ["--seed", "1", "--sharpener", "auk", *others, "--tester", "fid", "--blade", "auk.one", "--minutes", "180"]
    assert main(["plan", name, "--root", str(root), *asked, "--dry"]) == 0
    if levels:
        builds.site(root)
        assert (root / f"build/site/tonight/{name}-1.0.0/index.html").is_file()


def git(root: Path, *words: str) -> str:
    done = subprocess.run(
        ["git", "-c", "user.name=t", "-c", "user.email=t@example.invalid", *words], cwd=root, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def commit(root: Path, says: str) -> None:
    git(root, "add", "-A")
    git(root, "commit", "-q", "-m", says)


def test_what_is_wrong_is_said_at_its_place_and_the_focus_goes_there(context, form_base):
    tab = Tab(context, form_base, NEW)
    tab.page.get_by_role("button", name=SAVE).click()
    expect(tab.page.locator("#form-wrong")).to_have_text("To put right (13)")
    expect(tab.page.get_by_label("Title", exact=True)).to_be_focused()
    assert grave(tab.page) == []
    tab.page.get_by_label("What one needs", exact=True).fill("twine; somewhere")
    expect(tab.page.locator("#question-needs-said")).to_contain_text("Line 1: after the semicolon comes")
    tab.page.get_by_text("What the form answers for you").click()
    tab.page.get_by_label("Order of the runs", exact=True).fill("x" * 201)
    expect(tab.page.locator("#question-order-said")).to_contain_text("Shorten it to 200 characters")
    assert tab.troubles == []


def test_answers_are_there_again_and_go_on_as_text(context, form_base):
    tab = Tab(context, form_base, NEW)
    page = tab.page
    for name, text in OF_LEVELS.items():
        box = page.locator(f"#question-{name}")
        box.select_option(text) if box.evaluate("box => box.localName") == "select" else box.fill(text)
    page.wait_for_timeout(400)
    page.reload()
    expect(page.get_by_label("Title", exact=True)).to_have_value(OF_LEVELS["title"])
    with page.expect_download():
        page.get_by_role("button", name=SAVE).click()
    page.get_by_role("button", name="Go on in the text itself").click()
    expect(page.get_by_label("The file", exact=True)).to_have_value(written(OF_LEVELS, this_month())["files"][0][1])
    expect(page.get_by_label("Version", exact=True)).to_have_value("1.0.0")
    page.get_by_label("Start from", exact=True).select_option("questions")
    page.get_by_role("button", name="Throw the answers away").click()
    page.get_by_role("button", name="Throw the answers away: really?").click()
    expect(page.get_by_label("Title", exact=True)).to_have_value("")
    assert tab.troubles == []


def test_hostile_answers_do_nothing_and_stand_in_the_file_as_typed(browser, form_base, tmp_path):
    say, context = Payloads(), new_context(browser, viewport=NARROW)
    tab = Tab(context, form_base, NEW)
    page = tab.page
    texts = [" ".join(text.split()) for text in say.every()]
    hostile = dict(WHOLE) | {
        "title": say.short(), "question": say.short(), "medium": say.short(), "stroke": say.short(), "reading": say.short(),
        "set_up": "\n".join(texts), "cautions": "\n".join(text[:200] for text in texts),
        "needs": "\n".join(text.replace(";", ",")[:200] for text in texts), "id": "hostile-method",
        "threats": "\n".join(f"medium: {text.replace(';', ',')[:200]}; {text.replace(';', ',')}" for text in texts),
    }  # fmt: skip
    page.get_by_text("What the form answers for you").click()
    for name, text in hostile.items():
        box = page.locator(f"#question-{name}")
        box.select_option(text) if box.evaluate("box => box.localName") == "select" else box.fill(text)
    with page.expect_download() as waited:
        page.get_by_role("button", name=SAVE).click()
    seen = page.evaluate(FACTS)
    assert (seen["scriptRan"], seen["handlers"], seen["styled"], seen["violations"], seen["repeatedIds"]) == (None, [], [], [], [])
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth") and tab.troubles == []
    with zipfile.ZipFile(waited.value.path()) as archive:
        archive.extractall(tmp_path)
    loaded = load_repository(tmp_path)
    assert [(f.file, f.code) for f in loaded.errors] == []
    record = loaded.protocols[("hostile-method", "1.0.0")].record
    assert (record.title, record.question.text) == (" ".join(hostile["title"].split()), " ".join(hostile["question"].split()))
    assert list(record.cautions) == hostile["cautions"].split("\n")
    context.close()


DAMAGED = ("", "{", "null", "[]", "7", '"text"', '{"title": 7}', '{"steps": ["a"]}', '{"deep": {"deep": {}}}', "\x00\ud800", "[" * 5_000)


def test_a_damaged_draft_never_leaves_the_questions_empty_and_is_offered_as_a_file(context, form_base):
    tab, offered_times = Tab(context, form_base, NEW), 0
    for text in DAMAGED:
        tab.page.goto(f"{form_base}/runbook/")  # a page that is being left may write its own draft late
        tab.page.evaluate("text => { localStorage.clear(); localStorage.setItem('edgehold/draft/method', text); }", text)
        tab.page.goto(form_base + NEW)
        expect(tab.page.locator("#form-questions").get_by_role("textbox").first).to_be_visible()
        offered = tab.page.locator("#form-questions .aside")
        expect(offered).to_have_count(1)
        with tab.page.expect_download() as waited:
            offered.get_by_role("button", name="Save it as a file").click()
        saved = Path(waited.value.path()).read_bytes()
        assert saved == text.encode("utf-8", "replace") or "\ud800" in text
        offered_times += 1
    first = tab.page.locator("#form-questions").get_by_role("textbox").first
    first.fill("A new method")  # the form goes on beside it, and keeps its own draft
    tab.page.wait_for_function("() => (localStorage.getItem('edgehold/draft/method') ?? '').includes('A new method')")
    tab.page.reload()
    offered = tab.page.locator("#form-questions .aside")
    expect(tab.page.locator("#form-questions").get_by_role("textbox").first).to_have_value("A new method")
    expect(offered).to_have_count(1)  # it waits there until somebody throws it away
    offered.get_by_role("button", name="Throw it away").click()
    offered.get_by_role("button").last.click()
    expect(offered).to_have_count(0)
    assert offered_times == len(DAMAGED) and tab.troubles == []
