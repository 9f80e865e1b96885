"""Seals in requests: published before their results, and never taken back."""

import pytest

from tests.records.builder import pilot, submission, write_submission
from tests.records.test_plan_seals import reference, sealed, write_seal

from .requests import codes, commit, git, make_base

SEAL = "submissions/plans/wren-plan.json"
RESULT = "submissions/measured/small-rope/wren-9.json"


@pytest.fixture
def root(tmp_path):
    return make_base(tmp_path, submissions=[pilot()])


def result():
    return submission({"/id": "wren-9", "/plan": reference(sealed())})


def publish(root):
    """Put the seal into the base."""
    git(root, "switch", "-q", "main")
    write_seal(root, sealed())
    commit(root)
    git(root, "switch", "-q", "-c", "later")


def test_a_seal_alone_is_fine(root):
    write_seal(root, sealed())
    assert codes(root) == {}


def test_a_result_whose_seal_the_base_has_is_fine(tmp_path):
    root = make_base(tmp_path, submissions=[pilot()])
    publish(root)
    write_submission(root, result())
    assert codes(root) == {}


def test_a_seal_together_with_its_result_is_late(root):
    write_seal(root, sealed())
    write_submission(root, result())
    assert codes(root) == {RESULT: ["seal-late"]}


def test_a_published_seal_is_not_changed(root):
    publish(root)
    write_seal(root, sealed({"/seed": 99}))
    assert codes(root) == {SEAL: ["record-changed"]}


def test_a_published_seal_is_not_taken_out(root):
    publish(root)
    (root / SEAL).unlink()
    assert codes(root) == {SEAL: ["record-deleted"]}
