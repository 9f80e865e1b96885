"""Aliases and several handles of one person: what every later stage sees, and what is refused."""

import json
import typing

import pytest
from pydantic import BaseModel

from edgehold.records import load_repository
from edgehold.records.model.base import Handle, Key
from edgehold.records.model.submission import Submission
from edgehold.records.names import KEY_FIELDS, PERSON_FIELDS, Names

from .builder import TODAY, event, make_repository, markdown, second, submission, write, write_event, write_person, write_submission
from .test_objections import OBJECTION, OUTCOME, RESPONSE


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path, [submission(), second()])


def read(root):
    return load_repository(root, today=TODAY)


def codes(root):
    return [(f.file.rpartition("/")[2], f.pointer, f.code) for f in read(root).findings]


def test_an_alias_stands_for_a_handle_everywhere(root):
    note = "Wren held the coil; a wren-like bird sang, wren.coil was damp."
    write_submission(root, submission({"/note": note, "/blades/0/interest": [{"person": "wren", "interest": "owner"}]}))
    write_person(root, "wren", shown_as="heron")
    repository = read(root)
    assert [code for _, _, code in codes(root)] == ["handle-in-id"]
    for loaded in repository.submissions:
        assert all(run.tester == "heron" and run.blade == "heron.galley" and run.lot == "heron.coil" for run in loaded.runs)
        assert {run.steel for run in loaded.runs} == {"aisi-1095"}
    first = next(s.record for s in repository.submissions if s.record.id == "wren-1")
    assert [p.handle for p in first.people] == ["heron", "tern"] and first.submitted_by == "heron"
    assert first.blades[0].interest[0].person == "heron" and first.instruments[0].key == "heron.scale"
    assert first.note == "heron held the coil; a wren-like bird sang, heron.coil was damp."


def test_events_and_objections_show_the_alias(root):
    write_event(root / "protocols/small-rope", 4, event("retired", "1.0.0", month="2026-07", by="wren"))
    folder = root / "protocols/small-rope/objections/001-stone-wears"
    write(folder / "00-objection.md", markdown(OBJECTION | {"by": "wren"}, "Said by wren.\n"))
    write(folder / "01-response.md", markdown(RESPONSE, "wren is right.\n"))
    write_person(root, "wren", shown_as="heron")
    repository = read(root)
    (thread,) = repository.objections
    assert repository.events["small-rope"][-1].by == "heron"
    assert (thread.objection.by, thread.statement, thread.entries[0][1]) == ("heron", "Said by heron.", "heron is right.")


def test_a_published_seal_and_the_opened_plan_show_the_alias(root):
    version = {"id": "small-rope", "version": "1.0.0"}
    seal = {
        "format": "plan-seal/1.0.0",
        "id": "evening-7",
        "protocol": version,
        "origin": "measured",
        "sha256": "0" * 64,
        "month": "2026-04",
    }
    write(root / "submissions/plans/evening-7.json", json.dumps(seal | {"by": "wren"}))
    runs = [{"order": 1, "block": 1, "blade": "wren.galley", "sharpener": "tern", "tester": "wren"}]
    plan = {"format": "plan/1.0.0", "id": "evening-8", "protocol": version, "month": "2026-05", "seed": 1, "blinding": "none", "runs": runs}
    write_submission(root, submission({"/plan": {"id": "evening-8", "opened": plan | {"coder": "wren"}}}))
    write_person(root, "wren", shown_as="heron")
    repository = read(root)
    opened = next(s.record.plan.opened for s in repository.submissions if s.record.id == "wren-1")
    assert [s.by for s in repository.seals] == ["heron"]
    assert (opened.coder, opened.runs[0].tester, opened.runs[0].blade) == ("heron", "heron", "heron.galley")
    write_person(root, "auk", shown_as="wren")
    assert "alias-chain" in [code for _, _, code in codes(root)]


def test_two_handles_are_one_person_once_both_say_so(root):
    write_person(root, "wren", same_person=["tern"])
    assert codes(root) == [("wren.json", "/same_person/0", "same-person-unconfirmed")]
    assert {run.sharpener for s in read(root).submissions for run in s.runs} == {"wren", "tern"}
    write_person(root, "tern", same_person=["wren"])
    repository = read(root)
    assert codes(root) == []
    for loaded in repository.submissions:
        assert {(run.sharpener, run.tester, run.own_sharpening) for run in loaded.runs} == {("tern", "tern", True)}
        assert [p.handle for p in loaded.record.people] == ["tern"]
        assert {run.blade for run in loaded.runs} == {"wren.galley"}, "two people's blades of one name stay two blades"


def test_one_person_under_several_handles_is_shown_by_the_alias(root):
    write_person(root, "wren", same_person=["tern"], shown_as="heron")
    write_person(root, "tern", same_person=["wren"])
    assert {(run.sharpener, run.tester, run.blade) for s in read(root).submissions for run in s.runs} == {
        ("heron", "heron", "heron.galley")
    }


def test_three_handles_of_one_person_need_not_all_name_each_other(root):
    write_person(root, "wren", same_person=["tern"])
    write_person(root, "tern", same_person=["wren", "auk"])
    write_person(root, "auk", same_person=["tern"])
    assert read(root).names.people == {"tern": "auk", "wren": "auk"}


def test_nobody_decides_on_an_objection_of_their_own_under_another_handle(root):
    folder = root / "protocols/small-rope/objections/001-stone-wears"
    write(folder / "00-objection.md", markdown(OBJECTION | {"by": "gull"}, "Because.\n"))
    write(folder / "01-response.md", markdown(RESPONSE, "Because.\n"))
    write(folder / "02-outcome.md", markdown(OUTCOME | {"by": "skua"}, "Because.\n"))
    assert "not-impartial" not in [code for _, _, code in codes(root)]
    write_person(root, "gull", same_person=["skua"])
    write_person(root, "skua", same_person=["gull"])
    assert ("02-outcome.md", "/by", "not-impartial") in codes(root)


@pytest.mark.parametrize("alias", ["tern", "wren"])
def test_an_alias_is_nobodys_handle(alias, root):
    write_person(root, "auk", shown_as=alias)
    assert codes(root) == [("auk.json", "/shown_as", "alias-taken")]


def test_the_owner_of_a_blade_has_that_handle(root):
    write_submission(root, submission({"/blades/0/batch": "petrel.heat-7"}))
    write_person(root, "auk", shown_as="petrel")
    assert codes(root) == [("auk.json", "/shown_as", "alias-taken")]


def test_two_people_may_not_share_an_alias_and_one_person_may(root):
    write_person(root, "auk", shown_as="heron")
    write_person(root, "gull", shown_as="heron")
    assert [code for _, _, code in codes(root)] == ["alias-taken", "alias-taken"]
    write_person(root, "auk", shown_as="heron", same_person=["gull"])
    write_person(root, "gull", shown_as="heron", same_person=["auk"])
    assert codes(root) == []


@pytest.mark.parametrize("alias", ["gull", "auk"], ids=["another's file", "the handle itself"])
def test_an_alias_leads_nowhere_else(alias, root):
    write_person(root, "auk", shown_as=alias)
    write_person(root, "gull", shown_as="heron")
    assert codes(root) == [("auk.json", "/shown_as", "alias-chain")]


@pytest.mark.parametrize(("name", "expected"), [("con", "reserved-id"), ("Wren", "wrong-case"), ("a", "unexpected-file")])
def test_a_handles_file_has_a_name_that_every_system_can_keep(name, expected, root):
    write_person(root, name)
    assert [code for _, _, code in codes(root)] == [expected]


def test_the_name_of_the_file_is_the_handle(root):
    write_person(root, "auk", handle="gull")
    assert [code for _, _, code in codes(root)] == ["path-disagrees"]


def test_a_text_is_changed_at_whole_handles_only():
    names = Names(aliases={"wren": "heron", "wren-two": "egret"})
    assert names.text("wren, wrens, wren-two, jenny-wren, WREN.") == "heron, wrens, egret, jenny-wren, heron."


def _fields(model: type[BaseModel], seen: set[type]):
    """Name and annotation of every field in a record and in all records inside it."""
    seen.add(model)
    for name, annotation in typing.get_type_hints(model, include_extras=True).items():
        if name in model.model_fields:
            yield name, annotation
            for inner in _models(annotation):
                if inner not in seen:
                    yield from _fields(inner, seen)


def _models(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in typing.get_args(annotation):
        yield from _models(part)


def test_every_handle_and_key_of_a_submission_is_known_to_be_one():
    def holds(annotation, kind):
        return annotation == kind or any(holds(part, kind) for part in typing.get_args(annotation) if annotation != kind)

    fields = list(_fields(Submission, set()))
    assert {name for name, annotation in fields if holds(annotation, Handle)} == PERSON_FIELDS
    assert {name for name, annotation in fields if holds(annotation, Key)} == KEY_FIELDS
