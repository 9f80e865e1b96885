"""A sealed plan goes out as a sheet and comes back with the result: its seal holds, its order is checked."""

import json

import pytest

from edgehold.records import load_repository
from edgehold.records.model.plan import Plan
from edgehold.records.model.protocol import Protocol
from edgehold.records.sealing import plan_sha256
from edgehold.sheets import write_sheets
from edgehold.sheets.intake import sheet_from_bytes
from tests.records.builder import protocol, write, write_submission
from tests.sheets.filling import TODAY, VALUES, csv_text, repository
from tests.sheets.test_round_trip import plan as harbour_plan
from tests.sheets.test_round_trip import sheet_of

RULES = Protocol.model_validate_json(json.dumps(protocol()))


def sealed(coder="moss") -> Plan:
    plan = harbour_plan("sealed", coder=coder, nonce="0123456789abcdef" * 2)
    return plan.model_copy(update={"sha256": plan_sha256(plan)})


def filled(folder, plan) -> bytes:
    write_sheets(plan, RULES, folder)
    rows = sheet_of(folder)
    rows.write("Month", "2026-05")
    rows.write("Sent in by", "auk")
    for number in range(rows.find("People") + 2, rows.find("People") + 6):
        rows[number][2:] = ["yes"]
    for run in (1, 2, 3, 4):
        rows.write("Reading unit", "N", run=run)
        rows.write("Ended", "last checkpoint", run=run)
        for work, values in VALUES.items():
            rows.write(str(work), *values, run=run)
    return csv_text(rows).encode()


@pytest.fixture
def returned(tmp_path):
    plan = sealed()
    root = tmp_path / "repository"
    intake = sheet_from_bytes(filled(tmp_path / "sheets", plan), repository(root), TODAY, plan)
    assert intake.questions == ()
    seal = {
        "format": "plan-seal/1.0.0", "id": plan.id, "protocol": {"id": "small-rope", "version": "1.0.0"}, "origin": "measured",
        "sha256": plan.sha256, "month": "2026-05", "by": "moss",
    }  # fmt: skip
    write(root / "submissions" / "plans" / f"{plan.id}.json", json.dumps(seal))
    return root, intake.submission


def found(root):
    return sorted({f.code for f in load_repository(root, today=TODAY).findings if f.code.startswith(("seal", "order", "plan", "unknown"))})


def test_a_sealed_plan_that_came_back_as_it_was_drawn_is_no_finding(returned):
    root, submission = returned
    write_submission(root, submission)
    assert found(root) == []
    assert submission["plan"]["sha256"] == plan_sha256(Plan.model_validate_json(json.dumps(submission["plan"]["opened"])))
    assert "moss" in [person["handle"] for person in submission["people"]]


def test_a_run_made_by_somebody_else_than_drawn_is_a_finding(returned):
    root, submission = returned
    submission["runs"][2]["tester"] = "wren"
    write_submission(root, submission)
    assert found(root) == ["order-differs"]


def test_a_plan_touched_on_its_way_is_a_finding(returned):
    root, submission = returned
    submission["plan"]["opened"]["seed"] += 1
    write_submission(root, submission)
    assert found(root) == ["seal-broken"]
