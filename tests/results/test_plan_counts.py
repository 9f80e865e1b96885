"""Plans that were sealed are counted, and those that came back."""

import datetime
import json

from edgehold.records import load_repository
from edgehold.results.publish.plans import plan_counts
from tests.records.builder import make_repository, submission, write
from tests.records.test_plan_seals import reference, sealed, write_seal

TODAY = datetime.date(2026, 6, 15)


def counted(root):
    return [(c.protocol, c.major, c.origin, c.published, c.came_back) for c in plan_counts(load_repository(root, today=TODAY))]


def test_without_a_seal_nothing_is_counted(tmp_path):
    assert counted(make_repository(tmp_path)) == []


def test_a_sealed_plan_that_never_came_back_is_counted(tmp_path):
    plan = sealed()
    make_repository(tmp_path, submissions=[submission({"/plan": reference(plan)})])
    write_seal(tmp_path, plan)
    for number in (1, 2):
        write_seal(tmp_path, sealed({"/id": f"tern-plan-{number}"}))
    assert counted(tmp_path) == [("small-rope", 1, "measured", 3, 1)]
    (count,) = plan_counts(load_repository(tmp_path, today=TODAY))
    assert count.sentence == "3 sealed plans were published before the test; 1 has come back with a result so far."


def test_a_simulated_seal_is_counted_by_itself(tmp_path):
    make_repository(tmp_path, submissions=[submission({"/plan": reference(sealed())})])
    write_seal(tmp_path, sealed(), origin="simulated")
    assert counted(tmp_path) == [("small-rope", 1, "simulated", 1, 0)]


def test_a_plan_of_another_name_in_the_result_is_not_a_return(tmp_path):
    make_repository(tmp_path, submissions=[submission({"/plan": {"id": "other-plan"}})])
    path = write_seal(tmp_path, sealed())
    assert json.loads(path.read_text())["id"] == "wren-plan"
    write(tmp_path / "submissions" / "plans" / "README.md", "seals")
    assert counted(tmp_path) == [("small-rope", 1, "measured", 1, 0)]
