"""CITATION.cff fits the published schema of its format, which check-jsonschema brings along, and names program and data."""

import subprocess
import sys
from pathlib import Path

import yaml

ROOT = Path(__file__).parents[1]
TOOL = Path(sys.executable).parent / "check-jsonschema"
CITED = yaml.safe_load((ROOT / "CITATION.cff").read_text(encoding="utf-8"))


def held(path: Path) -> int:
    return subprocess.run([TOOL, "--builtin-schema", "vendor.citation-file-format", path], capture_output=True, check=False).returncode


def test_it_has_the_form_that_is_published_for_it(tmp_path):
    assert held(ROOT / "CITATION.cff") == 0
    (tmp_path / "CITATION.cff").write_text(yaml.safe_dump({name: value for name, value in CITED.items() if name != "authors"}))
    assert held(tmp_path / "CITATION.cff") != 0, "the check would see it"


def test_the_program_and_the_data_are_each_named_with_their_licence():
    (data,) = [one for one in CITED["references"] if one["type"] == "data"]
    assert (CITED["type"], CITED["license"], data["license"]) == ("software", ["Apache-2.0"], "CC0-1.0")
