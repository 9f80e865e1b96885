"""The date of what is published is the data's, and its commit is the one that changed them last."""

import pytest

from edgehold.records import load_repository
from edgehold.results.publish.state import commit_of, data_month
from tests.proposals.requests import commit, git, make_base
from tests.records.builder import correction, make_repository, second, submission, values, write, write_change, write_tombstone

BLUNTER = ("/runs/1/readings/2/values", values(2.0, 2.2), values(8.0, 8.4))


def test_the_date_is_the_newest_month_that_a_file_names(tmp_path):
    root = make_repository(tmp_path, [submission(), second()])
    before = data_month(load_repository(root))
    write_change(root, 1, correction(BLUNTER) | {"month": "2026-10"})
    assert before < data_month(load_repository(root)) == "2026-10"
    write_tombstone(root, "auk-1")
    assert data_month(load_repository(root)) == "2026-10", "an older month changes nothing"


@pytest.fixture
def root(tmp_path):
    """A repository with a history, on a branch of its own."""
    return make_base(tmp_path / "repository")


def head(root):
    return git(root, "rev-parse", "HEAD")


def test_the_commit_is_the_newest_that_changed_the_data_or_the_program(root):
    first = head(root)
    write(root / "README.md", "more words\n")
    commit(root)
    assert commit_of(root) == first != head(root)
    write(root / "aggregator" / "edgehold" / "thing.py", "1\n")
    commit(root)
    assert commit_of(root) == head(root)


def test_no_commit_is_named_where_the_files_are_none_s(root, tmp_path):
    write(root / "README.md", "more words\n")
    assert commit_of(root) == head(root), "no figure is made from it"
    write(root / "submissions" / "measured" / "note.txt", "not committed\n")
    assert commit_of(root) == ""
    assert commit_of(make_repository(tmp_path / "no-git", [submission()])) == ""
    assert commit_of(make_repository(root / "inner", [submission()])) == "", "a folder inside another repository is not that repository"


def test_a_history_that_is_cut_off_names_no_commit(root, tmp_path):
    write(root / "README.md", "more words\n")
    commit(root)
    git(tmp_path, "clone", "-q", "--depth", "1", "--branch", "request", f"file://{root}", str(tmp_path / "shallow"))
    assert commit_of(tmp_path / "shallow") == ""
    git(tmp_path, "clone", "-q", "--branch", "request", f"file://{root}", str(tmp_path / "whole"))
    assert commit_of(tmp_path / "whole") == commit_of(root) != ""
