"""The cases that are kept: tests of the suite, run as they are and counted by what they are about."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from xml.etree import ElementTree

from tests.fuzz.readers import FINE, Complaint

from .cases import Tried

ROOT = Path(__file__).parents[2]
PAST = "test_files_that_once_broke_a_reader_do_so_no_more"
"""Of the damaged files only those that once broke a reader are kept; the others are drawn."""
DAMAGED_DRAFTS = "test_a_damaged_draft_never_leaves_the_form_empty_and_is_offered_as_a_file"
KEPT = {
    "files of a repository": ("tests/records/test_hostile_files.py", "tests/test_disk.py", f"tests/fuzz/test_fuzz.py::{PAST}"),
    "sheets, CSV and XLSX": ("tests/sheets/test_corpus.py",),
    "finished files, blocks of letters": ("tests/sheets/test_finished.py", "tests/records/test_letters.py"),
    "bodies and drawings": ("tests/whole_path/test_green_builds.py", "tests/proposals/test_trials.py"),
    "whole commands": ("tests/test_last_word.py",),
    "requests: what may change": ("tests/proposals/test_requests.py", "tests/proposals/test_git_reading.py"),
    "requests: in whose name": ("tests/proposals/test_identity.py",),
    "requests: floods of objections": ("tests/proposals/test_floods.py",),
    "sites: pages in a browser": (
        "tests/browser/test_hostile.py", "tests/browser/test_form_hostile.py", "tests/browser/test_review_forms_hostile.py",
    ),
    "drafts kept in the browser": (f"tests/browser/test_form.py::{DAMAGED_DRAFTS}",),
    "sites: built twice": ("tests/whole_path/test_builds.py",),
    "what invented numbers look like": ("tests/screens/test_screens.py",),
}  # fmt: skip
"""Test files by row of the table."""


def kept_files() -> Iterator[tuple[str, str]]:
    """Row and test file of all kept cases."""
    return ((row, file) for row, files in KEPT.items() for file in files)


def kept_file(file: str, column: str) -> list[Tried]:
    """The kept cases of one test file; one that fails counts in ``column``."""
    with TemporaryDirectory() as folder:
        told = Path(folder) / "told.xml"
        words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--junitxml={told}", file]
        ran = subprocess.run(words, cwd=ROOT, capture_output=True, text=True)
        if not told.exists():
            return [Tried(file, Complaint(column, ran.stdout[-2000:] + ran.stderr[-2000:]))]
        return [_case(one, column) for one in ElementTree.parse(told).iter("testcase") if one.find("skipped") is None]


def _case(one: ElementTree.Element, column: str) -> Tried:
    wrong = next((found for tag in ("failure", "error") if (found := one.find(tag)) is not None), None)
    name = f"{one.get('classname')}::{one.get('name')}"
    return Tried(name, FINE if wrong is None else Complaint(column, (wrong.text or "")[-2000:]), float(one.get("time") or 0))
