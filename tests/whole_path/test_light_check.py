"""The core alone checks, plans and reports: libraries of the extras are neither needed nor read, and are asked for by name elsewhere."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from edgehold.cli import EXTRA_LIBRARIES

ROOT = Path(__file__).parents[2]
WITHOUT = "import sys; sys.modules.update(dict.fromkeys({missing!r})); import edgehold.cli as c; sys.exit(c.main({words!r}))"
SUBMISSION = next(path for path in sorted((ROOT / "submissions/simulated/two-sharpeners-rope").glob("*.json")))


def run(words, missing=EXTRA_LIBRARIES):
    code = WITHOUT.format(missing=sorted(missing), words=[str(word) for word in words])
    return subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)


@pytest.mark.parametrize(
    "words",
    [
        ("check", "--root", ROOT, SUBMISSION),
        ("report", "--root", ROOT, SUBMISSION),
        ("report", "--root", ROOT, SUBMISSION, "--html", "{tmp}/report.html"),
        ("draft", "--help"),
    ],
    ids=lambda words: " ".join(str(word) for word in words if not str(word).startswith("/")),
)
def test_the_core_is_enough(words, tmp_path):
    ran = run([str(word).replace("{tmp}", str(tmp_path)) for word in words])
    assert ran.returncode == 0, ran.stderr + ran.stdout[-2000:]


def test_the_core_is_enough_for_a_request_with_its_summary(tmp_path):
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "--quiet", str(ROOT), str(clone)], check=True)
    target = next(iter(sorted((clone / "submissions/simulated/two-sharpeners-rope").glob("*.json"))))
    target.unlink()
    ran = run(("check", "--root", clone, "--against", "HEAD", "--summary", tmp_path / "summary.md"))
    assert ran.returncode in (0, 1) and "Traceback" not in ran.stderr
    assert target.stem in (tmp_path / "summary.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(("words", "extra"), [(("site", "--root", ROOT), "site"), (("exchange", "--root", ROOT), "site")])
def test_what_is_missing_is_asked_for_by_name(words, extra):
    ran = run(words)
    assert ran.returncode == 2 and f"'.[{extra}]'" in ran.stderr and "Traceback" not in ran.stderr


def test_the_extra_of_the_sheets_is_asked_for_by_name(tmp_path):
    people = ("--blade", "owner.galley", "--sharpener", "owner", "--sharpener", "friend", "--tester", "owner", "--metres", "20")
    words = (
        "plan",
        "two-sharpeners-rope",
        "--root",
        ROOT,
        *people,
        "--drawn",
        "20",
        "--output",
        tmp_path / "plan.json",
        "--sheets",
        tmp_path,
    )
    ran = run(words, missing=("openpyxl",))
    assert ran.returncode == 2 and "'.[sheets]'" in ran.stderr, ran.stderr


def test_a_missing_module_of_no_extra_is_a_fault_of_the_program():
    ran = run(("check", "--root", ROOT), missing=("yaml",))
    assert ran.returncode == 1 and "Traceback" in ran.stderr


def test_the_extra_holds_what_the_command_line_knows_of_it():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {re.match(r"[\w-]+", line)[0] for line in project["optional-dependencies"]["site"]}
    distributions = {
        "altair": "altair",
        "jsonschema": "jsonschema",
        "mkdocs": "mkdocs",
        "material": "mkdocs-material",
        "openpyxl": "openpyxl",
    }
    alike = {"pyarrow"}
    assert named == {*distributions.values(), *alike, "vl-convert-python"} and {*distributions, *alike, "vl_convert"} == EXTRA_LIBRARIES
