"""What leaves the first stage: canonical numbers, limits, and facts that other files know."""

import pytest
from scipy import constants

from edgehold.errors import RepositoryError
from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey, pool_key

from .builder import TODAY, changed, make_repository, run, second, submission, values


def loaded(root, *records):
    repository = load_repository(make_repository(root, list(records)), today=TODAY)
    assert not repository.errors
    return repository


def test_grams_on_a_kitchen_scale_become_newtons(tmp_path):
    """A gram under a pull is a gram-force: standard gravity from scipy (CGPM 1901)."""
    record = submission({"/runs/0/reading_unit": "gf", "/runs/0/readings": [{"work": 0, "values": values(150, "160,5")}]})
    reading = loaded(tmp_path, record).submissions[0].runs[0].readings[0]
    assert reading.values == pytest.approx((150 * constants.g / 1000, 160.5 * constants.g / 1000), rel=1e-12)
    assert reading.limits == (None, None)


def test_limits_are_marked_even_where_the_file_does_not_say_so(tmp_path):
    read = [
        {"work": 0, "values": [{"written": 0}, {"written": 0.004}]},
        {"work": 5, "values": [{"written": 0.5, "limit": "below"}, {"written": 1}]},
        {"work": 10, "values": [{"written": 49}, {"written": 60}]},
    ]
    readings = loaded(tmp_path, submission({"/runs/0/readings": read})).submissions[0].runs[0].readings
    assert [r.limits for r in readings] == [("below", "below"), ("below", None), (None, "above")]


def test_runs_come_in_running_order_with_their_preparation(tmp_path):
    runs = [run(1, order=2), run(2, order=1, tester="tern", tester_change_at_work=12)]
    repository = loaded(tmp_path, submission({"/runs": runs, "/people/1/sharpening": "novice"}))
    first, last = repository.submissions[0].runs
    assert (first.id, first.sharpener, first.sharpening, first.own_sharpening) == ("run-2", "tern", "novice", True)
    assert (last.id, last.sharpener, last.sharpening, last.own_sharpening) == ("run-1", "wren", None, True)
    assert (first.split_tester, last.split_tester) == (True, False)


def test_a_fact_known_in_one_file_is_known_in_all(tmp_path):
    knows = submission({"/blades/0/batch": "forge.one"})
    silent = second({"/blades/0/steel": None, "/blades/0/batch": None})
    runs = [s.runs[0] for s in loaded(tmp_path, knows, silent).submissions]
    assert {(r.blade, r.steel, r.batch) for r in runs} == {("wren.galley", "aisi-1095", "forge.one")}


def test_pools_keep_measured_and_simulated_apart(tmp_path):
    invented = submission(
        {
            "/origin": "simulated",
            "/id": "sim-1",
            "/blades/0": {"key": "wren.demo", "steel": {"designation": "demo-high-speed"}},
            "/preparations/0/blade": "wren.demo",
            "/preparations/1/blade": "wren.demo",
        }
    )
    keys = [pool_key(s) for s in loaded(tmp_path, submission(), invented).submissions]
    assert keys == [PoolKey("small-rope", 1, "measured"), PoolKey("small-rope", 1, "simulated")]


def test_an_answer_stands_beside_its_warning_and_errors_cannot_be_answered(tmp_path):
    answers = [
        {"pointer": "/runs/0/readings/3/work", "code": "off-checkpoint", "says": "lost count"},
        {"pointer": "/runs/0/tester", "code": "unknown-person", "says": "a friend"},
    ]
    record = submission({"/runs/0/readings/3/work": 22, "/runs/0/tester": "auk", "/answers": answers})
    make_repository(tmp_path, [record])
    found = {f.code: f for f in load_repository(tmp_path, today=TODAY).findings}
    assert found["off-checkpoint"].message.endswith("answered: lost count")
    assert "answered" not in found["unknown-person"].message
    assert found["answer-without-warning"].pointer == "/answers/1"


def test_findings_point_at_the_line_of_the_value(tmp_path):
    make_repository(tmp_path, [submission({"/runs/1/readings/2/values/1/written": "about 3"})])
    (finding,) = load_repository(tmp_path, today=TODAY).findings
    text = (tmp_path / finding.file).read_text().splitlines()
    assert finding.pointer == "/runs/1/readings/2/values/1/written"
    assert "about 3" in text[finding.line - 1]


def test_a_folder_that_is_no_repository_is_the_callers_mistake(tmp_path):
    with pytest.raises(RepositoryError, match="neither protocols/ nor submissions/"):
        load_repository(tmp_path)


def test_an_empty_repository_is_fine(tmp_path):
    (tmp_path / "protocols").mkdir()
    repository = load_repository(tmp_path)
    assert (repository.submissions, repository.protocols, repository.findings) == ((), {}, ())


def test_the_good_record_is_not_changed_by_changing_it():
    before = submission()
    changed(before, {"/runs/0/ended": "dull"})
    assert before == submission()
