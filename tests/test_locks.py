"""The lock files of CI hold every dependency that pyproject.toml names, at a version that it allows, with hashes."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]
CORE = PROJECT["project"]["dependencies"] + PROJECT["build-system"]["requires"]
NEEDED = {"core": CORE, "site": CORE + EXTRAS["site"], "test": CORE + EXTRAS["site"] + EXTRAS["cluster"] + EXTRAS["test"]}


def pinned(name):
    text = (ROOT / ".ci" / "lock" / f"{name}.txt").read_text(encoding="utf-8")
    blocks = re.split(r"\n(?=\S)", text)
    assert all("--hash=sha256:" in block for block in blocks if "==" in block)
    return {Requirement(found[1]).name.lower(): found[2] for block in blocks if (found := re.match(r"(\S+)==([^\s;]+)", block))}


@pytest.mark.parametrize("name", sorted(NEEDED))
def test_a_lock_fits_what_the_project_asks_for(name):
    versions = pinned(name)
    for line in NEEDED[name]:
        requirement = Requirement(line)
        assert requirement.specifier.contains(versions[requirement.name.lower()]), f"{line}: `make lock` writes {name}.txt anew"


def test_the_check_installs_nothing_of_the_site():
    light = pinned("core")
    assert not {Requirement(line).name.lower() for line in EXTRAS["site"] + EXTRAS["sheets"] + EXTRAS["cluster"]} & set(light)


def test_the_workflows_install_by_the_locks():
    for name, lock in (
        ("check", "base/.ci/lock/core.txt"),
        ("publish", ".ci/lock/site.txt"),
        ("release", ".ci/lock/site.txt"),
        ("versions", ".ci/lock/test.txt"),
    ):
        assert f"--require-hashes --requirement {lock}" in (ROOT / ".github" / "workflows" / f"{name}.yml").read_text(encoding="utf-8")
