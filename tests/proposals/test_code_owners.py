"""CODEOWNERS fits the folders: the last pattern that fits a path decides, as the host reads it (docs.github.com, "About code owners")."""

import re
from pathlib import Path

import pytest

from edgehold.records.code_owners import strange_teams

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


@pytest.mark.parametrize(
    ("address", "owners_of", "strange"),
    [
        ("", "* @edgehold/maintainers", ()),
        ("https://host.example/harbour/edges", "* @edgehold/maintainers # ours", ("@edgehold/maintainers",)),
        ("https://host.example/Edgehold/edgehold", "* @edgehold/maintainers", ()),
        ("https://host.example/harbour/edges", "# @edgehold/maintainers\n* @harbour/board @wren wren@edgehold.example", ()),
        ("https://host.example/harbour/edges", None, ()),
    ],
)
def test_a_team_of_another_organisation_is_warned_of_once_the_repository_has_an_address(address, owners_of, strange, tmp_path):
    (tmp_path / "mkdocs.yml").write_text(f"extra:\n  repository_url: {address}\n" if address else "", encoding="utf-8")
    if owners_of is not None:
        (tmp_path / ".github").mkdir()
        (tmp_path / ".github" / "CODEOWNERS").write_text(owners_of, encoding="utf-8")
    assert strange_teams(tmp_path) == strange


def test_the_file_says_itself_that_its_team_is_a_placeholder_and_the_runbook_begins_with_it():
    said = (ROOT / ".github" / "CODEOWNERS").read_text(encoding="utf-8")
    runbook = (ROOT / "site" / "pages" / "runbook.md").read_text(encoding="utf-8")
    assert "placeholder" in said and "@edgehold/maintainers" in runbook.partition("## The weekly hour")[0]
