"""The repositories by which growth is measured are sound and hold no copies, and a missed goal is told."""

import json

import pytest

from edgehold.records import load_repository
from tests.benchmarks.growth import AFTER_ONE, CHANGES, FULL, STAGES, Measured, exponent, goals, of_size, table
from tests.benchmarks.growth_repository import FEW, MANY, make, submissions


def test_a_made_repository_is_sound(tmp_path):
    size = make(tmp_path / "one", 40, MANY)
    repository = load_repository(tmp_path / "one")
    assert not repository.errors and len(repository.submissions) == 40 and size > 500_000


def test_no_two_submissions_hold_the_same_runs_and_a_larger_repository_goes_on_where_a_smaller_ends():
    few, many = list(submissions(100, FEW)), list(submissions(330, FEW))
    assert many[:100] == few and len({tree["id"] for tree in many}) == 330
    assert len({json.dumps([run["readings"] for run in tree["runs"]]) for tree in many}) == 330
    assert len({person["handle"] for tree in many for person in tree["people"]}) > 100


def test_with_fifty_steels_most_are_met():
    steels = {blade["steel"]["designation"] for tree in submissions(1200, MANY) for blade in tree["blades"] if blade.get("steel")}
    assert 25 < len(steels) <= MANY


def figures(power: float, changed: float = 1.0) -> dict:
    found = {(6, n, stage): Measured(1e-6 * n**power, 1e-6 * n**power, 100.0, 10, 10**6) for n in (60, 500, 10_000) for stage in STAGES}
    return found | {(6, 10_000, kind): Measured(changed, changed, 100.0, 10, 10**6) for kind in ("added", "corrected", "retracted")}


def test_what_grows_with_the_square_of_its_input_is_missed():
    assert abs(exponent(figures(2.0), 6, "pooling") - 2.0) < 1e-9
    assert {goal.verdict for goal in goals(figures(1.0), (6,))} == {"kept"}
    missed = {goal.what for goal in goals(figures(2.0), (6,)) if goal.verdict == "missed"}
    assert {f"{stage}, 6 steels: exponent of CPU" for stage in STAGES} <= missed
    assert "| missed |" in table(figures(2.0), (60, 500, 10_000), (6,))


def test_what_took_too_long_is_missed_and_what_was_left_out_was_not_measured():
    found = figures(1.0, changed=AFTER_ONE + 1) | {(6, 10_000, "site"): f"more than {FULL} s"}
    told = {goal.what: goal for goal in goals(found, (6, 50))}
    whole, added = told["10,000 submissions, 6 steels: whole build"], told["10,000 submissions, 6 steels: one added"]
    assert whole.verdict == added.verdict == "missed"
    assert f"| more than {FULL} s | missed |" in whole.row() and "| 6 s | missed |" in added.row()
    assert told["10,000 submissions, 50 steels: whole build"].verdict == "not measured"


@pytest.mark.long
def test_every_stage_runs_on_a_small_repository(tmp_path):
    """Whoever measures imports what the program has now, not what it had once."""
    found = dict(of_size(tmp_path, 6, FEW, 300, (*STAGES, *CHANGES)))
    assert {stage: one for stage, one in found.items() if isinstance(one, str)} == {}
    assert found["site"].files > 100 and found["pages"].files > 20 and found["results"].size > 10_000
