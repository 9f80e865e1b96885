"""The worked example in the docs, from question to report, is what the program prints, line by line."""

import html5lib
import pytest

from .fill_sheet import filled
from .worked_example import EXCERPT, PAGE, SHEET, blocks, commands, first_run, repository, run_again

PAGE_TEXT = PAGE.read_text(encoding="utf-8")
SHEET_TEXT = SHEET.read_bytes().decode()


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    """The folder in which somebody followed the page, and what they saw."""
    folder = repository(tmp_path_factory.mktemp("boatyard") / "repository")
    return folder, run_again(PAGE_TEXT, folder, SHEET_TEXT)


def test_every_command_prints_what_the_page_says(followed):
    _, seen = followed
    for shown, printed in zip(blocks(PAGE_TEXT), seen, strict=True):
        assert printed == shown


def test_the_page_goes_from_plan_to_report():
    words = [command.split()[:2] for block in blocks(PAGE_TEXT) for command in commands(block)]
    wanted = ["plan", "intake", "check", "report"]
    assert list(dict.fromkeys(second for first, second in words if first == "edgehold")) == wanted


def test_the_filled_in_sheet_is_the_drawn_one_filled_in(followed):
    folder, _ = followed
    drawn = (folder / "sheets" / "sheet.csv").read_bytes().decode()
    assert filled(drawn, (folder / "plan.json").read_text(encoding="utf-8")) == SHEET_TEXT
    assert EXCERPT.findall(PAGE_TEXT) == [first_run(SHEET_TEXT)]


def test_the_key_is_not_on_the_sheet_of_the_tester(followed):
    folder, _ = followed
    runs = (folder / "sheets" / "sheet.csv").read_text(encoding="utf-8").split("Run 1\n", 1)[-1].split("Run 1", 1)[-1]
    assert "tern" not in runs and "wren." not in runs.replace("wren.coil", "").replace("wren.scale", "")
    assert "tern" in (folder / "sheets" / "key.html").read_text(encoding="utf-8")


def test_the_page_of_the_report_is_one_file(followed):
    folder, _ = followed
    html = (folder / "report.html").read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(html)
    assert html.count('<svg class="panel') == 2 and "simulated" in html


def test_everything_is_said_to_be_simulated():
    assert "no blade was ever cut" in PAGE_TEXT and "SIMULATED" in PAGE_TEXT
    assert "Measured or simulated,simulated" in SHEET_TEXT
