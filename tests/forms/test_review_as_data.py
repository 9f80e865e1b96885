"""What the forms about objections and protocols know: the text of every finding, nothing that was struck, "simulated" where it belongs."""

from __future__ import annotations

import json

import pytest

from edgehold.forms.review import KINDS
from edgehold.records.codes import CODES
from tests.forms.review_corpus import THREADS, objection, put, rules_of, write_repository
from tests.records.builder import event, write_event


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return write_repository(tmp_path_factory.mktemp("reviews"))


@pytest.fixture(scope="module")
def rules(root):
    return rules_of(root)


def entries_of(form: dict) -> list[dict]:
    parts = [form, *form.get("threads", ())]
    parts += [part for target in form.get("targets", {}).values() for part in (target, *target["versions"])]
    return [entry for part in parts for entry in part["table"]]


def test_every_rule_has_the_texts_of_its_code_as_the_check_says_them(rules):
    for kind in KINDS:
        used = {entry["code"] for entry in entries_of(rules[kind])}
        assert used and used <= set(rules[kind]["messages"])
    for form in rules.values():
        assert all(text["meaning"] == CODES[code].meaning for code, text in form["messages"].items())


def test_nothing_of_a_struck_objection_is_in_the_forms(rules):
    text = json.dumps(rules)
    assert "struck" in text and "Struck" not in text
    assert 5 not in [number for number, _ in rules["objection"]["targets"]["small-rope"]["repeatable"]]
    assert 5 not in [thread["number"] for thread in rules["response"]["threads"]]


def test_an_invented_objection_says_so_wherever_it_can_be_chosen(tmp_path):
    root = write_repository(tmp_path)
    put(root, f"{THREADS}/010-invented", (objection(title="Invented", simulated=True),))
    rules = rules_of(root)
    assert [10, "Invented, simulated"] in rules["objection"]["targets"]["small-rope"]["repeatable"]
    assert [t["title"] for t in rules["outcome"]["threads"] if t["number"] == 10] == ["Invented, simulated"]


def test_the_next_number_is_the_next_one_free(rules):
    assert {name: target["next"] for name, target in rules["objection"]["targets"].items()} == {"analysis": 2, "small-rope": 10}
    nexts = {(t["protocol"], t["number"]): t["next"] for t in rules["response"]["threads"]}
    assert nexts[("small-rope", 1)] == 1 and nexts[("small-rope", 7)] == 4


def test_a_draft_starts_from_versions_that_are_not_retired_with_all_their_text(tmp_path):
    root = write_repository(tmp_path)
    write_event(root / "protocols" / "small-rope", 5, event("retired", "1.0.0", month="2026-06", by="guild"))
    form = rules_of(root)["protocol"]
    assert [(source["id"], source["version"]) for source in form["sources"]] == [("small-rope", "1.1.0"), ("my-method", "1.0.0")]
    assert form["sources"][0]["text"] == (root / "protocols/small-rope/1.1.0.md").read_text(encoding="utf-8")
    assert sorted(form["known"]["small-rope"]) == ["1.0.0", "1.1.0"] and "new" in form["reserved"]
