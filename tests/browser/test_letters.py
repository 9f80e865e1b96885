"""Blocks of letters in a browser: written and read as the program does, and carried from one form to another."""

import base64
import json
from pathlib import Path

import pytest
from playwright.sync_api import expect

from edgehold.cli import FINE, main
from edgehold.errors import WrittenError
from edgehold.records.read.letters import from_letters, to_letters
from edgehold.words import group
from tests.forms.corpus import rules_of
from tests.published import copy_protocols
from tests.records.damaged_letters import CASES, FILE, around

from .crawling import NARROW
from .forms import FORM, Tab, check_file, example, new_context, type_example, words
from .test_axe import grave

ROOT = Path(__file__).parents[2]
DEMONSTRATION = sorted((ROOT / "submissions" / "simulated").glob("*/*.json"))

READ = """async ({ texts, rules }) => {
  const { fromLetters, holdsLetters } = await import("/assets/form/letters.js");
  const base64 = (bytes) => btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  const found = [];
  for (const text of texts) {
    const { bytes, unread } = await fromLetters(text, rules);
    found.push([holdsLetters(text, rules), unread ?? base64(bytes)]);
  }
  return found;
}"""

WRITE = """async ({ files, rules }) => {
  const { toLetters } = await import("/assets/form/letters.js");
  return Promise.all(files.map((file) => toLetters(Uint8Array.from(atob(file), (sign) => sign.charCodeAt(0)), rules)));
}"""


@pytest.fixture
def context(browser):
    made = new_context(browser, permissions=["clipboard-read", "clipboard-write"])
    yield made
    made.close()


@pytest.fixture
def rules():
    return rules_of("small-rope")["letters"]


def program_reads(text: str) -> object:
    """What the program's reader makes of a text, in the form of the browser's."""
    try:
        return base64.b64encode(from_letters(text)).decode()
    except WrittenError as refused:
        return {"code": refused.problem.code.partition(".")[2], "message": str(refused.problem), "cure": str(refused.cure)}


def test_both_readers_say_the_same_of_every_damaged_block_and_read_every_whole_one(tab, rules):
    texts = [*around().values(), *(case.text for case in CASES)]
    found = tab.page.evaluate(READ, {"texts": texts, "rules": rules})
    assert [read for _, read in found] == [program_reads(text) for text in texts]
    assert {read["code"] for _, read in found if isinstance(read, dict)} == {case.code for case in CASES}
    assert [holds for holds, _ in found] == [True] * len(around()) + [case.code != "none" for case in CASES]


def test_every_file_of_the_demonstration_goes_either_way_to_the_byte(tab, rules):
    files = [path.read_bytes() for path in DEMONSTRATION]
    packed = [base64.b64encode(data).decode() for data in files]
    by_browser = tab.page.evaluate(WRITE, {"files": packed, "rules": rules})
    assert [from_letters(block) for block in by_browser] == files
    by_program = tab.page.evaluate(READ, {"texts": [to_letters(data) for data in files], "rules": rules})
    assert [read for _, read in by_program] == packed
    four = [len(block) for block, data in zip(by_browser, files, strict=True) if len(json.loads(data).get("runs", ())) == 4]
    assert len(four) >= 10 and max(four) < 3_000


def paste(tab: Tab, text: str) -> None:
    tab.page.locator("#form-status").evaluate("line => line.replaceChildren()")
    place = tab.page.locator("details", has=tab.page.locator("#form-letters"))
    if place.get_attribute("open") is None:
        tab.page.get_by_text(str(group("sending")["open_block"]), exact=True).click()
    tab.page.locator("#form-letters").fill(text)
    tab.page.get_by_role("button", name="Open what you pasted").click()
    expect(tab.page.locator("#form-status")).not_to_be_empty()


def test_a_finished_form_becomes_a_block_that_a_fresh_form_and_the_program_open(
    browser, context, form_base, form_site, tmp_path, monkeypatch
):
    """One types and copies, another pastes and saves; a third takes it in by the program: the same file each time."""
    first = Tab(context, form_base)
    type_example(first, example(form_site))
    name, record, text = first.save()
    first.page.get_by_role("button", name="Copy the block").click()
    expect(first.page.get_by_text("Copied.", exact=True)).to_be_visible()
    block = first.page.evaluate("navigator.clipboard.readText()")
    assert block == first.page.locator("textarea.letters").input_value() and len(block) < 3_000

    elsewhere = new_context(browser)
    second = Tab(elsewhere, form_base)
    quoted = "\n".join(f"> {line}" for line in block.splitlines())
    paste(second, f"From our kitchen:\n\n{quoted}\n\nSee you.")
    expect(second.page.locator("#form-status")).to_contain_text("Opened what you pasted.")
    expect(second.page.locator("#form-letters")).to_have_value("")
    assert second.save() == (name, record, text)
    assert first.troubles + second.troubles == []
    elsewhere.close()

    copy_protocols(tmp_path)
    (tmp_path / "submissions").mkdir()
    message = tmp_path / "message.txt"
    message.write_text(f"From our kitchen:\n\n{quoted}\n\nSee you.", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["intake", "message.txt"]) == FINE
    assert (tmp_path / name).read_bytes() == text.encode()
    assert check_file(tmp_path / "checked", name, text).errors == ()


def test_a_block_in_a_text_file_is_opened_and_saved_to_the_byte(tab, form_site):
    record = example(form_site)
    written = [value for run in record["runs"] for reading in run["readings"] for value in reading["values"]]
    for value in written:
        value["written"] += 0.001  # a number that both write alike: 2.0 becomes 2 in a browser
    data = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    message = f"Hello\n\n{to_letters(data.encode())}".encode("utf-16")
    tab.page.set_input_files("#form-file", files=[{"name": "mail.txt", "mimeType": "text/plain", "buffer": message}])
    expect(tab.page.locator("#form-status")).to_contain_text("Opened mail.txt.")
    assert tab.save()[2] == data


def test_a_damaged_block_is_told_of_and_loses_nothing(tab):
    tab.person(1).get_by_label("Handle", exact=True).fill("wren")
    for code in sorted({case.code for case in CASES} - {"none"}):
        case = next(case for case in CASES if case.code == code)
        paste(tab, case.text)
        message = str(group("letters")[code]).format(**case.arguments)
        expect(tab.page.locator("#form-status")).to_contain_text(message[1:])
        expect(tab.page.locator("#form-status")).to_contain_text(str(group("sending")["nothing_changed"]))
        expect(tab.person(1).get_by_label("Handle", exact=True)).to_have_value("wren")
        expect(tab.page.locator("#form-letters")).not_to_have_value("")


def test_what_a_block_packs_is_looked_at_like_a_file(tab, form_site):
    record = example(form_site)
    for packed, said in (
        (b"not json", "The file is not JSON"),
        (b"[" * 9_000 + b"]" * 9_000, "The file"),
        (b'{"runs": [' + b"{}," * 30_000 + b"{}]}", "more than any submission needs"),
        (json.dumps(record | {"protocol": {"id": "other", "version": "1.0.0"}}).encode(), "this form is for"),
    ):
        paste(tab, to_letters(packed))
        expect(tab.page.locator("#form-status")).to_contain_text(said)
    hostile = "<img src=x onerror='scriptRan=1'><script>scriptRan=1</script>"
    record |= {"note": hostile}
    paste(tab, to_letters(json.dumps(record).encode()))
    expect(tab.page.locator("#form-status")).to_contain_text("Opened what you pasted.")
    assert tab.save()[1]["note"] == hostile
    assert tab.page.evaluate("window.scriptRan") is None


def test_a_file_that_was_pasted_is_opened_too(tab, form_site):
    paste(tab, json.dumps(example(form_site)))
    assert tab.save()[1] == example(form_site)


def test_a_browser_that_cannot_pack_says_so_and_still_saves(browser, form_base, form_site):
    context = new_context(browser)
    context.add_init_script("delete window.CompressionStream; delete window.DecompressionStream;")
    tab = Tab(context, form_base)
    paste(tab, to_letters(FILE))
    expect(tab.page.locator("#form-status")).to_have_text(str(group("sending")["cannot_unpack"]))
    tab.open(example(form_site))
    tab.save()
    expect(tab.page.locator("#form-next")).to_contain_text(str(group("sending")["cannot_pack"]))
    assert tab.troubles == []
    context.close()


@pytest.mark.parametrize("address", ["/tonight/", "/submit/", "/contributing/", FORM])
def test_where_results_go_is_said_before_the_evening(context, form_base, address):
    page = context.new_page()
    page.goto(form_base + address)
    assert str(group("sending")["nowhere"]) in words(page.locator("article").first)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_nothing_grave_is_found_where_a_block_is_shown_and_pasted(browser, form_base, form_site, scheme, size):
    context = new_context(browser, color_scheme=scheme, **({"viewport": NARROW} if size == "narrow" else {}))
    tab = Tab(context, form_base)
    tab.open(example(form_site))
    tab.save()
    expect(tab.page.locator("textarea.letters")).to_be_visible()
    paste(tab, CASES[2].text)
    assert grave(tab.page) == []
    assert tab.page.evaluate("document.documentElement.scrollWidth") <= tab.page.evaluate("innerWidth")
    context.close()
