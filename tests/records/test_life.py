"""The life of a protocol version: who may adopt it, on which pilot, what stands in its way, and what closes its form."""

import pytest

from edgehold.errors import ERROR
from edgehold.records import load_repository

from .builder import (
    TODAY,
    changed,
    event,
    make_repository,
    pilot,
    protocol,
    retraction,
    second,
    submission,
    write_change,
    write_event,
    write_person,
    write_submission,
)
from .test_objections import OBJECTION, OUTCOME, RESPONSE, codes, thread

BLOCKING = changed(OBJECTION, {"/severity": "blocking", "/month": "2026-03"})


def adoption(root, **changes):
    """Rewrite the adoption of small-rope 1.0.0."""
    facts = {"by": "moot", "month": "2026-05", "pilot": "wren-1"} | changes
    write_event(root / "protocols" / "small-rope", 3, event("adopted", "1.0.0", **facts))
    return root


def simulated():
    blade = {"/blades/0/steel/designation": "demo-plain-carbon", "/blades/0/key": "demo.galley"}
    blade |= {f"/preparations/{i}/blade": "demo.galley" for i in (0, 1)}
    return submission({"/origin": "simulated", "/id": "demo-1"} | blade)


ADOPTIONS = {
    "by somebody else, on a pilot of that month": ({}, []),
    "by whoever released it": ({"by": "board"}, ["self-adopted"]),
    "without a pilot": ({"pilot": None}, ["no-pilot"]),
    "on a pilot of a later month": ({"pilot": "tern-1"}, ["wrong-pilot"]),
    "on a pilot that is not there": ({"pilot": "tern-2"}, ["unknown-reference"]),
    "on a run of another version": ({"pilot": "auk-1"}, ["wrong-pilot"]),
    "on a run of another protocol": ({"pilot": "other-1"}, ["wrong-pilot"]),
    "dated before it was released": ({"month": "2025-12", "pilot": None}, ["month-backwards", "no-pilot"]),
}


@pytest.mark.parametrize("row", ADOPTIONS)
def test_an_adoption_needs_a_pilot_and_somebody_else_than_the_author(row, tmp_path):
    changes, expected = ADOPTIONS[row]
    later = protocol({"/version": "1.1.0", "/reading/repeats": 3, "/changes": "three values"})
    others = [changed(pilot(), {"/protocol/version": "1.1.0"}), changed(pilot(), {"/protocol/id": "other-rope", "/id": "other-1"})]
    versions = [protocol(), later, protocol({"/id": "other-rope"})]
    root = make_repository(tmp_path, [submission(), second(), *others], versions)
    ignored = {"repeats-differ", "duplicate-content"}  # the two by the same hand are alike on purpose
    assert [code for code in codes(adoption(root, **changes)) if code not in ignored] == expected


@pytest.mark.parametrize(("adopts", "expected"), [(True, ["no-drawing"]), (False, [])])
def test_what_has_to_be_built_is_drawn_before_a_version_is_adopted(tmp_path, adopts, expected):
    built = protocol({"/needs": [{"item": "A slotted board", "where": "made"}]})
    root = make_repository(tmp_path, protocols=[built])
    if not adopts:
        next((root / "protocols/small-rope/events").glob("003-*")).unlink()
    assert [f.code for f in load_repository(root, today=TODAY).errors if f.code == "no-drawing"] == expected


def test_one_person_under_two_handles_does_not_adopt_an_own_version(tmp_path):
    root = make_repository(tmp_path)
    write_person(root, "board", same_person=["moot"])
    write_person(root, "moot", same_person=["board"])
    assert codes(root) == ["self-adopted"]


def test_a_pilot_that_was_corrected_later_stays_one(tmp_path):
    root = make_repository(tmp_path)
    write_change(root, 1, {**retraction(), "kind": "correction", "what": [{"pointer": "/month", "before": "2026-05", "after": "2026-06"}]})
    assert codes(root) == []


def test_what_was_adopted_without_a_measured_pilot_says_why(tmp_path):
    root = adoption(make_repository(tmp_path), pilot=None)
    assert codes(root) == ["no-pilot"]
    adoption(root, pilot=None, evidence="adopted for the demonstration")
    (found,) = load_repository(root, today=TODAY).findings
    assert (found.code, found.severity) == ("no-measured-pilot", "warning")
    assert found.message == "version 1.0.0 is adopted without a pilot: adopted for the demonstration"
    write_submission(root, simulated())
    adoption(root, pilot="demo-1")
    assert [(f.code, f.message) for f in load_repository(root, today=TODAY).findings] == [("no-measured-pilot", "'demo-1' is simulated")]


REBUTTED = [RESPONSE, OUTCOME]
IN_THE_WAY = {
    "open": ([], BLOCKING, ["adopted-despite-objection"]),
    "answered, and not decided": ([RESPONSE], BLOCKING, ["adopted-despite-objection"]),
    "upheld and unresolved": ([changed(OUTCOME, {"/outcome": "upheld and unresolved"})], BLOCKING, ["adopted-despite-objection"]),
    "rebutted in that month": (REBUTTED, BLOCKING, []),
    "rebutted afterwards": ([RESPONSE, changed(OUTCOME, {"/month": "2026-06"})], BLOCKING, ["adopted-despite-objection"]),
    "withdrawn": ([changed(OUTCOME, {"/outcome": "withdrawn", "/by": "auk"})], BLOCKING, []),
    "not blocking": ([], OBJECTION, []),
    "raised in that month": ([], changed(BLOCKING, {"/month": "2026-05"}), []),
    "raised afterwards": ([], changed(BLOCKING, {"/month": "2026-06"}), []),
}


@pytest.mark.parametrize("row", IN_THE_WAY)
def test_nothing_is_adopted_while_a_blocking_objection_stands(row, tmp_path):
    entries, objection, expected = IN_THE_WAY[row]
    root = make_repository(tmp_path)
    thread(root, {f"{i:02d}-{entry['kind']}.md": entry for i, entry in enumerate((objection, *entries))})
    assert codes(root) == expected


def test_one_against_an_earlier_version_stands_in_the_way_until_it_is_revised(tmp_path):
    later = protocol({"/version": "1.1.0", "/reading/repeats": 3, "/changes": "three values"})
    own = changed(pilot(), {"/protocol/version": "1.1.0", "/month": "2026-06"})
    root = make_repository(tmp_path, [submission(), own], [protocol(), later])
    objection = changed(BLOCKING, {"/month": "2026-05", "/against": {"protocol": "small-rope", "version": "1.0.0", "endpoint": "early"}})
    thread(root, {"00-objection.md": objection})
    told = [f.file for f in load_repository(root, today=TODAY).errors]
    assert told == ["protocols/small-rope/events/006-adopted.yaml"] and "adopted-despite-objection" in codes(root)
    revision = changed(RESPONSE, {"/response": "revision", "/revised_in": "1.1.0", "/evidence": [], "/month": "2026-05"})
    thread(root, {"01-response.md": revision, "02-outcome.md": changed(OUTCOME, {"/outcome": "revised", "/month": "2026-06"})})
    assert load_repository(root, today=TODAY).errors == ()


SAFETY = changed(BLOCKING, {"/threat": "safety", "/month": "2026-05"})
CLOSED = {
    "about safety, in the month of the run": ([], SAFETY, ["form-closed"]),
    "about safety, after the run": ([], changed(SAFETY, {"/month": "2026-06"}), []),
    "about safety, not blocking": ([], changed(SAFETY, {"/severity": "material"}), []),
    "blocking, about something else": ([], changed(BLOCKING, {"/month": "2026-05"}), []),
    "about safety, rebutted": ([changed(RESPONSE, {"/month": "2026-05"}), OUTCOME], SAFETY, []),
}


@pytest.mark.parametrize("row", CLOSED)
def test_a_run_made_while_the_form_was_closed_is_warned_of_and_counts(row, tmp_path):
    entries, objection, expected = CLOSED[row]
    root = make_repository(tmp_path)
    thread(root, {f"{i:02d}-{entry['kind']}.md": entry for i, entry in enumerate((objection, *entries))})
    repository = load_repository(root, today=TODAY)
    assert [f.code for f in repository.findings] == expected
    assert all(f.severity != ERROR for f in repository.findings) and len(repository.submissions) == 1


def test_events_do_not_run_backwards(tmp_path):
    root = make_repository(tmp_path)
    write_event(root / "protocols" / "small-rope", 4, event("retired", "1.0.0", month="2026-04"))
    found = [(f.code, f.file.rpartition("/")[2]) for f in load_repository(root, today=TODAY).findings if f.code == "month-backwards"]
    assert found == [("month-backwards", "004-retired.yaml")]


def test_two_events_that_took_one_number_are_told_with_the_free_one(tmp_path):
    root = make_repository(tmp_path)
    folder = root / "protocols" / "small-rope"
    newer = write_event(folder, 3, event("retired", "1.0.0", month="2026-06")).rename(folder / "events" / "003-aaa.yaml")
    told = load_repository(root, today=TODAY, newer={newer.relative_to(root).as_posix()}).findings
    assert ("wrong-number", "call this one 004-aaa.yaml") in {(f.code, f.cure) for f in told}
