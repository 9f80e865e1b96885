"""The house is in order: what the README and the guide name is there, and nothing else stands at the top."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
import yaml

import edgehold

ROOT = Path(__file__).parents[1]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "mkdocs.yml", "schemas", "protocols", "submissions", "aggregator", "site", "tests",
    "pyproject.toml", "Makefile", "LICENSE", "LICENSES", "REUSE.toml", "CITATION.cff", ".ci", ".github", ".gitignore",
}  # fmt: skip


@pytest.fixture(scope="module")
def tracked() -> list[str]:
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    return subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()


def test_nothing_else_stands_at_the_top(tracked):
    assert {path.split("/")[0] for path in tracked} <= TOP_LEVEL


def test_the_readme_names_only_make_targets_that_exist():
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), re.M))
    for text in ("README.md", "DEVELOPERS.md"):
        named = set(re.findall(r"`make ([a-z]+)`", (ROOT / text).read_text()))
        assert named and named <= targets


def test_ci_runs_the_readme_test_command():
    targets = dict(re.findall(r"^([a-z]+):(.*)$", (ROOT / "Makefile").read_text(), re.M))
    assert "make check" in (ROOT / ".ci" / "run").read_text()
    assert "test" in targets["check"].split()


def test_the_readme_names_every_command_of_the_program_and_no_other(capsys):
    from edgehold.cli import main

    with pytest.raises(SystemExit):
        main(["--help"])
    offered = set(re.findall(r"^    ([a-z]+)\s", capsys.readouterr().out, re.M))
    assert set(re.findall(r"^edgehold ([a-z]+)", (ROOT / "README.md").read_text(), re.M)) == offered


def test_one_version_everywhere():
    cited = yaml.safe_load((ROOT / "CITATION.cff").read_text())["version"]
    newest = re.search(r"^## ([0-9.]+)", (ROOT / "aggregator" / "CHANGELOG.md").read_text(), re.M).group(1)
    assert edgehold.__version__ == cited == newest


def test_dependencies_have_an_upper_end():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    for requirement in project["dependencies"] + project["optional-dependencies"]["test"]:
        assert "<" in requirement, f"{requirement} has no upper end"


def test_every_top_level_folder_of_the_program_is_in_the_guide():
    guide = (ROOT / "DEVELOPERS.md").read_text()
    packages = {path.name for path in (ROOT / "aggregator" / "edgehold").iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert {name for name in packages if f"`{name}`" not in guide} == set()
