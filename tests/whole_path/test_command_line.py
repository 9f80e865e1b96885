"""The program as people meet it: its words, its exit status, and that a failing build loses nothing."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from edgehold.cli import ERRORS_FOUND, FINE, MISUSE, main

from .repositories import level_endpoint, protocol_text, run, submission, write_repository


def two_blades(name: str, tester: str, values=(1.0, 2.0)) -> dict:
    """Four runs on two blades by one tester."""
    blades = [{"key": f"{tester}.{letter}", "edge": "plain"} for letter in "ab"]
    runs = [run(n, f"{tester}.{'ab'[n % 2]}", tester, [(0, [values[n % 2]] * 3), (10, [2 * values[n % 2]] * 3)]) for n in range(1, 5)]
    return submission(name, [tester], blades, runs)


@pytest.fixture
def root(tmp_path) -> Path:
    protocol = protocol_text(endpoints=[level_endpoint(10)])
    return write_repository(tmp_path, protocol, [two_blades("tern-1", "tern"), two_blades("cleat-1", "cleat")])


@pytest.fixture
def edgehold(capsys, monkeypatch) -> Callable[..., subprocess.CompletedProcess]:
    """The program, called in a folder by this process."""

    def called(root: Path, *words: str) -> subprocess.CompletedProcess:
        monkeypatch.chdir(root)
        capsys.readouterr()
        try:
            status = main(words)
        except SystemExit as stop:  # of argparse
            status = stop.code
        return subprocess.CompletedProcess(words, status, *capsys.readouterr())

    return called


def started(root: Path, *words: str) -> subprocess.CompletedProcess:
    """The program, as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "edgehold", *words], cwd=root, capture_output=True, text=True, check=False, timeout=120,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "PATH": "/usr/bin:/bin", "HOME": str(root)},
    )  # fmt: skip


def break_file(root: Path) -> Path:
    path = root / "submissions" / "measured" / "two-sharpeners-rope" / "tern-1.json"
    record = json.loads(path.read_text())
    record["runs"][0]["reading_unit"] = "furlong"
    path.write_text(json.dumps(record, indent=1))
    return path


def test_check_of_a_good_repository_is_fine(root, edgehold):
    done = edgehold(root, "check")
    assert done.returncode == FINE, done.stdout + done.stderr


def test_check_names_file_line_place_and_cure_and_exits_with_1(root):
    path = break_file(root)
    done = started(root, "check")
    assert done.returncode == ERRORS_FOUND
    line = next(n for n, text in enumerate(path.read_text().splitlines(), start=1) if "furlong" in text)
    told = done.stdout
    assert f"submissions/measured/two-sharpeners-rope/tern-1.json:{line}" in told
    assert "/runs/0/reading_unit" in told
    assert "furlong" in told
    assert "Traceback" not in told + done.stderr


def test_check_as_json_says_the_same(root, edgehold):
    break_file(root)
    done = edgehold(root, "check", "--json")
    findings = json.loads(done.stdout)["findings"]
    assert done.returncode == ERRORS_FOUND
    (error,) = [f for f in findings if f["severity"] == "error"]
    assert error["pointer"] == "/runs/0/reading_unit"
    assert set(error) == {"file", "line", "pointer", "code", "severity", "message", "cure"}


def test_check_of_one_path_shows_its_findings_only(root, edgehold):
    break_file(root)
    other = "submissions/measured/two-sharpeners-rope/cleat-1.json"
    assert edgehold(root, "check", other).returncode == FINE
    assert edgehold(root, "check", other.replace("cleat", "tern")).returncode == ERRORS_FOUND


def test_a_path_that_is_not_there_is_misuse(root, edgehold):
    done = edgehold(root, "check", "submissions/nowhere.json")
    assert done.returncode == MISUSE
    assert "nowhere.json" in done.stderr


def test_pooling_is_refused_while_errors_stand_and_the_last_results_stay(root):
    assert started(root, "pool").returncode == FINE
    before = (root / "build" / "results" / "results.json").read_bytes()
    break_file(root)
    done = started(root, "pool")
    assert done.returncode == ERRORS_FOUND
    assert "nothing was built" in done.stderr
    assert (root / "build" / "results" / "results.json").read_bytes() == before


def test_a_folder_that_is_no_repository_is_misuse_with_a_plain_sentence(tmp_path):
    done = started(tmp_path, "check")
    assert done.returncode == MISUSE
    assert str(tmp_path) in done.stderr and "Traceback" not in done.stderr


@pytest.mark.parametrize("words", [[], ["knit"], ["check", "--loud"]])
def test_misuse_exits_with_2(words, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == MISUSE
    assert "usage: edgehold" in capsys.readouterr().err


def test_results_are_valid_against_the_published_schema(root, edgehold):
    import jsonschema

    assert edgehold(root, "pool").returncode == FINE
    results = json.loads((root / "build" / "results" / "results.json").read_text())
    schema = json.loads((Path(__file__).parents[2] / "schemas" / f"{results['format']}.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(results)
    assert [s["id"] for s in results["submissions"]] == ["cleat-1", "tern-1"]


def test_exchange_names_further_runs_and_says_the_same_as_json(root, edgehold):
    text = edgehold(root, "exchange", "--count", "1")
    assert text.returncode == FINE
    (pool,) = json.loads(edgehold(root, "exchange", "--count", "1", "--json").stdout)
    (further,) = pool["runs"]
    assert {further["sharpener"], further["tester"]} == {"tern", "cleat"}, "the two who have never met"
    assert f"{further['sharpener']} sharpens {further['blade']}, {further['tester']} tests it" in text.stdout


def test_exchange_of_no_runs_is_misuse(root, edgehold):
    done = edgehold(root, "exchange", "--count", "0")
    assert done.returncode == MISUSE
    assert "got 0, wanted 1 to 100" in done.stderr
