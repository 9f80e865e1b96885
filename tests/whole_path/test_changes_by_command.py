"""``edgehold correct`` and ``edgehold retract``: what they write, what they show, and what they refuse."""

import datetime
import json

import pytest

from edgehold.cli import ERRORS_FOUND, FINE, MISUSE, main
from edgehold.records import load_repository
from tests.records.builder import correction, make_repository, second, submission, write_change

ORIGINAL = "submissions/measured/small-rope/wren-1.json"
CHANGES = "submissions/measured/small-rope/changes"
SAID = ("--why", "read from the wrong sheet", "--by", "wren")


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path, [submission(), second()])


def files(root):
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


def run(root, *words):
    return main([*words, "--root", str(root)])


def test_a_correction_is_shown_written_and_counts(root, capsys):
    before = files(root)
    assert run(root, "correct", "wren-1", "--set", "/runs/0/humidity_percent", "55", "--remove", "/blades/0/edge", *SAID) == FINE
    told = capsys.readouterr().out
    assert "/runs/0/humidity_percent: nothing -> 55" in told and '/blades/0/edge: "plain" -> nothing' in told
    after = files(root)
    (added,) = after.keys() - before.keys()
    assert added == f"{CHANGES}/wren-1/01-correction.json" and added in told
    assert all(after[path] == data for path, data in before.items())
    assert json.loads(after[added])["month"] == f"{datetime.date.today():%Y-%m}"
    repository = load_repository(root)
    (record,) = [s.record for s in repository.submissions if s.record.id == "wren-1"]
    assert repository.findings == () and record.runs[0].humidity_percent == 55 and record.blades[0].edge is None


@pytest.mark.parametrize(
    ("text", "value"),
    [("a damp evening", "a damp evening"), ('"55"', "55"), ("2026-05", "2026-05"), ("NaN", "NaN"), ("-", "-")],
)
def test_a_value_is_json_where_it_is_json_and_text_elsewhere(text, value, root):
    assert run(root, "correct", "wren-1", "--set", "/note", text, *SAID) == FINE
    (record,) = [s.record for s in load_repository(root).submissions if s.record.id == "wren-1"]
    assert record.note == value


def test_the_next_correction_gets_the_next_number_and_builds_on_the_first(root, capsys):
    assert run(root, "correct", "wren-1", "--set", "/note", "damp", *SAID) == FINE
    assert run(root, "correct", "wren-1", "--set", "/note", "wet", "--month", "2026-10", *SAID) == FINE
    assert '/note: "damp" -> "wet"' in capsys.readouterr().out
    second_change = json.loads((root / CHANGES / "wren-1/02-correction.json").read_text())
    assert (second_change["what"][0]["before"], second_change["month"]) == ("damp", "2026-10")


def test_a_retraction_is_written_and_ends_it(root, capsys):
    assert run(root, "retract", "wren-1", *SAID) == FINE
    assert f"{CHANGES}/wren-1/01-retraction.json" in capsys.readouterr().out
    assert [s.record.id for s in load_repository(root).retracted] == ["wren-1"]
    for command in (("retract", "wren-1"), ("correct", "wren-1", "--set", "/note", "x")):
        assert run(root, *command, *SAID) == MISUSE
        assert "'wren-1' is retracted already" in capsys.readouterr().err


def test_what_would_not_check_is_not_written(root, capsys):
    before = files(root)
    assert run(root, "correct", "wren-1", "--set", "/runs/0/tester", "auk", *SAID) == ERRORS_FOUND
    told = capsys.readouterr()
    assert '/runs/0/tester: "wren" -> "auk"' in told.out
    assert "unknown-person" in told.err and "nothing was written" in told.err
    assert files(root) == before and not (root / CHANGES).exists()


def test_warnings_are_told_and_do_not_stand_in_the_way(root, capsys):
    assert run(root, "correct", "wren-1", "--set", "/runs/0/readings/3/work", "22", *SAID) == FINE
    assert "off-checkpoint" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("correct", "auk-1", "--set", "/note", "x"), "there is no submission 'auk-1'"),
        (("retract", "../wren-1"), "there is no submission '../wren-1'"),
        (("correct", "wren-1"), "nothing to correct; wanted --set POINTER VALUE"),
        (("correct", "wren-1", "--set", "note", "x"), "'note' is no place in the file; wanted a JSON pointer"),
        (("correct", "wren-1", "--set", "/runs/9/note", "x"), "'/runs/9/note' leads nowhere: /runs has no member '9'"),
        (("correct", "wren-1", "--set", "/month", "2026-05"), '/month is "2026-05" already'),
        (("correct", "wren-1", "--remove", "/note"), "already; wanted another value"),
        (("retract", "wren-1", "--month", "May"), "/month"),
    ],
)
def test_misuse_is_told_in_plain_words_and_nothing_is_written(words, message, root, capsys):
    before = files(root)
    assert run(root, *words, *SAID) == MISUSE
    assert message in capsys.readouterr().err
    assert files(root) == before


@pytest.mark.parametrize("place", [3, 4, 6, 8], ids=["pointer", "value", "why", "by"])
def test_bytes_that_are_no_text_are_refused(place, root, capsys):
    before = files(root)
    words = ["correct", "wren-1", "--set", "/note", "damp", "--why", "x", "--by", "wren"]
    words[place] = f"{words[place]}\udcff"
    assert run(root, *words) == MISUSE
    assert "wanted UTF-8" in capsys.readouterr().err and files(root) == before


def test_what_a_terminal_would_obey_is_not_written(root, capsys):
    assert run(root, "retract", "wren-1", "--why", "\x1b[2J", "--by", "wren") == ERRORS_FOUND
    told = capsys.readouterr()
    assert "control-character" in told.err and "\x1b" not in told.out + told.err


def test_a_handle_is_a_handle(root, capsys):
    assert run(root, "retract", "wren-1", "--why", "x", "--by", "A. Wren") == MISUSE
    assert "/by" in capsys.readouterr().err


def test_origin_is_refused_with_the_way_out(root, capsys):
    assert run(root, "correct", "wren-1", "--set", "/origin", "simulated", *SAID) == ERRORS_FOUND
    assert "retract the submission, and send it in again under another id" in capsys.readouterr().err


def test_the_demonstration_is_not_corrected(tmp_path, capsys):
    make_repository(tmp_path, [submission({"/origin": "simulated"})])
    assert run(tmp_path, "retract", "wren-1", *SAID) == MISUSE
    assert "drawn from its seed" in capsys.readouterr().err


def test_a_gap_in_the_numbers_never_costs_a_file(root, capsys):
    path = write_change(root, 2, correction(("/note", {"absent": True}, "damp")))
    before = path.read_bytes()
    assert run(root, "correct", "wren-1", "--set", "/note", "wet", *SAID) == MISUSE
    assert "is there already" in capsys.readouterr().err and path.read_bytes() == before


def test_errors_that_stood_before_are_not_laid_at_its_door(tmp_path):
    root = make_repository(tmp_path, [submission({"/runs/0/humidity_percent": 155}), second({"/runs/0/tester": "auk"})])
    assert run(root, "correct", "wren-1", "--set", "/runs/0/humidity_percent", "55", *SAID) == FINE
    assert [f.file.rpartition("/")[2] for f in load_repository(root).errors] == ["tern-1.json"]
