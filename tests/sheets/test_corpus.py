"""Every sheet of the corpus leads to what is said of it: questions with sheet and cell, values, and an account of every row."""

import functools
import json
from pathlib import Path

import pytest
from openpyxl import load_workbook

from edgehold.sheets.intake import sheet_from_bytes
from edgehold.words import code_of, group
from tests.sheets.filling import TODAY, repository
from tests.sheets.workbooks import xlsx_cases
from tests.sheets.write_corpus import ABSENT, CORPUS, csv_cases

EXPECTED = json.loads((CORPUS / "expected.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    """What comes of a file of the corpus, each read once."""
    small = repository(tmp_path_factory.mktemp("sheets"))
    return functools.cache(lambda name: sheet_from_bytes((CORPUS / name).read_bytes(), small, TODAY))


@pytest.mark.parametrize("case", EXPECTED, ids=lambda case: case["name"])
def test_a_sheet_leads_to_exactly_the_questions_and_values_that_are_said_of_it(case, taken):
    intake = taken(case["name"])
    wanted = [*case.get("asks", []), *case.get("checked", [])]
    assert sorted([q.cell, q.code] for q in intake.questions) == sorted(map(list, wanted))
    for pointer, value in case.get("values", {}).items():
        assert value_at(intake.submission, pointer) == value, pointer
    said = {place.removeprefix("Sheet ") for place, _ in intake.said}
    assert set(case.get("said", [])) <= said
    assert all(q.message and q.cure for q in intake.questions)


def value_at(tree, pointer):
    for name in pointer.split("/")[1:]:
        try:
            tree = tree[int(name)] if isinstance(tree, list) else tree[name]
        except (LookupError, TypeError):
            return ABSENT
    return tree


@pytest.mark.parametrize("case", EXPECTED, ids=lambda case: case["name"])
def test_no_row_is_lost(case, taken):
    intake = taken(case["name"])
    if intake.submission is None:
        assert intake.questions and not intake.tally
        return
    assert sum(intake.tally.values()) == rows_in(CORPUS / case["name"])


def rows_in(path: Path) -> int:
    """Rows in which anything stands, counted by other means than the reader's own."""
    import csv
    import io

    if path.suffix == ".xlsx":
        sheet = load_workbook(path).worksheets[0]
        return sum(any(str(cell.value or "").strip() for cell in row) for row in sheet.iter_rows())
    data = path.read_bytes()
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    text = data.decode(encoding)
    first = text.splitlines()[0]
    if first.startswith("sep="):
        text = text[len(first) :].lstrip("\r\n")
    mark = next(mark for mark in ",;\t" if text.startswith(f"Edgehold sheet{mark}"))
    return sum(any(cell.strip() for cell in row) for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark))


def test_the_corpus_is_what_its_script_writes():
    written = {case.name: case.data for case in [*csv_cases(), *xlsx_cases()]}
    assert {path.name for path in CORPUS.iterdir()} == {*written, "expected.json"}
    assert [name for name, data in written.items() if name.endswith(".csv") and (CORPUS / name).read_bytes() != data] == []


def test_the_corpus_reaches_every_text_that_both_readers_say(taken):
    """The two are held to the same texts by the files of this corpus (``tests/browser/test_sheets.py``)."""
    reached = set()
    for intake in (taken(case["name"]) for case in EXPECTED if case["name"].endswith(".csv")):
        reached |= {code_of(text) for question in intake.questions for text in (question.message, question.cure)}
        reached |= {code_of(text) for _, text in intake.said}
    assert {f"sheets.{name}" for name in group("sheets")} - reached == {"sheets.file_too_large", "sheets.leave_out"}


def test_the_corpus_has_not_shrunk():
    damaged = [case for case in EXPECTED if case.get("asks") or case.get("checked")]
    assert len(damaged) >= 50
    assert len(EXPECTED) - len(damaged) >= 30
