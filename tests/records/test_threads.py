"""What became of an objection, and which versions it stands against."""

import pytest

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.model.review import Objection, Outcome, Response
from edgehold.records.threads import closes_form, closing, standing, standing_against, state_of

VERSIONS = {version: LoadedProtocol(None, "", "", "") for version in ("1.0.0", "1.9.0", "1.10.0", "2.0.0")}


def objection(**changes):
    against = {"protocol": "small-rope", "version": "1.9.0", "step": "s1-prepare"}
    fields = {"against": against, "title": "The stone wears", "threat": "order", "severity": "blocking", "by": "auk", "month": "2026-03"}
    return Objection(format="objection/1.0.0", kind="objection", **fields | changes)


def outcome(word, month="2026-05"):
    return Outcome(format="objection/1.0.0", kind="outcome", outcome=word, by="tern", month=month), f"why {word}"


def revision(version, month="2026-04"):
    return Response(format="objection/1.0.0", kind="response", response="revision", revised_in=version, by="wren", month=month), "cured"


def rebuttal(month="2026-04"):
    return Response(format="objection/1.0.0", kind="response", response="rebuttal", by="wren", month=month), "not so"


def thread(*entries, number=1, **changes):
    return ObjectionThread("small-rope", number, f"{number:03d}", objection(**changes), "because", entries)


REVISED = (revision("1.10.0"), outcome("revised"))
STANDING = {
    "nothing decided": ((), ("1.9.0", "1.10.0", "2.0.0")),
    "answered, and nothing decided": ((revision("1.10.0"),), ("1.9.0", "1.10.0", "2.0.0")),
    "revised": (REVISED, ("1.9.0",)),
    "rebutted": ((rebuttal(), outcome("rebutted")), ()),
    "withdrawn": ((outcome("withdrawn"),), ()),
    "struck": ((outcome("struck"),), ()),
    "upheld and unresolved": ((outcome("upheld and unresolved"),), ("1.9.0", "1.10.0", "2.0.0")),
    "revised, opened again": ((*REVISED, rebuttal("2026-06"), outcome("open", "2026-06")), ("1.9.0", "1.10.0", "2.0.0")),
    "revised, opened again, revised later": (
        (*REVISED, rebuttal("2026-06"), outcome("open", "2026-06"), revision("2.0.0", "2026-07"), outcome("revised", "2026-08")),
        ("1.9.0", "1.10.0"),
    ),
}


@pytest.mark.parametrize("row", STANDING)
def test_an_objection_is_carried_forward_until_a_version_cures_it(row):
    entries, expected = STANDING[row]
    assert standing(thread(*entries), VERSIONS) == expected


def test_an_objection_that_names_no_version_stands_from_the_first_on():
    assert standing(thread(against={"protocol": "small-rope"}), VERSIONS) == ("1.0.0", "1.9.0", "1.10.0", "2.0.0")


def test_an_objection_to_the_analysis_stands_against_no_version():
    assert standing(thread(against={}), VERSIONS) == ()


def test_the_last_outcome_counts_with_its_reason():
    state = state_of(thread(rebuttal(), outcome("rebutted"), revision("1.10.0", "2026-06"), outcome("revised", "2026-06")))
    assert (state.state, state.by.month, state.reason, state.revised_in) == ("revised", "2026-06", "why revised", "1.10.0")
    assert not state.unsettled


def test_nothing_decided_is_open():
    state = state_of(thread(rebuttal()))
    assert (state.state, state.by, state.reason, state.revised_in) == ("open", None, "", None)


def test_one_that_repeats_another_has_its_state_unless_withdrawn_or_struck_itself():
    first = thread(*REVISED)
    again, taken_back = thread(number=2, duplicate_of=1), thread(outcome("withdrawn"), number=3, duplicate_of=1)
    threads = {1: first, 2: again, 3: taken_back}
    assert [state_of(t, threads).state for t in threads.values()] == ["revised", "revised", "withdrawn"]
    assert standing(again, VERSIONS, threads) == ("1.9.0",)
    assert state_of(thread(number=2, duplicate_of=7), threads).state == "open"


MONTHS = {"2026-02": False, "2026-03": True, "2026-04": True, "2026-05": False, "2026-06": True, "2026-07": True}


@pytest.mark.parametrize("month", MONTHS)
def test_what_stood_at_the_end_of_a_month(month):
    found = thread(rebuttal(), outcome("rebutted"), rebuttal("2026-06"), outcome("upheld and unresolved", "2026-06"))
    assert (standing(found, VERSIONS, month=month) != ()) == MONTHS[month]


def test_objections_that_stand_against_a_version_are_told_once():
    threads = [thread(number=2, duplicate_of=1), thread(), thread(*REVISED, number=3), thread(outcome("struck"), number=4)]
    assert [t.number for t in standing_against("1.9.0", threads, VERSIONS)] == [1, 3]
    assert [t.number for t in standing_against("2.0.0", threads, VERSIONS)] == [1]
    assert [t.number for t in standing_against("2.0.0", threads, VERSIONS, "2026-04")] == [1, 3, 4]
    assert standing_against("2.0.0", threads, VERSIONS, "2026-02") == ()


def test_a_danger_closes_the_form_whatever_the_objection_was_called_that_it_repeats():
    minor, again = thread(severity="minor"), thread(number=2, duplicate_of=1, threat="safety")
    assert [t.number for t in closing("2.0.0", [again, minor], VERSIONS)] == [2]
    assert closing("1.0.0", [again, minor], VERSIONS) == () == closing("9.0.0", [again, minor], VERSIONS)
    assert closing("2.0.0", [again, thread(rebuttal(), outcome("rebutted"))], VERSIONS) == ()


def test_only_a_blocking_objection_about_safety_closes_the_form():
    assert closes_form(thread(threat="safety"))
    assert not closes_form(thread(threat="safety", severity="material"))
    assert not closes_form(thread())
