"""Plans named by submissions: seals that hold, break or come late, and runs that are not in the drawn order."""

import hashlib
import json
from pathlib import Path

import pytest
import rfc8785
from jsonschema import Draft202012Validator

from edgehold.records import load_repository
from edgehold.records.model.plan import Plan, PlanSeal
from edgehold.records.read.form import read_record
from edgehold.records.sealing import plan_sha256

from .builder import REMOVED, TODAY, changed, make_repository, submission, write

PATH = "submissions/measured/small-rope/wren-1.json"
DRAWN = {
    "format": "plan/1.4.0",
    "id": "wren-plan",
    "protocol": {"id": "small-rope", "version": "1.0.0"},
    "origin": "measured",
    "month": "2026-05",
    "seed": 4,
    "blinding": "sealed",
    "coder": "tern",
    "runs": [
        {"order": 1, "block": 1, "blade": "wren.galley", "sharpener": "wren", "tester": "wren", "code": "KR"},
        {"order": 2, "block": 1, "blade": "wren.galley", "sharpener": "tern", "tester": "wren", "code": "MT"},
    ],
    "nonce": "0123456789abcdef0123456789abcdef",
}


def model(plan):
    return Plan.model_validate_json(json.dumps(plan))


def sealed(changes=None):
    """The plan with its hash, and the reference to it from a submission."""
    plan = changed(DRAWN, changes or {})
    plan["sha256"] = plan_sha256(model(plan))
    return plan


def reference(plan, **changes):
    return {"id": plan["id"], "sha256": plan["sha256"], "opened": plan} | changes


def write_seal(root, plan, **changes):
    seal = {
        "format": "plan-seal/1.0.0", "id": plan["id"], "protocol": plan["protocol"], "origin": "measured",
        "sha256": plan["sha256"], "month": "2026-05", "by": "wren",
    } | changes  # fmt: skip
    return write(root / "submissions" / "plans" / f"{plan['id']}.json", json.dumps(seal))


def read(root, plan, submitted, seal=None, **changes):
    """Findings of the submission, with the seal published unless ``seal`` is False."""
    make_repository(root, submissions=[submission({"/plan": submitted} | changes)])
    if seal is not False:
        write_seal(root, plan, **(seal or {}))
    return load_repository(root, today=TODAY)


def found(repository):
    return [(f.pointer, f.code, f.severity) for f in repository.findings]


def test_the_hash_is_that_of_the_sorted_compact_json_of_everything_else():
    # RFC 8785 of text and whole numbers in ASCII is what Python's own json writes sorted and without spaces.
    plain = model(DRAWN).model_dump(mode="json", exclude={"sha256"})
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
    assert plan_sha256(model(DRAWN)) == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("version", ["plan/1.3.0", "plan/1.2.0", "plan/1.1.0", "plan/1.0.0", "plan/0.1.0"])
def test_the_hash_of_an_older_plan_stays_what_it_was(version):
    """What was sealed before a run could name its partner, another table, a condition or a level opens with the hash published then."""
    older = model(DRAWN | {"format": version})
    added = {"plan/1.4.0": ("level",), "plan/1.3.0": ("condition",), "plan/1.2.0": ("from_table",), "plan/1.1.0": ("edge_part", "partner")}
    later = {name for newer, names in added.items() if newer > version for name in names}
    runs = [{name: value for name, value in run.items() if name not in later} for run in older.model_dump()["runs"]]
    text = json.dumps(
        older.model_dump(mode="json", exclude={"sha256"} if version >= "plan/1.2.0" else {"sha256", "table"}) | {"runs": runs},
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
    )
    assert plan_sha256(older) == hashlib.sha256(text.encode()).hexdigest()


def test_an_example_of_canonical_json_from_the_standard_is_what_is_hashed():
    # RFC 8785 section 3.2.2: 333333333.33333329, 1E30, 4.50, 2e-3 become 333333333.3333333, 1e+30, 4.5, 0.002
    assert rfc8785.dumps([333333333.33333329, 1e30, 4.50, 2e-3]) == b"[333333333.3333333,1e+30,4.5,0.002]"


def test_a_seal_that_holds_is_no_finding(tmp_path):
    plan = sealed()
    repository = read(tmp_path, plan, reference(plan))
    assert found(repository) == []
    assert [(seal.id, seal.sha256) for seal in repository.seals] == [("wren-plan", plan["sha256"])]
    assert any(path == "submissions/plans/wren-plan.json" for path, _ in repository.side_files)


def test_a_submission_knows_whether_its_seal_held(tmp_path):
    plan = sealed()
    cases = {
        "held": (None, reference(plan)),
        "late": ({"month": "2026-06"}, reference(plan)),
        "broken": (None, reference(plan, opened=None)),
    }
    known = {name: read(tmp_path / name, plan, submitted, seal) for name, (seal, submitted) in cases.items()}
    known["none"] = read(tmp_path / "none", plan, None, False)
    assert {name: [s.seal_held for s in repository.submissions] for name, repository in known.items()} == {
        "held": [True], "late": [False], "broken": [False], "none": [None],
    }  # fmt: skip


def test_a_plan_changed_after_it_was_published_breaks_its_seal_and_still_counts(tmp_path):
    plan = sealed()
    other = plan | {"seed": 5}
    repository = read(tmp_path, plan, reference(plan, opened=other))
    assert found(repository) == [("/plan/opened", "seal-broken", "warning")]
    assert len(repository.submissions) == 1


@pytest.mark.parametrize(
    ("changes", "places"),
    [
        ({"sha256": "0" * 64}, ["/plan/sha256"]),
        ({"sha256": None}, ["/plan/sha256"]),
        ({"opened": None}, ["/plan/opened"]),
    ],
)
def test_a_seal_that_nobody_can_check_is_broken(tmp_path, changes, places):
    plan = sealed()
    assert found(read(tmp_path, plan, reference(plan, **changes))) == [(place, "seal-broken", "warning") for place in places]


def test_a_seal_that_was_never_published_is_broken(tmp_path):
    plan = sealed()
    assert found(read(tmp_path, plan, reference(plan), seal=False)) == [("/plan/id", "seal-broken", "warning")]


def test_a_seal_without_a_nonce_could_have_been_guessed(tmp_path):
    plan = sealed({"/nonce": REMOVED})
    assert found(read(tmp_path, plan, reference(plan))) == [("/plan/opened", "seal-broken", "warning")]


def test_a_seal_of_another_protocol_is_broken(tmp_path):
    plan = sealed()
    other = {"protocol": {"id": "other-rope", "version": "1.0.0"}}
    assert found(read(tmp_path, plan, reference(plan), seal=other)) == [("/plan/id", "seal-broken", "warning")]


def test_a_seal_published_after_the_last_run_is_late(tmp_path):
    plan = sealed()
    assert found(read(tmp_path, plan, reference(plan), seal={"month": "2026-06"})) == [("/plan", "seal-late", "warning")]


def test_runs_called_sealed_without_a_seal_are_told(tmp_path):
    make_repository(tmp_path, submissions=[submission({"/runs/1/blinding": "sealed"})])
    assert found(load_repository(tmp_path, today=TODAY)) == [("/runs/1/blinding", "seal-broken", "warning")]


def test_runs_in_another_order_than_drawn_are_told_at_the_first_that_differs(tmp_path):
    plan = sealed({"/runs/0/sharpener": "tern", "/runs/1/sharpener": "wren"})
    repository = read(tmp_path, plan, reference(plan))
    assert found(repository) == [("/runs/0", "order-differs", "warning")]
    assert "was drawn as wren.galley sharpened by tern" in repository.findings[0].message


def test_the_order_made_counts_and_not_the_order_in_the_file(tmp_path):
    plan = sealed()
    swapped = {"/runs/0/order": 2, "/runs/1/order": 1}
    assert found(read(tmp_path, plan, reference(plan), **swapped)) == [("/runs/1", "order-differs", "warning")]


def test_planned_runs_that_are_not_told_are_counted(tmp_path):
    plan = sealed({"/runs/-": {"order": 3, "block": 2, "blade": "wren.galley", "sharpener": "wren", "tester": "wren"}})
    repository = read(tmp_path, plan, reference(plan))
    assert found(repository) == [("/runs", "order-differs", "warning")]
    assert repository.findings[0].message == "runs planned: 3; runs reported: 2"


def test_an_unsealed_plan_is_held_against_the_runs_too(tmp_path):
    plan = changed(DRAWN, {"/blinding": "none", "/nonce": REMOVED, "/runs/1/tester": "tern"})
    repository = read(tmp_path, plan, {"id": "wren-plan", "opened": plan}, seal=False)
    assert found(repository) == [("/runs/1", "order-differs", "warning")]


def test_whoever_stands_in_an_opened_plan_must_have_agreed(tmp_path):
    plan = sealed({"/coder": "moss"})
    assert found(read(tmp_path, plan, reference(plan))) == [("/plan/opened/coder", "unknown-person", "error")]


def test_a_plan_for_another_version_is_told(tmp_path):
    plan = sealed({"/protocol/version": "1.1.0"})
    assert found(read(tmp_path, plan, reference(plan))) == [("/plan/opened/protocol", "plan-differs", "warning")]


def test_a_seal_whose_name_is_not_its_id_is_an_error(tmp_path):
    make_repository(tmp_path)
    path = write_seal(tmp_path, sealed())
    path.rename(path.with_name("another.json"))
    findings = load_repository(tmp_path, today=TODAY).findings
    assert [(f.file, f.pointer, f.code) for f in findings] == [("submissions/plans/another.json", "/id", "path-disagrees")]


def test_a_seal_from_the_future_is_an_error(tmp_path):
    make_repository(tmp_path)
    write_seal(tmp_path, sealed(), month="2031-01")
    assert [f.code for f in load_repository(tmp_path, today=TODAY).findings] == ["month-in-future"]


@pytest.mark.parametrize(
    ("changes", "good"),
    [({}, True), ({"/sha256": "ABC"}, False), ({"/month": "2026-13"}, False), ({"/order": [1, 2]}, False), ({"/by": REMOVED}, False)],
)
def test_schema_and_model_agree_about_seals(tmp_path, changes, good):
    seal = changed(json.loads(write_seal(tmp_path, sealed()).read_text()), changes)
    schema = json.loads((Path(__file__).parents[2] / "schemas" / "plan-seal" / "1.0.0.json").read_text())
    assert Draft202012Validator(schema).is_valid(seal) is good
    assert (read_record(PlanSeal, seal)[0] is not None) is good
