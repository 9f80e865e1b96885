"""Every slip of the corpus is asked about once, at its place and in words that name it: by the check and by the intake of a sheet."""

from __future__ import annotations

import datetime

import pytest

from edgehold.errors import WARNING
from edgehold.records.codes import CODES
from edgehold.records.model.plan import Plan
from edgehold.sheets.intake import sheet_from_bytes
from tests.records.builder import submission

from .honest import problems, protocols
from .slips import PROTOCOL, SLIPS, cell_of, record, sheet, slipped

TODAY = datetime.date(2026, 12, 1)
RULES = protocols().protocols[PROTOCOL].record
TOLD_BESIDE = {"tester-change"}
"""What a slip's own field says besides, slip or not."""


def test_the_honest_record_is_asked_about_nothing():
    assert problems(record()) == [] == problems(record("N"))
    intake = sheet_from_bytes(sheet(record(), RULES), protocols(), TODAY)
    assert (intake.questions, intake.remarks) == ((), ())


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: slip.what)
def test_the_check_asks_about_a_slip_once_and_at_its_place(slip):
    (found,) = [problem for problem in problems(slipped(slip)) if problem.code not in TOLD_BESIDE]
    assert (found.code, found.pointer) == (slip.code, slip.place)
    assert slip.words in found.message and found.message.count("?") == 1
    assert CODES[found.code].severity == WARNING


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: slip.what)
def test_a_sheet_asks_about_it_at_its_cell_and_mends_nothing(slip):
    tree = slipped(slip)
    intake = sheet_from_bytes(sheet(tree, RULES), protocols(), TODAY)
    remarks = [(place.split()[-1], text) for place, text in intake.remarks if slip.words in text]
    assert [place for place, _ in remarks] == [cell_of(tree, RULES, slip.place)]
    assert intake.questions == ()
    read = [[value["written"] for value in reading["values"]] for run in intake.submission["runs"] for reading in run["readings"]]
    assert [list(map(float, values)) for values in read] == [
        [float(value["written"]) for value in reading["values"]] for run in tree["runs"] for reading in run["readings"]
    ]


def planned(*sharpeners: str) -> dict:
    """A plan for the record in which these sharpen in turn."""
    runs = [
        {"order": n, "block": 1 + n // 3, "blade": "wren.galley", "sharpener": who, "tester": "wren"} for n, who in enumerate(sharpeners, 1)
    ]
    protocol = dict(zip(("id", "version"), PROTOCOL, strict=True))
    return {
        "format": "plan/1.0.0", "id": "plan-1", "protocol": protocol, "month": "2026-04", "seed": 1, "blinding": "none", "runs": runs,
    }  # fmt: skip


def test_two_runs_that_changed_places_against_their_plan_are_asked_about():
    tree = record()
    tree["plan"] = {"id": "plan-1", "opened": planned("wren", "tern", "tern", "wren")}
    assert problems(tree) == []
    tree["plan"]["opened"] = planned("wren", "tern", "wren", "tern")
    (found,) = problems(tree)
    assert (found.code, found.pointer) == ("order-differs", "/runs/2")
    assert found.message.startswith("runs 3 and 4 seem to have changed places: run 3 was drawn as wren.galley sharpened by wren")


def test_a_sheet_with_exchanged_runs_is_asked_about_at_their_cells_when_it_comes_with_its_plan():
    plan = Plan.model_validate(planned("wren", "tern", "wren", "tern") | {"runs": tuple(planned("wren", "tern", "wren", "tern")["runs"])})
    intake = sheet_from_bytes(sheet(record(), RULES), protocols(), TODAY, plan)
    assert [question.code for question in intake.questions] == ["plan-disagrees"] * 2


def test_there_are_twenty_slips_and_no_rule_without_one():
    assert len(SLIPS) >= 20
    assert {slip.code for slip in SLIPS} >= {
        "unit-in-doubt", "far-from-neighbours", "stray-limit", "sharper-again", "checkpoint-twice", "run-copied", "end-disagrees",
        "change-beyond",
    }  # fmt: skip


def test_repeats_that_agree_and_an_answered_question_are_left_alone():
    tree = record()
    for reading in tree["runs"][0]["readings"]:
        reading["values"] = [reading["values"][0]] * 3
    assert problems(tree) == []
    assert submission()["runs"][0] != submission()["runs"][1]
