"""The sheets of a drawn plan on the disk; ``tests/report/test_worked_example.py`` follows them from there."""

import json

import pytest

from edgehold.errors import InputError
from edgehold.records.model.plan import Plan
from edgehold.sheets.giving import give_out
from tests.records.builder import make_repository

PLAN = {
    "format": "plan/1.0.0", "id": "wren-plan", "protocol": {"id": "small-rope", "version": "1.0.0"}, "month": "2026-05", "seed": 1,
    "blinding": "helper coded", "coder": "auk",
    "runs": [{"order": 1, "block": 1, "blade": "wren.galley", "sharpener": "tern", "tester": "wren", "code": "KH"}],
}  # fmt: skip


@pytest.fixture
def plan() -> Plan:
    return Plan.model_validate_json(json.dumps(PLAN))


def test_sheets_and_key_are_written(plan, tmp_path):
    root = make_repository(tmp_path / "repository", [])
    written = give_out(root, plan, tmp_path / "sheets")
    assert sorted(path.name for path in written) == ["key.html", "sheet.csv", "sheet.html", "sheet.xlsx"]
    assert all(path.stat().st_size for path in written)


def test_a_folder_that_holds_something_is_left_alone(plan, tmp_path):
    root, filled = make_repository(tmp_path / "repository", []), tmp_path / "sheets" / "sheet.csv"
    filled.parent.mkdir()
    filled.write_text("filled in")
    with pytest.raises(InputError, match="wanted a new or empty folder: nothing is written over"):
        give_out(root, plan, filled.parent)
    assert [path.name for path in filled.parent.iterdir()] == ["sheet.csv"] and filled.read_text() == "filled in"
