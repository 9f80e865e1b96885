"""Decisions on objections: what a revision must touch, what may follow what, and what becomes of repetitions."""

import pytest

from edgehold.records import load_repository

from .builder import TODAY, changed, make_repository, protocol, submission
from .test_objections import OBJECTION, OUTCOME, RESPONSE, codes, thread

REWORDED = protocol({"/version": "1.0.1", "/title": "A small method", "/changes": "a title"})
TOUCHED = protocol({"/version": "1.1.0", "/reading/repeats": 3, "/threats/0/text": "The stone loads", "/changes": "s1 deals with it"})
REVISION = changed(RESPONSE, {"/response": "revision", "/revised_in": "1.1.0", "/evidence": []})
REVISED = changed(OUTCOME, {"/outcome": "revised"})
WHOLE = {"protocol": "small-rope"}


def against(**target):
    return changed(OBJECTION, {"/against": WHOLE | target})


def raised(tmp_path, *entries, objection=OBJECTION, **repository):
    files = {f"{number:02d}-{entry['kind']}.md": entry for number, entry in enumerate((objection, *entries))}
    return thread(make_repository(tmp_path, **repository), files)


REVISIONS = {
    "the step is touched": (against(version="1.0.0", step="s1-prepare"), "1.1.0", []),
    "another step is": (against(version="1.0.0", step="s2-cut-and-read"), "1.1.0", ["revision-misses"]),
    "what the endpoint is computed from is touched": (against(version="1.0.0", endpoint="early"), "1.1.0", []),
    "the endpoint is the same": (against(version="1.0.0", endpoint="early"), "1.0.1", ["revision-misses"]),
    "one of step and endpoint is touched": (against(version="1.0.0", step="s2-cut-and-read", endpoint="early"), "1.1.0", []),
    "more than wording, against a version": (against(version="1.0.0"), "1.1.0", []),
    "only wording, against a version": (against(version="1.0.0"), "1.0.1", ["revision-misses"]),
    "more than wording, against the protocol": (WHOLE and against(), "1.1.0", []),
    "only wording, against the protocol": (against(), "1.0.1", ["revision-misses"]),
    "the version objected to": (against(version="1.1.0", step="s1-prepare"), "1.1.0", ["revision-misses"]),
    "an earlier version": (against(version="1.1.0", step="s1-prepare"), "1.0.1", ["revision-misses"]),
    "the first version, against the protocol": (against(), "1.0.0", ["revision-misses"]),
}


@pytest.mark.parametrize("row", REVISIONS)
def test_a_revision_touches_what_was_objected_to(row, tmp_path):
    objection, version, expected = REVISIONS[row]
    revision = changed(REVISION, {"/revised_in": version, "/month": "2026-05"})
    root = raised(tmp_path, revision, objection=changed(objection, {"/month": "2026-05"}), protocols=[protocol(), REWORDED, TOUCHED])
    assert codes(root) == expected


def test_revised_needs_a_version_released_by_then(tmp_path):
    versions = [protocol(), TOUCHED]
    assert codes(raised(tmp_path / "in-time", REVISION, REVISED, protocols=versions)) == []
    early = changed(REVISED, {"/month": "2026-04"})
    assert codes(raised(tmp_path / "early", REVISION, early, protocols=versions)) == ["outcome-unfounded"]


def test_whoever_wrote_the_revision_does_not_decide(tmp_path):
    root = raised(tmp_path, REVISION, changed(REVISED, {"/by": "wren"}), protocols=[protocol(), TOUCHED])
    assert codes(root) == ["not-impartial"]


def test_the_analysis_is_revised_in_a_version_of_the_program(tmp_path):
    root = make_repository(tmp_path)
    entries = [changed(OBJECTION, {"/against": {}}), changed(REVISION, {"/revised_in": "0.2.0"}), REVISED]
    thread(root, {f"{i:02d}-{entry['kind']}.md": entry for i, entry in enumerate(entries)}, folder="analysis")
    assert codes(root) == []


UPHELD = changed(OUTCOME, {"/outcome": "upheld and unresolved"})
OPENED = changed(OUTCOME, {"/outcome": "open"})
STRUCK = changed(OUTCOME, {"/outcome": "struck"})
LATER = changed(RESPONSE, {"/month": "2026-05", "/response": "more evidence wanted", "/evidence": []})
SEQUENCES = {
    "upheld with nothing said": ([UPHELD], []),
    "decided again with nothing said since": ([RESPONSE, OUTCOME, UPHELD], ["nothing-new"]),
    "decided again after something was said": ([RESPONSE, OUTCOME, LATER, UPHELD], []),
    "opened again with nothing said since": ([RESPONSE, OUTCOME, OPENED], ["nothing-new"]),
    "opened again on what was said since": ([RESPONSE, OUTCOME, LATER, OPENED], []),
    "opened, and open already": ([RESPONSE, OUTCOME, LATER, OPENED, LATER, OPENED], ["nothing-new"]),
    "opened, and rebutted again on what is new": ([RESPONSE, OUTCOME, LATER, OPENED, changed(LATER, {"/by": "smew"}), OUTCOME], []),
    "rebutted, then struck": ([RESPONSE, OUTCOME, STRUCK], []),
    "rebutted, then withdrawn": ([RESPONSE, OUTCOME, changed(OUTCOME, {"/outcome": "withdrawn", "/by": "auk"})], []),
    "a response after it was struck": ([STRUCK, LATER], ["after-struck"]),
    "an outcome after it was struck": ([STRUCK, UPHELD], ["after-struck", "nothing-new"]),
    "a rebuttal that was never made": ([OUTCOME], ["outcome-unfounded"]),
}


@pytest.mark.parametrize("row", SEQUENCES)
def test_outcomes_follow_from_what_was_said(row, tmp_path):
    entries, expected = SEQUENCES[row]
    assert codes(raised(tmp_path, *entries)) == expected


def test_an_outcome_without_its_reason(tmp_path):
    root = raised(tmp_path, RESPONSE)
    thread(root, {"02-outcome.md": OUTCOME}, body="\n")
    assert codes(root) == ["empty-body"]


def repeated(tmp_path, first, second, *more):
    """Objection 1 with its entries, and objection 2 with its."""
    root = raised(tmp_path, *first)
    thread(root, {f"{i:02d}-{entry['kind']}.md": entry for i, entry in enumerate(second)}, "002-again")
    for number, record in enumerate(more, 3):
        thread(root, {"00-objection.md": record}, f"{number:03d}-again")
    return root


AGAIN = changed(OBJECTION, {"/duplicate_of": 1, "/month": "2026-06"})
REPEATED = {
    "one that is open": ([], [AGAIN], []),
    "one that was struck before": ([STRUCK], [AGAIN], ["duplicate-form"]),
    "one that was struck afterwards": ([changed(STRUCK, {"/month": "2026-06"})], [AGAIN], []),
    "struck itself": ([], [AGAIN, changed(STRUCK, {"/month": "2026-06"})], []),
    "decided by itself": ([], [AGAIN, changed(UPHELD, {"/month": "2026-06"})], ["decided-elsewhere"]),
}


@pytest.mark.parametrize("row", REPEATED)
def test_what_may_be_repeated(row, tmp_path):
    first, second, expected = REPEATED[row]
    assert codes(repeated(tmp_path, first, second)) == expected


def test_a_repetition_names_the_first_of_its_kind(tmp_path):
    assert codes(repeated(tmp_path, [], [AGAIN], changed(AGAIN, {"/duplicate_of": 2}))) == ["duplicate-form"]


def test_two_that_repeat_each_other_are_both_told(tmp_path):
    root = repeated(tmp_path, [], [AGAIN])
    thread(root, {"00-objection.md": changed(AGAIN, {"/duplicate_of": 2})})
    told = [(f.file.split("/")[3], f.code) for f in load_repository(root, today=TODAY).findings]
    assert told == [("001-stone-wears", "duplicate-form"), ("002-again", "duplicate-form")]


def test_two_entries_that_took_one_number_are_told_with_the_free_one(tmp_path):
    root = raised(tmp_path, RESPONSE)
    thread(root, {"01-outcome.md": UPHELD})
    (finding,) = load_repository(root, today=TODAY, newer={"protocols/small-rope/objections/001-stone-wears/01-outcome.md"}).findings
    assert (finding.code, finding.file.rpartition("/")[2]) == ("wrong-number", "01-outcome.md")
    assert finding.cure == "call this one 02-outcome.md"


def test_the_older_of_two_objections_keeps_the_number_whatever_the_names(tmp_path):
    root = raised(tmp_path, submissions=[submission()])
    thread(root, {"00-objection.md": OBJECTION}, "001-apex-was-bent")
    newer = {"protocols/small-rope/objections/001-apex-was-bent/00-objection.md"}
    (finding,) = load_repository(root, today=TODAY, newer=newer).findings
    assert (finding.code, finding.file) == ("wrong-number", *newer)
    assert finding.message == "number 001 is taken by 001-stone-wears" and finding.cure == "call this one 002-apex-was-bent"
