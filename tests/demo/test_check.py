"""The committed demonstration passes the check: no errors, and only the warnings that its story asks for."""

from __future__ import annotations

from pathlib import Path

from edgehold.records import load_repository

ROOT = Path(__file__).resolve().parents[2]
STORY = {
    "level-not-shown", "lot-change", "no-level", "no-reading-at-0", "off-checkpoint", "pass-after-fail", "repeats-differ",
    "sharper-after-work", "tester-change", "wide-angle",
}  # fmt: skip


def test_the_check_finds_no_error_and_the_warnings_of_the_story():
    repository = load_repository(ROOT)
    found = [f for f in repository.findings if f.file.startswith("submissions/simulated/")]
    assert not [f for f in found if f.severity == "error"]
    assert {f.code for f in found} == STORY
    assert sum(s.record.origin == "simulated" for s in repository.submissions) == 152


def test_the_submitters_answers_stand_at_the_warnings_they_answer():
    repository = load_repository(ROOT)
    found = {(f.file, f.pointer, f.code) for f in repository.findings}
    answers = [(s.path, a.pointer, a.code) for s in repository.submissions for a in s.record.answers or ()]
    assert len(answers) == 9
    assert set(answers) <= found
