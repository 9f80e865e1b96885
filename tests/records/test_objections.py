"""Objections: numbering, what they refer to, and who decides."""

import pytest

from edgehold.records import load_repository

from .builder import REMOVED, TODAY, changed, make_repository, markdown, protocol, second, submission, write, write_protocol

OBJECTION = {
    "format": "objection/1.0.0",
    "kind": "objection",
    "against": {"protocol": "small-rope", "version": "1.0.0", "step": "s1-prepare", "endpoint": "early"},
    "title": "The stone wears",
    "threat": "order",
    "severity": "material",
    "interest": "none",
    "by": "auk",
    "month": "2026-03",
}
RESPONSE = {
    "format": "objection/1.0.0",
    "kind": "response",
    "response": "rebuttal",
    "evidence": [{"submission": "wren-1"}],
    "interest": "owner",
    "by": "wren",
    "month": "2026-04",
}
OUTCOME = {"format": "objection/1.0.0", "kind": "outcome", "outcome": "rebutted", "by": "tern", "month": "2026-05"}
THREAD = {"00-objection.md": OBJECTION, "01-response.md": RESPONSE, "02-outcome.md": OUTCOME}


def thread(root, files, name="001-stone-wears", body="Because.\n", folder="small-rope"):
    for file, record in files.items():
        write(root / "protocols" / folder / "objections" / name / file, markdown(record, body))
    return root


def codes(root):
    return [f.code for f in load_repository(root, today=TODAY).findings]


def test_a_whole_thread_is_read_in_order(tmp_path):
    thread(make_repository(tmp_path), THREAD)
    repository = load_repository(tmp_path, today=TODAY)
    (found,) = repository.objections
    assert repository.findings == ()
    assert (found.protocol, found.number, found.statement) == ("small-rope", 1, "Because.")
    assert [entry.kind for entry, _ in found.entries] == ["response", "outcome"]


OBJECTION_CASES = {
    "against the analysis, under a protocol": ({"/against": {}}, ["path-disagrees"]),
    "against the protocol as a whole": ({"/against": {"protocol": "small-rope"}}, []),
    "against a step of no version": ({"/against/version": None, "/against/endpoint": None}, ["unknown-version"]),
    "against another protocol than the one it lies under": ({"/against/protocol": "other"}, ["path-disagrees"]),
    "against a version that does not exist": ({"/against/version": "1.0.1"}, ["unknown-version"]),
    "against a step that does not exist": ({"/against/step": "s9-none"}, ["unknown-step"]),
    "against an endpoint that does not exist": ({"/against/endpoint": "late"}, ["unknown-reference"]),
    "a duplicate of itself": ({"/duplicate_of": 1}, ["unknown-reference"]),
    "a duplicate of one that does not exist": ({"/duplicate_of": 2}, ["unknown-reference"]),
    "from a month that has not come": ({"/month": "2026-07"}, ["month-in-future"]),
    "without its severity": ({"/severity": REMOVED}, ["missing-field"]),
    "another kind than its file's name says": ({"/kind": "response"}, ["path-disagrees"]),
    "resting on a probe": ({"/evidence": [{"probe": "lot"}]}, []),
    "resting on a submission that does not exist": ({"/evidence": [{"submission": "auk-9"}]}, ["unknown-reference"]),
    "resting on no probe there is": ({"/evidence": [{"probe": "moon"}]}, ["unknown-probe"]),
    "dated before the version was released": ({"/month": "2025-12"}, ["month-backwards"]),
    "silent about an interest": ({"/interest": None}, ["interest-unstated"]),
    "with a handle in its title": ({"/title": "@wren never wipes the stone"}, ["names-a-person"]),
    "with an address in the change it proposes": ({"/proposed_change": "Ask wren@example.org."}, ["names-a-person"]),
    "with a sign that is no handle": ({"/title": "Read @ 20 cuts"}, []),
    "resting on two things in one": ({"/evidence": [{"probe": "lot", "citation": "A book."}]}, ["evidence-form"]),
}


@pytest.mark.parametrize("row", OBJECTION_CASES)
def test_an_objection_names_what_exists(row, tmp_path):
    changes, expected = OBJECTION_CASES[row]
    thread(make_repository(tmp_path), {"00-objection.md": changed(OBJECTION, changes)})
    assert codes(tmp_path) == expected


ANALYSIS_CASES = {
    "against the analysis": ({"/against": {}}, []),
    "against a protocol": ({}, ["path-disagrees"]),
    "against a protocol called so": ({"/against": {"protocol": "analysis"}}, ["path-disagrees"]),
    "against a version of the analysis": ({"/against": {"version": "1.0.0"}}, ["unknown-version"]),
}


@pytest.mark.parametrize("row", ANALYSIS_CASES)
def test_objections_to_the_analysis_lie_in_a_folder_of_their_own(row, tmp_path):
    changes, expected = ANALYSIS_CASES[row]
    thread(make_repository(tmp_path), {"00-objection.md": changed(OBJECTION, changes)}, folder="analysis")
    assert codes(tmp_path) == expected
    assert [found.protocol for found in load_repository(tmp_path, today=TODAY).objections] == ["analysis"]


def test_no_protocol_may_take_the_name_of_that_folder(tmp_path):
    make_repository(tmp_path)
    write_protocol(tmp_path, protocol({"/id": "analysis"}))
    assert codes(tmp_path) == ["reserved-id"]


ENTRY_CASES = {
    "decided by the objector": ("02-outcome.md", {"/by": "auk"}, ["not-impartial"]),
    "decided by whoever released the protocol": ("02-outcome.md", {"/by": "board"}, ["not-impartial"]),
    "decided by whoever wrote the rebuttal": ("02-outcome.md", {"/by": "wren"}, ["not-impartial"]),
    "upheld by whoever wrote the rebuttal": ("02-outcome.md", {"/by": "wren", "/outcome": "upheld and unresolved"}, []),
    "withdrawn by the objector": ("02-outcome.md", {"/by": "auk", "/outcome": "withdrawn"}, []),
    "withdrawn by somebody else": ("02-outcome.md", {"/outcome": "withdrawn"}, ["not-the-objector"]),
    "revised without a revision": ("02-outcome.md", {"/outcome": "revised"}, ["outcome-unfounded"]),
    "open when nothing was decided": ("02-outcome.md", {"/outcome": "open"}, ["nothing-new"]),
    "struck": ("02-outcome.md", {"/outcome": "struck"}, []),
    "decided before it was answered": ("02-outcome.md", {"/month": "2026-03"}, ["month-backwards"]),
    "answered before it was raised": ("01-response.md", {"/month": "2026-02"}, ["month-backwards"]),
    "a rebuttal that rests on nothing": ("01-response.md", {"/evidence": []}, ["no-evidence"]),
    "a wish for more evidence rests on nothing": (
        "01-response.md",
        {"/evidence": [], "/response": "more evidence wanted"},
        ["outcome-unfounded"],
    ),
    "a revision in a version that does not exist": (
        "01-response.md",
        {"/response": "revision", "/revised_in": "1.1.0"},
        ["unknown-version", "outcome-unfounded"],
    ),
    "a revision in no version": ("01-response.md", {"/response": "revision"}, ["unknown-version", "outcome-unfounded"]),
    "silent about an interest": ("01-response.md", {"/interest": None}, ["interest-unstated"]),
    "resting on a probe": ("01-response.md", {"/evidence": [{"probe": "run-order"}]}, []),
    "resting on no probe there is": ("01-response.md", {"/evidence": [{"probe": "moon"}]}, ["unknown-probe"]),
    "evidence of two kinds in one entry": ("01-response.md", {"/evidence/0/probe": "lot"}, ["evidence-form"]),
    "evidence of no kind": ("01-response.md", {"/evidence/0/submission": None}, ["evidence-form"]),
    "a submission that does not exist as evidence": (
        "01-response.md",
        {"/evidence/0/submission": "wren-2"},
        ["unknown-reference"],
    ),
    "a word that is no outcome": ("02-outcome.md", {"/outcome": "refuted"}, ["unknown-word"]),
}


@pytest.mark.parametrize("row", ENTRY_CASES)
def test_entries_name_what_exists_and_outcomes_are_impartial(row, tmp_path):
    file, changes, expected = ENTRY_CASES[row]
    thread(make_repository(tmp_path), THREAD | {file: changed(THREAD[file], changes)})
    assert codes(tmp_path) == expected


def test_a_text_that_names_a_person_is_warned_of(tmp_path):
    thread(make_repository(tmp_path), {"00-objection.md": OBJECTION}, body="As @tern said.\n")
    assert codes(tmp_path) == ["names-a-person"]
    (finding,) = load_repository(tmp_path, today=TODAY).findings
    assert finding.severity == "warning"


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({"00-objection.md": OBJECTION, "02-outcome.md": OUTCOME | {"outcome": "upheld and unresolved"}}, ["wrong-number"]),
        ({"01-response.md": RESPONSE}, ["wrong-number"]),
        ({"00-objection.md": OBJECTION, "01-objection.md": OBJECTION}, ["wrong-number"]),
    ],
)
def test_entries_are_numbered_from_the_objection_on(files, expected, tmp_path):
    thread(make_repository(tmp_path), files)
    assert codes(tmp_path) == expected


def test_objections_are_numbered_without_a_gap(tmp_path):
    thread(make_repository(tmp_path), {"00-objection.md": OBJECTION})
    thread(tmp_path, {"00-objection.md": changed(OBJECTION, {"/duplicate_of": 1})}, "003-again")
    assert codes(tmp_path) == ["wrong-number"]


def test_an_objection_without_a_statement(tmp_path):
    thread(make_repository(tmp_path), {"00-objection.md": OBJECTION}, body="\n")
    assert codes(tmp_path) == ["empty-body"]


def test_a_thread_whose_entry_is_broken_is_left_out_but_nothing_else_is(tmp_path):
    thread(make_repository(tmp_path, [submission(), second()]), THREAD)
    thread(tmp_path, THREAD | {"01-response.md": changed(RESPONSE, {"/by": "Wren"})}, "002-broken")
    repository = load_repository(tmp_path, today=TODAY)
    assert [f.code for f in repository.findings] == ["wrong-case"]
    assert [t.number for t in repository.objections] == [1]
    assert len(repository.submissions) == 2
