"""The demonstration is a pure function of its seed, and the committed one is that of the published seed."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest

from edgehold.demo import PUBLISHED_SEED, Effects, generate, write_demo

ROOT = Path(__file__).resolve().parents[2]
SIMULATED = ROOT / "submissions" / "simulated"


def _tree(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_the_committed_files_are_those_of_the_published_seed(tmp_path):
    write_demo(tmp_path)
    assert _tree(tmp_path / "submissions" / "simulated") == _tree(SIMULATED)


def test_another_seed_gives_the_same_scenes_and_other_readings(drawn):
    other = generate(PUBLISHED_SEED + 1)
    assert other.files.keys() == drawn.files.keys()
    assert all(other.files[name] != data for name, data in drawn.files.items())


def test_writing_again_replaces_what_was_there_and_leaves_nothing_beside(tmp_path):
    write_demo(tmp_path, 1)
    stale = tmp_path / "submissions" / "simulated" / "life-on-card" / "stale.json"
    stale.write_text("{}")
    written = write_demo(tmp_path, 2)
    assert sorted(written) == sorted(p for p in (tmp_path / "submissions").rglob("*") if p.is_file())


def test_the_generator_reads_no_stage_of_the_pooling_path():
    for path in (ROOT / "aggregator" / "edgehold" / "demo").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                assert node.module == "edgehold.disk" or not node.module.startswith("edgehold"), f"{path.name} imports {node.module}"


@pytest.mark.parametrize("name", [n for n in Effects.__dataclass_fields__ if n != "curves"])
def test_each_effect_can_be_planted_on_its_own(name, drawn):
    changed = generate(effects=Effects(**{name: 0.0 if getattr(Effects(), name) else 0.1}))
    assert changed.files != drawn.files
    assert json.loads(json.dumps(changed.effects))["effects"][name]["value"] == 0.0
