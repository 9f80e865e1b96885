"""Hundreds of damaged files in every test run, thousands in `make test-long`, and every damaged file that once broke a reader."""

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.sheets.filling import repository as sheet_repository

from .fuzz import PAST
from .readers import TARGETS, complaint_about, failures, repository
from .sheets import FOLDER, sheet_complaint, sheet_failures

BATCHES, SHEET_BATCHES, CASES = 12, 4, 250
QUICK = 1  # batches in every run; all of them in `make test-long`


def numbers(batches: int) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("number", [pytest.param(n, marks=[pytest.mark.long] if n >= QUICK else []) for n in range(batches)])


@numbers(BATCHES)
def test_damaged_files_are_read_or_refused_with_a_place(tmp_path, number):
    found = list(failures(repository(tmp_path), 1_000_000 + number * CASES, CASES))
    assert not found, "\n\n".join(f"{f.path}\n{f.complaint}\n{f.data[:300]!r}" for f in found)


@numbers(SHEET_BATCHES)
def test_damaged_sheets_are_taken_in_or_asked_about_with_a_cell(tmp_path, number):
    found = list(sheet_failures(tmp_path, 2_000_000 + number * CASES, CASES))
    assert not found, "\n\n".join(f"{f.path}\n{f.complaint}\n{f.data[:300]!r}" for f in found)


@pytest.mark.parametrize("path", sorted(p for p in PAST.rglob("*") if p.is_file()) or [None], ids=str)
def test_files_that_once_broke_a_reader_do_so_no_more(tmp_path, path):
    if path is None:
        return
    place = Path(*path.relative_to(PAST).parts[1:])
    if place.parts[0] == FOLDER:
        assert sheet_complaint(sheet_repository(tmp_path), path.read_bytes()) == ""
        return
    assert complaint_about(repository(tmp_path), place.as_posix(), path.read_bytes()) == ""


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return repository(tmp_path_factory.mktemp("repository"))


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(tree=anything, target=st.sampled_from([t for t in TARGETS if t.kind == "json"]))
def test_any_json_is_read_or_refused_with_a_place(root, tree, target):
    good = (root / target.path).read_bytes()
    try:
        assert complaint_about(root, target.path, json.dumps(tree).encode()) == ""
    finally:
        (root / target.path).write_bytes(good)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.binary(max_size=400), target=st.sampled_from(TARGETS))
def test_any_bytes_are_read_or_refused_with_a_place(root, data, target):
    good = (root / target.path).read_bytes()
    try:
        assert complaint_about(root, target.path, data) == ""
    finally:
        (root / target.path).write_bytes(good)
