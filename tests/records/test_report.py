"""Findings as people and programs see them."""

import json
from pathlib import Path

import pytest

from edgehold import records
from edgehold.errors import Finding, InputError
from edgehold.records import load_repository
from edgehold.records.codes import CODES
from edgehold.records.report import check_json, check_text, findings_text, within

from .builder import TODAY, make_repository, second, submission

ERROR = Finding("a.json", 3, "/x", "wrong-unit", "error", "the unit is odd", "use another")
WARNING = Finding("a.json", 2, "", "pilot", "warning", "in review", "nothing")


def test_errors_stand_apart_from_warnings_and_before_them():
    assert findings_text([WARNING, ERROR]) == (
        "1 error:\n  a.json:3 /x\n    wrong-unit: the unit is odd\n    right: use another\n\n"
        "1 warning:\n  a.json:2\n    pilot: in review\n    right: nothing"
    )
    assert findings_text([]) == "nothing found"


def test_nothing_that_a_terminal_would_obey_is_echoed():
    hostile = Finding("a.json", 1, "/\x1b[2J", "unknown-field", "error", "\x1b]0;x\x07 \u202e\u2028\r\n", "c")
    shown = findings_text([hostile])
    assert all(c.isprintable() or c == "\n" for c in shown)
    assert len(shown.splitlines()) == 4


def test_json_and_text_say_the_same(tmp_path):
    make_repository(tmp_path, [submission({"/runs/0/tester": "auk"}), second({"/runs/0/readings/3/work": 22})])
    repository = load_repository(tmp_path, today=TODAY)
    answer = json.loads(check_json(repository.findings, repository))
    assert (answer["errors"], answer["warnings"], answer["submissions"]) == (1, 1, 1)
    assert [f["code"] for f in answer["findings"]] == [f.code for f in repository.findings]
    assert "1 error, 1 warning; 1 protocol version and 1 submission are sound" in check_text(repository.findings, repository)


def test_findings_of_some_files_only(tmp_path):
    make_repository(tmp_path, [submission({"/runs/0/tester": "auk"}), second({"/runs/0/tester": "auk"})])
    findings = load_repository(tmp_path, today=TODAY).findings
    folder = tmp_path / "submissions" / "measured" / "small-rope"
    assert len(within(findings, tmp_path, [])) == len(within(findings, tmp_path, [str(folder)])) == 2
    assert [f.file for f in within(findings, tmp_path, [str(folder / "tern-1.json")])] == [findings[0].file]
    assert within(findings, tmp_path, [str(tmp_path / "protocols")]) == ()
    assert within(findings, tmp_path, [str(tmp_path)]) == findings


def test_a_path_outside_is_the_callers_mistake(tmp_path):
    root = make_repository(tmp_path / "repository")
    with pytest.raises(InputError, match="no file or folder"):
        within((), root, [str(root / "nothing")])
    with pytest.raises(InputError, match="not inside the repository"):
        within((), root, [str(tmp_path)])


def test_every_code_says_what_it_means_and_what_cures_it():
    assert all(code.severity in ("error", "warning") and code.meaning.endswith(".") and code.cure for code in CODES.values())


def test_every_code_is_given_somewhere_and_stands_in_some_test():
    program = "".join(p.read_text() for p in Path(records.__file__).parent.rglob("*.py") if p.name != "codes.py")
    program += (Path(records.__file__).parents[1] / "trial.py").read_text()
    here = Path(__file__)
    tests = "".join(p.read_text() for p in here.parent.glob("*.py") if p != here)
    tests += "".join(
        p.read_text() for pattern in ("cases/fail/*.json", "cases/rules/*.json", "proposals/*.py") for p in here.parents[1].glob(pattern)
    )
    assert {code for code in CODES if f'"{code}"' not in program} == set()
    assert {code for code in CODES if f'"{code}"' not in tests} == {"cannot-be-opened"}  # root may open everything
