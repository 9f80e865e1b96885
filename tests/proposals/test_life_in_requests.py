"""Objections and adoptions in requests: what is published stays, numbers are given once, and the base decides what came first."""

import pytest

from tests.records.builder import adopt as write_life
from tests.records.builder import (
    changed,
    event,
    make_repository,
    markdown,
    protocol,
    retraction,
    submission,
    write,
    write_change,
    write_event,
    write_submission,
)
from tests.records.test_objections import OBJECTION, OUTCOME, RESPONSE, THREAD, thread

from .requests import checked, codes, commit, git, make_base, on_base

FOLDER = "protocols/small-rope/objections"
FIRST = f"{FOLDER}/001-stone-wears"
ADOPTED = "protocols/small-rope/events/003-adopted.yaml"
BLOCKING = changed(OBJECTION, {"/severity": "blocking", "/month": "2026-05"})


@pytest.fixture
def root(tmp_path):
    """A base whose protocol has one objection, answered and decided."""
    made = make_base(tmp_path)
    on_base(made, lambda: thread(made, THREAD))
    git(made, "merge", "-q", "main")
    return made


def in_review(tmp_path):
    """A base whose protocol is in review, with a blocking objection to it raised in the month of its adoption."""
    made = make_repository(tmp_path / "made")
    (made / ADOPTED).unlink()
    thread(made, {"00-objection.md": BLOCKING})
    git(made, "init", "-q", "-b", "main")
    commit(made)
    git(made, "switch", "-q", "-c", "request")
    return made


def adopt(root, **changes):
    facts = {"by": "moot", "month": "2026-05", "pilot": "wren-1"} | changes
    write_event(root / "protocols/small-rope", 3, event("adopted", "1.0.0", **facts))


def say(root, number, record, folder=FIRST):
    return write(root / folder / f"{number:02d}-{record['kind']}.md", markdown(record, "Because.\n"))


def test_a_further_entry_is_fine(root):
    say(root, 3, changed(RESPONSE, {"/month": "2026-06", "/response": "more evidence wanted", "/evidence": []}))
    assert codes(root) == {}


@pytest.mark.parametrize("file", sorted(THREAD))
def test_a_published_entry_is_not_rewritten(root, file):
    write(root / FIRST / file, markdown(THREAD[file], "Because of something else.\n"))
    assert codes(root) == {f"{FIRST}/{file}": ["record-changed"]}


def test_nor_taken_out(root):
    (root / FIRST / "02-outcome.md").unlink()
    assert codes(root) == {f"{FIRST}/02-outcome.md": ["record-deleted"]}


def test_nor_given_another_number(root):
    git(root, "mv", f"{FIRST}", f"{FOLDER}/002-stone-wears")
    found = codes(root)
    assert all("record-renamed" in kinds or "record-deleted" in kinds for kinds in found.values()) and len(found) == 3


def test_two_requests_that_took_one_number_are_told_with_the_free_one(root):
    others = changed(OBJECTION, {"/title": "The rope is damp"})
    on_base(root, lambda: say(root, 0, others, f"{FOLDER}/002-zz-damp-rope"))
    say(root, 0, changed(OBJECTION, {"/title": "The apex is bent"}), f"{FOLDER}/002-apex-bent")
    assert codes(root) == {f"{FOLDER}/002-apex-bent/00-objection.md": ["wrong-number"]}
    (finding,) = checked(root).findings
    assert finding.message == "number 002 is taken by 002-zz-damp-rope"
    assert finding.cure == "call this one 003-apex-bent"


def test_two_requests_that_add_the_same_entry_are_told_to_take_the_next(root):
    later = changed(RESPONSE, {"/month": "2026-06", "/response": "more evidence wanted", "/evidence": []})
    on_base(root, lambda: say(root, 3, later))
    say(root, 3, changed(later, {"/by": "smew"}))
    assert codes(root) == {f"{FIRST}/03-response.md": ["path-taken"]}
    (finding,) = checked(root).findings
    assert "next free number" in finding.cure


def test_two_requests_that_add_two_kinds_of_entry_are_told_too(root):
    on_base(root, lambda: say(root, 3, changed(RESPONSE, {"/month": "2026-06", "/response": "more evidence wanted", "/evidence": []})))
    say(root, 3, changed(OUTCOME, {"/month": "2026-06", "/outcome": "upheld and unresolved"}))
    assert codes(root) == {f"{FIRST}/03-outcome.md": ["wrong-number"]}


def test_an_adoption_with_a_pilot_and_nothing_in_its_way_is_fine(tmp_path):
    root = in_review(tmp_path)
    on_base(root, lambda: [say(root, 1, changed(RESPONSE, {"/month": "2026-05"})), say(root, 2, OUTCOME)])
    git(root, "merge", "-q", "main")
    adopt(root)
    assert codes(root) == {}


def test_an_adoption_is_refused_while_the_base_has_a_blocking_objection_even_of_the_same_month(tmp_path):
    root = in_review(tmp_path)
    adopt(root)
    assert codes(root) == {ADOPTED: ["adopted-despite-objection"]}


def test_also_where_the_same_request_decides_it(tmp_path):
    root = in_review(tmp_path)
    say(root, 1, changed(RESPONSE, {"/month": "2026-05"}))
    say(root, 2, OUTCOME)
    adopt(root)
    assert codes(root) == {ADOPTED: ["adopted-despite-objection"]}


def test_an_adoption_on_a_pilot_that_was_retracted_is_refused(tmp_path):
    root = make_base(tmp_path, adopted=False)
    made = root / "protocols/small-rope"
    on_base(root, lambda: [write_life(made), write_change(root, 1, retraction(month="2026-05"))])
    git(root, "merge", "-q", "main")
    adopt(root)
    assert codes(root) == {ADOPTED: ["wrong-pilot", "cites-gone"]}


def test_an_adoption_for_the_demonstration_names_a_pilot_from_now_on(tmp_path):
    root = in_review(tmp_path)
    invented = {"/origin": "simulated", "/id": "demo-1", "/blades/0/steel/designation": "demo-plain-carbon", "/blades/0/key": "demo.galley"}
    blade = {f"/preparations/{i}/blade": "demo.galley" for i in (0, 1)}
    record = submission(invented | blade)
    on_base(root, lambda: write_submission(root, record))
    git(root, "merge", "-q", "main")
    decide = [changed(RESPONSE, {"/month": "2026-05"}), OUTCOME]
    on_base(root, lambda: [say(root, number, entry) for number, entry in enumerate(decide, 1)])
    git(root, "merge", "-q", "main")
    adopt(root, pilot=None, evidence="adopted for the demonstration")
    assert codes(root) == {ADOPTED: ["no-pilot", "no-measured-pilot"]}
    adopt(root, pilot="demo-1")
    assert codes(root) == {ADOPTED: ["no-measured-pilot"]}


def test_an_objection_is_not_dated_back_before_an_adoption_that_it_would_have_stopped(root):
    record = changed(BLOCKING, {"/month": "2026-04"})
    path = say(root, 0, record, f"{FOLDER}/002-back").relative_to(root).as_posix()
    assert codes(root) == {path: ["month-backwards"], ADOPTED: ["adopted-despite-objection"]}
    say(root, 0, changed(BLOCKING, {"/month": "2026-06"}), f"{FOLDER}/002-back")
    assert codes(root) == {}


def test_nor_is_what_opens_one_again(tmp_path):
    root = make_base(tmp_path)
    decided = [changed(BLOCKING, {"/month": "2026-01"}), changed(RESPONSE, {"/month": "2026-02"}), changed(OUTCOME, {"/month": "2026-02"})]
    on_base(root, lambda: [say(root, number, record) for number, record in enumerate(decided)])
    git(root, "merge", "-q", "main")
    for month, expected in (("2026-04", ["month-backwards"]), ("2026-05", None), ("2026-06", None)):
        say(root, 3, changed(RESPONSE, {"/month": month, "/by": "smew", "/response": "more evidence wanted", "/evidence": []}))
        say(root, 4, changed(OUTCOME, {"/month": month, "/outcome": "open"}))
        assert codes(root).get(f"{FIRST}/04-outcome.md") == expected


def test_a_draft_may_be_rewritten_and_a_released_version_may_not(tmp_path):
    root = make_base(tmp_path)
    later = protocol({"/version": "1.1.0", "/reading/repeats": 3, "/changes": "three values"})
    draft = root / "protocols/small-rope/1.1.0.md"
    on_base(root, lambda: write(draft, markdown(later, "\n## The method\n\n### s1-prepare\n\nSharpen.\n")))
    git(root, "merge", "-q", "main")
    write(draft, markdown(later, "\n## The method\n\n### s1-prepare\n\nFlatten the apex, then sharpen.\n"))
    assert codes(root) == {}
