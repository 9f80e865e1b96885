"""Where runs have no pool to add to: the first of a question, a pool with errors, runs that a pool could not hold.

What they add to a pool that is there: tests/whole_path/test_what_runs_add.py.
"""

import shutil
from pathlib import Path

import numpy as np
import pytest

from edgehold.cli import MISUSE, main
from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.gather import all_answers as gather
from edgehold.records.change.writing import retract
from edgehold.report.adds import adds
from edgehold.report.opening import open_submission
from edgehold.words import Reason, arguments_of, code_of
from tests.records.builder import make_repository, second

from .test_report_command import more_runs


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path / "repository", [second()])


def told(root: Path, named: str, pooled: Path | None = None) -> list[Reason]:
    return list(adds(pooled or root, open_submission(root, named)).sentences)


def singular(*_, **__):
    raise np.linalg.LinAlgError("planted")


def test_the_first_of_a_question_is_told_that_it_would_begin_the_pool(root):
    assert told(root, second()["id"]) == [Reason("report.adds_first")]


def test_a_pool_with_errors_says_so(root, tmp_path):
    other = shutil.copytree(root, tmp_path / "other")
    (other / "submissions/measured/small-rope/broken-1.json").write_text("{", encoding="utf-8")
    assert [code_of(s) for s in told(root, second()["id"], other)] == ["report.adds_errors"]


def test_runs_that_the_pool_could_not_hold_say_why(root, tmp_path):
    other = shutil.copytree(root, tmp_path / "other")
    for version in (other / "protocols" / "small-rope").glob("*.md"):
        version.unlink()
    shutil.rmtree(other / "protocols" / "small-rope" / "events")
    (other / "submissions/measured/small-rope" / f"{second()['id']}.json").unlink()
    (sentence,) = told(root, second()["id"], other)
    assert code_of(sentence) == "report.adds_refused" and arguments_of(sentence)["message"]


def test_runs_that_were_taken_back_count_nowhere(root, tmp_path):
    file = root / "submissions/measured/small-rope" / f"{second()['id']}.json"
    mine = Path(shutil.copy(file, tmp_path / "mine.json"))
    retract(root, second()["id"], why="the coil was wet", by=second()["submitted_by"], month="2026-06")
    assert [code_of(s) for s in told(root, str(mine))] == ["report.adds_gone"]


def test_a_folder_that_is_no_repository_is_a_misuse(root, capsys, tmp_path):
    assert main(["report", second()["id"], "--root", str(root), "--pool", str(tmp_path / "nowhere")]) == MISUSE
    assert "nowhere" in capsys.readouterr().err


def test_a_pool_that_compares_nothing_says_so_and_one_that_cannot_be_fitted_why(tmp_path, monkeypatch):
    two = make_repository(tmp_path / "two", [more_runs(), more_runs("auk-1") | {"month": "2026-04"}])
    assert [code_of(s) for s in told(two, "auk-1")] == ["report.adds_others", "report.adds_counted", "report.adds_nothing"]
    monkeypatch.setattr(gather, "read_pool", singular)
    monkeypatch.setattr(gather, "headline_of", singular)
    assert told(two, "auk-1")[-1] == Reason("report.adds_not_fitted", reason=NotFitted("numerics.singular"))
