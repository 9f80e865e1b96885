"""CODEOWNERS fits the folders: the last pattern that fits a path decides, as the host reads it (docs.github.com, "About code owners")."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RULES = [
    (parts[0], parts[1:])
    for line in (ROOT / ".github" / "CODEOWNERS").read_text(encoding="utf-8").splitlines()
    if (parts := line.split()) and not line.startswith("#")
]


def owners(path: str) -> list[str]:
    found = []
    for pattern, named in RULES:
        wanted = re.escape(pattern.removeprefix("/")).replace(r"\*", "[^/]*") if pattern != "*" else ""
        if re.match(wanted, path):
            found = named
    return found


ANYBODY = (
    "submissions/measured/x/wren-1.json",
    "submissions/people/wren.json",
    "submissions/plans/a.json",
    "submissions/carried/a/carried.json",
    "protocols/x/objections/001-y/00-objection.md",
    "protocols/analysis/objections/001-y/01-response.md",
)
MAINTAINERS = ("protocols/roles.json", "protocols/x/events/001-released.yaml", "protocols/x/1.0.0.md", "submissions/tombstones/a.json",
               "submissions/simulated/x/a.json", ".github/workflows/check.yml", ".github/CODEOWNERS", "aggregator/edgehold/cli.py",
               "aggregator/registers/steels.json", "Makefile", "site/pages/privacy.md", "tests/conftest.py", "pyproject.toml")  # fmt: skip


@pytest.mark.parametrize("path", ANYBODY)
def test_what_the_check_holds_against_its_author_has_no_owner(path):
    assert owners(path) == []


@pytest.mark.parametrize("path", MAINTAINERS)
def test_what_decides_has_one(path):
    assert owners(path) == ["@edgehold/maintainers"]


def test_every_pattern_names_a_folder_that_is_there_or_that_people_write_to():
    written = {"submissions/tombstones"}  # comes with its first file
    for pattern, _ in RULES:
        folder = pattern.strip("/").partition("/*")[0]
        assert folder == "*" or folder in written or (ROOT / folder).is_dir(), pattern
