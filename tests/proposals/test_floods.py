"""What one stranger's objections move: no form, no more than can be answered, no flaw twice."""

import itertools
from pathlib import Path

import pytest

from edgehold.records import load_repository
from edgehold.records.request.floods import ALIKE, MOST_A_MONTH, MOST_BLOCKING, likeness
from edgehold.results.publish.versions import closed_by
from tests.records.builder import changed, retraction, write_change, write_submission
from tests.records.test_objections import OBJECTION

from .house import AUK, KEEPER, LIAR, NEW, OBJECTIONS, TERN, WREN, base, bind, on_base, say
from .requests import checked, codes
from .test_identity import evening, outcome, response

ROOT = Path(__file__).parents[2]
DANGER = changed(OBJECTION, {"/threat": "safety", "/severity": "blocking", "/month": "2026-06", "/title": "The blade slips"})
FREE = "003-slips"
RAISED = f"{OBJECTIONS}/{FREE}/00-objection.md"


@pytest.fixture
def root(tmp_path):
    return base(tmp_path)


def danger(by, **changes):
    return changed(DANGER, {"/by": by} | {f"/{field}": value for field, value in changes.items()})


def closed(root, author):
    found = checked(root, author=author)
    return closed_by(found.repository, "small-rope", "1.0.0")


def raise_(root, by, account, **changes):
    bind(root, by, account)
    return say(root, FREE, 0, danger(by, **changes))


# --- what closes a form


def test_a_stranger_s_objection_about_safety_closes_no_form_and_asks_the_maintainers(root):
    path = raise_(root, "rook", LIAR)
    assert codes(root, author=LIAR) == {path: ["asks-maintainers"]}
    assert closed(root, LIAR) == ()


@pytest.mark.parametrize(("by", "account"), [("wren", WREN), ("keeper", KEEPER)])
def test_that_of_somebody_known_closes_it_and_the_maintainer_is_told(by, account, root):
    path = raise_(root, by, account)
    assert codes(root, author=account) == {path: ["closes-form"]}
    assert closed(root, account) == (3,)


@pytest.mark.parametrize("month", ["2026-05", "2026-01"])
def test_a_month_before_the_list_began_does_not_help(month, root):
    path = raise_(root, "rook", LIAR, month=month)
    assert "closes-at-once" in codes(root, author=LIAR)[path]
    assert "closes-at-once" in codes(root)[path]


def test_nor_does_a_result_of_an_earlier_month_that_the_same_request_brings(root):
    path = raise_(root, "rook", LIAR)
    write_submission(root, evening("late-1", "rook", month="2025-12") | {"protocol": {"id": "small-rope", "version": "1.0.0"}})
    assert "closes-at-once" in codes(root, author=LIAR)[path]


def test_a_later_request_that_makes_the_objector_known_is_told_for_what_it_does(root):
    on_base(root, lambda made: raise_(made, "rook", LIAR))
    write_submission(root, evening("late-1", "rook", month="2026-05"))
    assert codes(root, author=LIAR)[RAISED] == ["closes-form"]


def test_a_retracted_result_makes_nobody_known(root):
    on_base(root, lambda made: write_change(made, 1, retraction(submission="tern-1", by="tern", month="2026-05")))
    on_base(root, lambda made: write_change(made, 1, retraction(by="wren", month="2026-05")))
    path = raise_(root, "wren", WREN)
    assert codes(root, author=WREN)[path] == ["asks-maintainers"]


def test_an_objection_that_was_found_right_makes_one_known(root):
    def found_right(made):
        bind(made, "dove", NEW)
        say(made, "002-draught", 1, outcome("keeper", "upheld and unresolved"))

    on_base(root, found_right)
    path = raise_(root, "dove", NEW)
    assert codes(root, author=NEW) == {path: ["closes-form"]}


TAKING_UP = {
    "asks for evidence": lambda by: response(by, response="more evidence wanted", evidence=[]),
    "upholds it": lambda by: outcome(by, "upheld and unresolved"),
}


@pytest.mark.parametrize("how", TAKING_UP)
def test_a_maintainer_takes_it_up_and_the_form_closes(how, root):
    on_base(root, lambda made: raise_(made, "rook", NEW))
    say(root, FREE, 1, TAKING_UP[how]("keeper"))
    assert codes(root, author=KEEPER) == {RAISED: ["closes-form"]}
    assert closed(root, KEEPER) == (3,)


def test_a_stranger_s_question_takes_nothing_up(root):
    on_base(root, lambda made: raise_(made, "rook", NEW))
    say(root, FREE, 1, TAKING_UP["asks for evidence"]("wren"))
    assert codes(root, author=WREN) == {} and closed(root, WREN) == ()


def test_without_a_list_of_roles_every_one_closes_it_as_before(root):
    on_base(root, lambda made: (made / "protocols/roles.json").unlink())
    raise_(root, "rook", LIAR)
    assert codes(root, author=LIAR) == {} and closed(root, LIAR) == (3,)


def test_by_a_handle_that_is_bound_to_nobody_nothing_is_closed_whatever_it_sent_in(root):
    path = say(root, FREE, 0, danger("tern"))  # tern-1 is of an earlier month
    assert sorted(codes(root, author=LIAR)[path]) == ["acts-unbound", "asks-maintainers"]
    assert codes(root) == {path: ["asks-maintainers"]} and closed(root, LIAR) == ()
    bind(root, "tern", TERN)
    assert codes(root, author=TERN)[path] == ["closes-form"]


def test_an_alias_is_known_as_its_handle_is(root):
    on_base(
        root,
        lambda made: bind(made, "auk", AUK, shown_as="gull"),
        lambda made: write_submission(made, evening("early-1", "auk", month="2026-05")),
    )
    path = say(root, FREE, 0, danger("auk"))
    assert codes(root, author=AUK) == {path: ["closes-form"]} and closed(root, AUK) == (3,)


# --- how many


def many(root, count, by="rook", **changes):
    for number in range(3, 3 + count):
        title = " ".join(f"{word}{number}" for word in ("flaw", "stone", "rope", "thread"))
        say(root, f"{number:03d}-flaw", 0, changed(OBJECTION, {"/by": by, "/month": "2026-06", "/title": title} | changes), title)


def given(root, author):
    return sorted(code for found in codes(root, author=author).values() for code in found)


def test_as_many_as_can_be_answered_are_fine_and_the_next_is_too_many(root):
    bind(root, "rook", NEW)
    many(root, MOST_A_MONTH)
    assert codes(root, author=NEW) == {}
    many(root, MOST_A_MONTH + 1)
    assert codes(root, author=NEW) == {f"{OBJECTIONS}/{MOST_A_MONTH + 3:03d}-flaw/00-objection.md": ["too-many-objections"]}


def test_those_of_the_base_count_and_another_month_on_the_new_ones_does_not_help(root):
    on_base(root, lambda made: [bind(made, "rook", NEW), many(made, MOST_A_MONTH)])
    say(root, "008-more", 0, changed(OBJECTION, {"/by": "rook", "/month": "2026-02", "/title": "A draught"}), "Another text altogether.")
    assert given(root, NEW) == ["too-many-objections"]


def test_a_second_handle_of_the_account_does_not_help_either(root):
    for handle in ("rook", "raven"):
        bind(root, handle, NEW)
    many(root, MOST_A_MONTH + 1)
    path = f"{OBJECTIONS}/003-flaw/00-objection.md"
    (root / path).write_text((root / path).read_text().replace("by: rook", "by: raven"))
    assert given(root, NEW) == ["too-many-objections"]


def test_whoever_decides_may_send_a_whole_review(root):
    many(root, MOST_A_MONTH + 3, "keeper")
    assert codes(root, author=KEEPER) == {}


def test_sixty_blocking_ones_in_one_request_are_refused_but_for_two(root):
    bind(root, "rook", LIAR)
    many(root, 60, **{"/severity": "blocking"})
    found = given(root, LIAR)
    assert found.count("too-many-blocking") == 60 - MOST_BLOCKING and found.count("too-many-objections") == 60 - MOST_A_MONTH


@pytest.mark.parametrize(
    ("severity", "code", "most"), [("blocking", "too-many-blocking", MOST_BLOCKING), ("minor", "too-many-objections", MOST_A_MONTH)]
)
def test_under_sixty_handles_too(severity, code, most, root):
    many(root, 60, **{"/severity": severity})
    for number in range(3, 63):
        path = root / f"{OBJECTIONS}/{number:03d}-flaw/00-objection.md"
        path.write_text(path.read_text().replace("by: rook", f"by: rook-{number}"))
    assert given(root, LIAR).count(code) == 60 - most


# --- the same flaw


ONE = "The thread is tied by hand, and nobody knows how hard it was pulled: a slack thread parts at a higher force."
OTHER_WORDS = "A slack thread, tied by hand, parts at a higher force, and nobody knows how hard it was pulled this time."


@pytest.mark.parametrize("state", ["open", "decided"])
def test_a_flaw_has_one_open_thread_a_person(state, root):
    on_base(root, lambda made: [bind(made, "rook", NEW), say(made, FREE, 0, changed(OBJECTION, {"/by": "rook"}), ONE)])
    if state == "decided":
        on_base(root, lambda made: say(made, FREE, 1, outcome("rook", "withdrawn")))
    path = say(root, "004-again", 0, changed(OBJECTION, {"/by": "rook", "/title": "The thread is slack"}), OTHER_WORDS)
    assert codes(root, author=NEW) == ({path: ["similar-open"]} if state == "open" else {})


@pytest.mark.parametrize("state", ["open", "decided"])
def test_and_one_for_all_whose_thread_it_is_the_warning_says(state, root):
    on_base(root, lambda made: [bind(made, "rook", NEW), say(made, FREE, 0, changed(OBJECTION, {"/by": "rook"}), ONE)])
    if state == "decided":
        on_base(root, lambda made: say(made, FREE, 1, outcome("rook", "withdrawn")))
    path = say(root, "004-again", 0, changed(OBJECTION, {"/by": "auk", "/title": "The thread is slack"}), OTHER_WORDS)
    found = checked(root, author=AUK)
    assert [(f.file, f.code, "objection 3" in f.message, "'rook'" in f.message) for f in found.findings] == (
        [(path, "similar-open", True, True)] if state == "open" else []
    )


def test_one_that_says_whose_repetition_it_is_and_another_flaw_are_fine(root):
    on_base(root, lambda made: [bind(made, "rook", NEW), say(made, FREE, 0, changed(OBJECTION, {"/by": "rook"}), ONE)])
    say(root, "004-again", 0, changed(OBJECTION, {"/by": "rook", "/duplicate_of": 3}), OTHER_WORDS)
    say(root, "005-mine", 0, changed(OBJECTION, {"/by": "rook", "/title": "A draught", "/month": "2026-06"}), "The window is open.")
    assert codes(root, author=NEW) == {}


def test_the_demonstration_s_objections_to_one_method_are_far_from_it():
    threads = load_repository(ROOT).objections
    pairs = [(a, b) for a, b in itertools.combinations(threads, 2) if a.protocol == b.protocol]
    assert len(pairs) > 100 and max(likeness(a, b) for a, b in pairs) < 0.26 < ALIKE
