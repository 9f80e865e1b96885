"""Sheets in a browser: the form reads a filled-in CSV as the program does; a sheet is printed on A4 and Letter as it should be."""

import base64
import csv
import io
import json
import random
import re

import pytest
from playwright.sync_api import expect

from edgehold.forms.submission import form_rules
from edgehold.records.model.protocol import Protocol
from edgehold.records.registers import load_steels
from edgehold.sheets.browser import browser_rules
from edgehold.sheets.cells import Question, Refused, cell_name
from edgehold.sheets.csv_table import read_csv
from edgehold.sheets.interpret import interpret, protocol_named
from edgehold.sheets.lines import MARKER, sheet_rules
from tests.forms.corpus import FRONTS as ASKED
from tests.forms.corpus import REFERENCE
from tests.fuzz.sheets import damaged_sheet
from tests.sheets.filling import Rows, csv_text, filled_with_references
from tests.sheets.write_corpus import CORPUS

from .crawling import NARROW
from .forms import FORM, check_file, new_context, this_month
from .test_axe import grave

FRONTS = {name: Protocol.model_validate_json(json.dumps(front)) for name, front in ASKED.items()}
READ = """async ([files, rules]) => {
  const { readSheet } = await import("/assets/form/sheet.js");
  const { cellName } = await import("/assets/form/csv.js");
  return files.map(([name, protocol, data]) => {
    const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
    const { tree, asks, said, tally } = readSheet(bytes, rules[protocol]);
    const place = ({ row, column }) => cellName(row, column);
    const asked = asks.map((ask) => [place(ask), ask.code, ask.message, ask.cure]);
    return { tree, tally, asks: asked, said: said.map((one) => [place(one), one.text]) };
  });
}"""


def protocol_of(name: str) -> str:
    """The protocol that a file of the corpus follows, whatever stands in it."""
    return "small-paper" if "paper" in name else "small-levels" if "levels" in name else "small-rope"


def program_reads(name: str, data: bytes) -> dict:
    """What the program's reader makes of a CSV."""
    try:
        table, said = read_csv(data)
    except Refused as refused:
        return {"tree": None, "tally": {}, "asks": [asked(refused.question)], "said": []}
    found = interpret(table, sheet_rules(FRONTS[protocol_of(name)]), protocol_named(table, MARKER))
    return {
        "tree": found.tree,
        "tally": found.tally,
        "asks": [asked(question) for question in found.questions],
        "said": sorted([[cell_name(0, 0), text] for text in said] + [[cell_name(*place), text] for place, text in found.said.items()]),
    }


def asked(question: Question) -> list[str]:
    return [question.cell, question.code, question.message, question.cure]


def both_read(tab, files: list[tuple[str, bytes]]) -> None:
    """The form and the program make the same of every file."""
    rules = {name: rules_of(front) for name, front in FRONTS.items()}
    sent = [(name, protocol_of(name), base64.b64encode(data).decode()) for name, data in files]
    for (name, data), seen in zip(files, tab.page.evaluate(READ, [sent, rules]), strict=True):
        seen["said"].sort()
        assert seen == program_reads(name, data), name


def test_the_form_reads_reference_edges_and_weights_as_the_program_does(tab):
    rows = filled_with_references(REFERENCE["/reference"])
    both_read(tab, [("references.csv", csv_text(rows).encode())])


def test_the_form_reads_every_sheet_of_the_corpus_as_the_program_does(tab):
    names = sorted(path.name for path in CORPUS.glob("*.csv"))
    assert len(names) > 50
    both_read(tab, [(name, (CORPUS / name).read_bytes()) for name in names])


def test_the_form_reads_damaged_sheets_as_the_program_does(tab):
    """Cells exchanged for others, lines mixed up, bytes lost: fixed seeds."""
    files = []
    for seed in range(300):
        name = ("clean.csv", "semicolons.csv", "paper-clean.csv", "utf-16.csv")[seed % 4]
        files.append((f"{seed} {name}", damaged_sheet((CORPUS / name).read_bytes(), name, random.Random(seed))))
    both_read(tab, files)


def rules_of(front: Protocol) -> dict:
    rules = form_rules(front, "adopted", "2026-01", load_steels(), base_url="https://edgehold.example/")
    return rules | {"sheet": browser_rules(front)}


def downloaded(site, kind: str = "csv") -> bytes:
    return (site / f"data/sheets/two-sharpeners-rope-1.1.0.{kind}").read_bytes()


def filled_in(site) -> Rows:
    """The sheet that the site offers, filled in with the figures of the worked example."""
    example = json.loads((site / "data/examples/two-sharpeners-rope-1.1.0.json").read_text(encoding="utf-8"))
    rows = Rows(list(row) for row in csv.reader(io.StringIO(downloaded(site).decode())))
    rows.write("Month", this_month())
    rows.write("Sent in by", "A")
    people = rows.find("People") + 2
    rows[people][1:] = ["wren", "yes", "practised"]
    rows[people + 1][1:] = ["tern", "yes", ""]
    rows[rows.find("Blades") + 2][1:] = ["wren.galley"]
    for number, run in enumerate(example["runs"], 1):
        rows.write("Tester", "A", run=number)
        rows.write("Reading unit", "N", run=number)
        rows.write("Ended", run["ended"], run=number)
        for reading in run["readings"]:
            rows.write(str(reading["work"]), *(str(value["written"]) for value in reading["values"]), run=number)
    return rows


def open_csv(tab, text: str, name: str = "sheet.csv") -> None:
    tab.page.set_input_files("#form-file", files=[{"name": name, "mimeType": "text/csv", "buffer": text.encode()}])
    expect(tab.page.locator("#form-status")).to_contain_text(f"Opened {name}")


def test_a_filled_in_sheet_opens_in_the_form_and_is_saved_as_a_file_that_the_check_accepts(tab, form_site, tmp_path):
    open_csv(tab, csv_text(filled_in(form_site), ";"))
    expect(tab.page.locator("#form-status")).to_contain_text("readings 28")
    name, saved, text = tab.save()
    assert [run["ended"] for run in saved["runs"]] == ["last checkpoint"] * 4
    assert saved["people"] == [{"handle": "wren", "agreed": "yes", "sharpening": "practised"}, {"handle": "tern", "agreed": "yes"}]
    assert [run["tester"] for run in saved["runs"]] == ["wren"] * 4
    assert check_file(tmp_path, name, text).errors == ()


def test_what_a_sheet_leaves_unclear_stands_as_written_and_is_asked_with_its_cell(tab, form_site):
    rows = filled_in(form_site)
    rows.write("5", "3-Jan", run=1)
    rows.append_to("Ended", ["Weather", "rain"], run=1)
    open_csv(tab, csv_text(rows))
    place = f"B{rows.find('5', 1) + 1}"
    expect(tab.page.locator("#form-status")).to_contain_text(f"{place}: ")
    expect(tab.page.locator("#form-status")).to_contain_text("'Weather' is no line of this part of the sheet")
    expect(tab.cell(1, 5, 1)).to_have_value("3-Jan")
    tab.refused()
    expect(tab.cell(1, 5, 1)).to_have_attribute("aria-invalid", "true")


def test_a_workbook_and_a_sheet_of_another_protocol_are_turned_away_in_words(tab, form_site):
    files = [{"name": "sheet.xlsx", "mimeType": "", "buffer": downloaded(form_site, "xlsx")}]
    tab.page.set_input_files("#form-file", files=files)
    expect(tab.page.locator("#form-status")).to_contain_text("Save the sheet as CSV UTF-8")
    other = downloaded(form_site).decode().replace("version 1.1.0", "version 1.0.0", 1)
    tab.page.set_input_files("#form-file", files=[{"name": "other.csv", "mimeType": "text/csv", "buffer": other.encode()}])
    expect(tab.page.locator("#form-status")).to_contain_text("Choose its form under")


def pages_of(pdf: bytes) -> int:
    """Pages of a PDF, from its page tree (ISO 32000-1, 7.7.3.2)."""
    return max(
        int(count)
        for count in re.findall(rb"/Type\s*/Pages\s[^>]*?/Count\s+([0-9]+)|/Count\s+([0-9]+)[^>]*?/Type\s*/Pages", pdf)
        for count in count
        if count
    )


@pytest.mark.parametrize(
    ("protocol_version", "cells_wanted"), [("two-sharpeners-rope-1.1.0", 4 * 7 * 4), ("life-on-card-1.0.0", 4 * 9 * 4)]
)
def test_on_paper_a_sheet_has_its_cautions_large_cells_and_no_navigation(context, form_base, protocol_version, cells_wanted):
    page = context.new_page()
    page.goto(f"{form_base}/tonight/{protocol_version}/sheet/")
    page.emulate_media(media="print")
    expect(page.get_by_text("Local law, the carrier")).to_be_visible()
    assert page.locator("header:visible, footer:visible, .crumbs:visible, .actions:visible, [role=dialog]:visible").count() == 0
    cells = page.locator(".sheet .readings tbody td").evaluate_all("all => all.map(cell => cell.getBoundingClientRect().height)")
    assert len(cells) == cells_wanted and min(cells) >= 7.5 * 96 / 25.4  # in CSS pixels
    colours = page.locator(".sheet .readings th").first.evaluate(
        "cell => [getComputedStyle(cell).color, getComputedStyle(cell).backgroundColor]"
    )
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]


@pytest.mark.parametrize("settings", [{}, {"color_scheme": "dark"}, {"viewport": NARROW}], ids=["light", "dark", "phone"])
def test_nothing_grave_is_found_on_a_sheet(browser, form_base, settings):
    context = new_context(browser, **settings)
    page = context.new_page()
    page.goto(f"{form_base}/tonight/two-sharpeners-rope-1.1.0/sheet/")
    assert grave(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")
    context.close()


def test_the_form_and_the_index_lead_to_the_sheet_and_its_files(context, form_base, form_site):
    page = context.new_page()
    page.goto(f"{form_base}/tonight/")
    page.get_by_role("link", name="Its sheet to print").first.click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    with page.expect_download() as waited:
        page.get_by_role("link", name="the same sheet as CSV").click()
    assert waited.value.suggested_filename.endswith(".csv")
    page.goto(form_base + FORM)
    page.get_by_role("link", name="a sheet to print").click()
    expect(page.get_by_text("This order was drawn with seed")).to_be_visible()
