"""Grades of evidence: what gives each, what does not, and that they look at no value and at no person."""

import itertools

import pytest

from edgehold.records import load_repository
from edgehold.records.grades import CHECKS, KINDS, RULES, grade_of, graded

from .builder import TODAY, changed, make_repository, retraction, submission, write_change, write_person
from .test_plan_seals import reference, sealed, write_seal

FILM = "0" * 64
CODED = {
    f"/runs/{run}/{name}": value
    for run in (0, 1)
    for name, value in (("blinding", "helper coded"), ("tester_guess", {"sharpener": "tern", "confidence_percent": 50}))
}
FILMED = {"/runs/0/film": FILM, "/runs/1/film": FILM}
STRANGER = {"/id": "dove-1", "/submitted_by": "dove", "/runs/0/tester": "dove", "/runs/1/tester": "dove"}
PEOPLE = ("wren", "tern", "dove")


def reference_edge(when, segment):
    run = submission()["runs"][0]
    of_run = {name: run[name] for name in ("tester", "work_unit", "reading_unit")}
    readings = [run["readings"][0]]
    return of_run | {"when": when, "evening": 1, "pack": "wren.pack", "segment": f"wren.{segment}", "readings": readings}


def framed(*when):
    edges = [reference_edge(one, f"segment-{n}") for n, one in enumerate(when)]
    return {"/references": edges, "/lots": [*(submission().get("lots") or []), {"key": "wren.pack", "use": "reference edges"}]}


def own(**changes):
    return submission({"/format": "submission/1.6.0"} | changes)


def stranger(**changes):
    """The same blade and sharpeners, read by somebody else, who sends it in; their readings are others."""
    made = changed(submission({"/format": "submission/1.6.0"}), STRANGER)
    made["people"] = [{"handle": handle, "agreed": "yes"} for handle in PEOPLE]
    for value in (value for run in made["runs"] for reading in run["readings"] for value in reading["values"]):
        value["written"] = float(value["written"]) * 1.7 if not isinstance(value["written"], str) else value["written"]
    return changed(made, changes)


def grade(root, *records, bound=("wren", "dove"), plan=None):
    make_repository(root, submissions=list(records))
    for number, handle in enumerate(bound):
        write_person(root, handle, format="person/1.1.0", account=str(number + 1))
    if plan is not None:
        write_seal(root, plan)
    repository = load_repository(root, today=TODAY)
    assert repository.errors == ()
    return graded(repository)["wren-1"]


@pytest.mark.parametrize(
    ("changes", "kinds"),
    [
        ({}, ()),
        (CODED, ("guesses",)),
        (CODED | {"/runs/1/tester_guess": None}, ()),
        (CODED | {"/runs/0/tester_guess": {"confidence_percent": 50}}, ()),
        (CODED | {"/runs/0/blinding": "none"}, ()),
        (FILMED, ("films",)),
        ({"/runs/0/film": FILM}, ()),
        (framed("start", "end"), ("references",)),
        (framed("start"), ()),
        (framed("start", "end") | {"/runs/0/evening": 2, "/runs/1/evening": 2}, ()),
    ],
)
def test_what_one_tester_puts_beside_the_readings_counts_only_where_it_is_whole(changes, kinds, tmp_path):
    found = grade(tmp_path, own(**changes))
    assert (found.kinds, found.grade) == (kinds, 2 if kinds else 1)
    codes = [reason.code for reason in (*found.why, *found.raised_by)]
    wanted = [f"grades.has_{kind}" for kind in kinds] or ["grades.has_none"]
    assert codes == [*wanted, "grades.wants_sealed" if kinds else "grades.wants_check", "grades.even_now"]


def test_a_seal_that_held_gives_three_and_one_that_did_not_or_was_not_followed_gives_nothing(tmp_path):
    plan = sealed()
    assert grade(tmp_path / "a", own(**{"/plan": reference(plan)}), plan=plan).grade == 3
    assert grade(tmp_path / "b", own(**{"/plan": reference(plan)})).grade == 1
    broken = reference(plan) | {"opened": plan | {"seed": 5}}
    assert grade(tmp_path / "c", own(**{"/plan": broken}), plan=plan).grade == 1
    other = sealed({"/runs/0/sharpener": "tern", "/runs/1/sharpener": "wren"})
    assert grade(tmp_path / "d", own(**{"/plan": reference(other)}), plan=other).grade == 1


def test_a_blade_that_a_stranger_read_gives_four_whatever_was_read(tmp_path):
    found = grade(tmp_path, own(), stranger())
    assert (found.grade, found.read_in) == (4, ("dove-1",))
    assert [reason.code for reason in found.raised_by] == ["grades.wants_check", "grades.wants_sealed"]


NO_STRANGER = {
    "tested by the same person": {"/runs/0/tester": "wren"},
    "sent in by the same person": {"/submitted_by": "wren"},
    "sent in by the other's tester": {"/submitted_by": "tern", "/runs/0/tester": "wren"},
}


@pytest.mark.parametrize("how", NO_STRANGER)
def test_nobody_is_a_stranger_who_has_a_part_in_both(how, tmp_path):
    assert grade(tmp_path, own(), stranger(**NO_STRANGER[how])).grade == 1


@pytest.mark.parametrize("bound", [(), ("wren",), ("dove",)])
def test_two_handles_without_two_accounts_may_be_one_person_s(bound, tmp_path):
    found = grade(tmp_path, own(**CODED), stranger(), bound=bound)
    assert found.grade == 2 and found.read_in == ()
    assert [reason.code for reason in found.raised_by] == ["grades.wants_sealed", "grades.even_now"]
    assert found.raised_by[1].arguments["wants"] != grade(tmp_path / "alone", own(**CODED)).raised_by[1].arguments["wants"]


def test_handles_of_one_account_are_no_strangers(tmp_path):
    make_repository(tmp_path, submissions=[own(), stranger()])
    for handle in ("wren", "dove"):
        write_person(tmp_path, handle, format="person/1.1.0", account="7")
    assert graded(load_repository(tmp_path, today=TODAY))["wren-1"].grade == 1


def test_all_of_it_is_the_highest_and_asks_for_nothing(tmp_path):
    plan = sealed()
    found = grade(tmp_path, own(**CODED | {"/plan": reference(plan)}), stranger(), plan=plan)
    assert (found.grade, found.kinds, found.raised_by) == (5, ("guesses", "sealed", "travelled"), ())


def test_a_retracted_file_lends_nothing_and_has_no_grade(tmp_path):
    make_repository(tmp_path, submissions=[own(), stranger()])
    write_change(tmp_path, 1, retraction(submission="dove-1", by="dove", month="2026-05"))
    found = graded(load_repository(tmp_path, today=TODAY))
    assert found["wren-1"].grade == 1 and "dove-1" not in found


def test_more_evidence_never_lowers_a_grade_and_what_is_lacking_raises_it_by_one():
    every = [frozenset(some) for n in range(len(KINDS) + 1) for some in itertools.combinations(KINDS, n)]
    for kinds in every:
        grade_now, lacks = grade_of(kinds)
        assert all(grade_of(kinds | {kind})[0] >= grade_now for kind in KINDS)
        for chosen in itertools.product(*map(sorted, lacks)):
            assert grade_of(kinds | set(chosen))[0] > grade_now or grade_now == 5
    assert {grade_of(kinds)[0] for kinds in every} == {1, 2, 3, 4, 5} == {grade for grade, _ in RULES}
    assert {grade_of([kind])[0] for kind in CHECKS} == {2}
