"""Acts in somebody's name, over real git repositories: each as the liar, red or warned by name, and as the honest person, green."""

import hashlib
import json
import re
from pathlib import Path

import pytest

from edgehold.cli import main
from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.codes import CODES
from edgehold.records.request.acts import kind_of
from edgehold.records.request.against import check_proposal
from edgehold.records.request.report import request_json, request_text
from tests.records.builder import (
    TODAY,
    changed,
    correction,
    event,
    markdown,
    protocol,
    retraction,
    submission,
    write,
    write_change,
    write_event,
    write_protocol,
    write_submission,
    write_tombstone,
)
from tests.records.builder import adopt as write_life
from tests.records.test_objections import OBJECTION, OUTCOME, RESPONSE
from tests.records.test_plan_seals import sealed, write_seal

from .house import AUK, KEEPER, LIAR, LIST, NEW, ROLES, TERN, WREN, appoint, base, bind, carry, on_base, other, say
from .requests import BASE, checked, codes, git, make_base

FOLDER = "protocols/small-rope"
OWN, OTHERS, FREE = "001-stone-wears", "002-draught", "003-new"


@pytest.fixture
def root(tmp_path):
    return base(tmp_path)


def evening(name, by, **changes):
    """A third evening, sent in by ``by`` who cut and sharpened it alone, on a blade of its own."""
    runs = {f"/runs/{i}/{field}": value for i in (0, 1) for field, value in (("tester", by), ("lot", None), ("instrument", None))}
    edges = {f"/preparations/{i}/{field}": value for i in (0, 1) for field, value in (("sharpener", by), ("blade", f"{by}.galley"))}
    people = [{"handle": by, "agreed": "yes"}]
    mine = {"/id": name, "/submitted_by": by, "/people": people, "/blades/0/key": f"{by}.galley", "/lots": [], "/instruments": []}
    return submission(mine | {"/month": "2026-06"} | edges | runs | {f"/{place}": value for place, value in changes.items()})


def objection(by="rook", **changes):
    return changed(OBJECTION, {"/by": by, "/month": "2026-06"} | {f"/{field}": value for field, value in changes.items()})


def outcome(by, what, month="2026-06"):
    return changed(OUTCOME, {"/by": by, "/outcome": what, "/month": month})


def response(by, **changes):
    return changed(RESPONSE, {"/by": by, "/month": "2026-06"} | {f"/{field}": value for field, value in changes.items()})


# --- the acts: what is written, whose handle it bears, and the account that it is


def sends(root, by="wren", name="late-1"):
    write_submission(root, evening(name, by))


def retracts(root, by="wren"):
    write_change(root, 1, retraction(by=by))


def halves(root, by="wren"):
    write_change(root, 1, correction(("/runs/0/readings/0/values/0/written", 1.0, 0.5), by=by, why="misread"))


def withdraws(root, by="auk", folder=OWN):
    say(root, folder, 1, outcome(by, "withdrawn"))


def objects(root, by="wren", **changes):
    say(root, FREE, 0, objection(by, title="Another flaw", **changes))


def responds(root, by="wren"):
    say(root, OWN, 1, response(by))


def strikes(root, by="keeper"):
    say(root, OWN, 1, outcome(by, "struck"))


def rebuts(root, by="keeper"):
    say(root, OWN, 1, response("wren", month="2026-05"))
    say(root, OWN, 2, outcome(by, "rebutted"))


def upholds(root, by="keeper"):
    say(root, OWN, 1, outcome(by, "upheld and unresolved"))


def retires(root, by="keeper", month="2026-06"):
    write_event(root / FOLDER, 4, event("retired", "1.0.0", by=by, month=month, evidence="see the objections"))


def releases(root, by="wren"):
    later = protocol({"/version": "1.1.0", "/reading/repeats": 3, "/changes": "three values"})
    written = write_protocol(root, later)
    write_event(root / FOLDER, 4, event("released", "1.1.0", by=by, month="2026-06", sha256=_hash(written)))


def _hash(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def seals(root, by="wren"):
    write_seal(root, sealed(), by=by)


def renames(root, handle="wren", account=WREN):
    bind(root, handle, account, shown_as="heron")


ACTS = {
    "sends in a result": (sends, WREN),
    "retracts a result": (retracts, WREN),
    "halves a reading": (halves, WREN),
    "objects": (objects, WREN),
    "answers": (responds, WREN),
    "withdraws an objection": (withdraws, AUK),
    "strikes an objection": (strikes, KEEPER),
    "upholds an objection": (upholds, KEEPER),
    "retires an adopted version": (retires, KEEPER),
    "releases a version": (releases, WREN),
    "seals a plan": (seals, WREN),
    "shows a handle otherwise": (renames, WREN),
}


def severities(root, author):
    return {finding.code: finding.severity for finding in checked(root, author=author).findings}


@pytest.mark.parametrize("act", ACTS)
def test_a_liar_who_acts_by_somebody_s_handle_is_refused_by_name(act, root):
    done, account = ACTS[act]
    done(root)
    found = checked(root, author=LIAR)
    (finding,) = (f for f in found.findings if f.code == "not-your-handle")
    assert finding.severity == "error" and f"account {account}, by account {LIAR}" in finding.message


@pytest.mark.parametrize("act", ACTS)
def test_whose_handle_it_is_does_the_same_and_nothing_is_found(act, root):
    done, account = ACTS[act]
    done(root)
    allowed = {renames: {"handle-in-id"}, releases: {"anothers-method"}}.get(done, set())
    assert {code for found in codes(root, author=account).values() for code in found} <= allowed


@pytest.mark.parametrize("act", ACTS)
def test_without_an_author_nothing_is_said_of_whose_it_is(act, root):
    done, _ = ACTS[act]
    done(root)
    assert {code for found in codes(root).values() for code in found} <= {"handle-in-id", "person-file"}
    assert checked(root).author is None


TERNS = {"submission": "tern-1", "by": "tern"}
UNBOUND = {
    "sends in tern's": (lambda root: sends(root, "tern"), "sends in late-1 in the name of tern"),
    "retracts tern's": (lambda root: write_change(root, 1, retraction(**TERNS)), "retracts tern-1 in the name of tern"),
    "withdraws dove's": (lambda root: withdraws(root, "dove", OTHERS), "withdraws objection 002 to small-rope in the name of dove"),
    "objects as dove": (lambda root: objects(root, "dove"), "raises objection 003 to small-rope in the name of dove"),
    "answers as nobody": (lambda root: responds(root, "rook"), "responds to objection 001 to small-rope in the name of rook"),
    "seals as tern": (lambda root: seals(root, "tern"), "seals the plan wren-plan in the name of tern"),
}  # fmt: skip


@pytest.mark.parametrize("act", UNBOUND)
def test_by_a_handle_that_is_nobody_s_the_act_is_named_with_the_account(act, root):
    done, said = UNBOUND[act]
    done(root)
    (finding,) = (f for f in checked(root, author=LIAR).findings if f.code == "acts-unbound")
    assert finding.severity == "warning" and finding.message.startswith(f"{said}, by account {LIAR}")


def test_the_cure_is_the_file_that_binds_the_handle_and_with_it_nothing_is_found(root):
    objects(root, "rook")
    (finding,) = checked(root, author=NEW).findings
    path, _, text = finding.cure.removeprefix("if it is yours, add ").partition(" to this request: ")
    write(root / path, text)
    assert (path, json.loads(text)["account"]) == ("submissions/people/rook.json", NEW)
    assert codes(root, author=NEW) == {}


def test_four_results_in_four_names_are_four_findings(root):
    for number, by in enumerate(("wren", "auk", "tern", "dove")):
        sends(root, by, f"late-{number}")
    found = codes(root, author=LIAR)
    assert sorted(code for given in found.values() for code in given) == ["acts-unbound"] * 2 + ["not-your-handle"] * 2


# --- binding


def test_a_newcomer_binds_a_handle_with_the_first_result(root):
    sends(root, "rook")
    bind(root, "rook", NEW)
    assert codes(root, author=NEW) == {}
    assert not checked(root, author=NEW).whole  # and the check reads no more than for a result alone


def test_a_handle_is_bound_to_nobody_else_s_account(root):
    path = bind(root, "rook", NEW)
    assert codes(root, author=LIAR) == {path: ["binding-other"]}


def test_nor_later_to_another(root):
    path = bind(root, "wren", LIAR)
    for author in (LIAR, WREN, KEEPER, None):
        assert "rebound" in codes(root, author=author)[path]


def test_nor_set_free_by_a_file_without_it_or_without_a_file(root):
    path = bind(root, "wren", WREN)
    write(root / path, json.dumps({"format": "person/1.1.0", "handle": "wren"}))
    assert codes(root, author=WREN) == {path: ["rebound"]}
    (root / path).unlink()
    assert codes(root, author=WREN) == {path: ["rebound"]}


def test_nor_given_to_another_handle(root):
    git(root, "mv", "submissions/people/wren.json", "submissions/people/rook.json")
    bind(root, "rook", WREN)
    found = codes(root, author=WREN)
    assert any("rebound" in given for given in found.values())


def test_a_handle_that_is_in_use_is_bound_with_a_warning_that_says_where(root):
    path = bind(root, "tern", LIAR)
    assert codes(root, author=LIAR) == {path: ["binds-handle"]}
    (finding,) = checked(root, author=LIAR).findings
    assert finding.severity == "warning"
    assert finding.message == (
        f"binds tern, which stands in 2 files of the base, the first submissions/measured/small-rope/tern-1.json, to account {LIAR}"
    )


def test_its_owner_gets_the_same_warning_and_goes_on_by_it(root):
    path = bind(root, "tern", TERN)
    write_change(root, 1, retraction(submission="tern-1", by="tern"))
    assert codes(root, author=TERN) == {path: ["binds-handle"]}


def test_an_objector_s_handle_is_in_use_too(root):
    assert codes(root, author=LIAR) == {}
    path = bind(root, "dove", LIAR)
    withdraws(root, "dove", OTHERS)
    assert codes(root, author=LIAR) == {path: ["binds-handle"]}


@pytest.mark.parametrize("handle", ["moot", "demo"])
def test_a_handle_of_the_demonstration_is_nobody_s(handle, root):
    invented = {"/origin": "simulated", "/blades/0/steel/designation": "demo-plain-carbon"}
    on_base(root, lambda made: write_submission(made, changed(evening("demo-1", "demo"), invented)))
    path = bind(root, handle, NEW)
    assert codes(root, author=NEW) == {path: ["invented-handle"]}


def test_what_is_said_of_a_free_handle_is_named_and_waits_for_the_maintainer(root):
    path = "submissions/people/tern.json"
    write(root / path, json.dumps({"format": "person/1.1.0", "handle": "tern", "shown_as": "gull"}))
    assert sorted(codes(root, author=LIAR)[path]) == ["acts-unbound", "handle-in-id", "person-file"]


def test_two_handles_of_one_account_are_one_person_and_decide_nothing_about_each_other(root):
    both = LIST | {"roles": [*LIST["roles"], {"handle": "warden", "may": ["decide"], "since": "2026-06"}]}
    on_base(root, lambda made: bind(made, "warden", KEEPER), lambda made: appoint(made, both))
    objects(root, "keeper")
    path = say(root, FREE, 1, outcome("warden", "upheld and unresolved"))
    assert codes(root, author=KEEPER) == {path: ["not-impartial"]}


# --- roles


NEWCOMERS = {
    "strikes": lambda root: strikes(root, "rook"),
    "upholds": lambda root: upholds(root, "rook"),
    "retires": lambda root: retires(root, "rook"),
    "retires in a month before the list began": lambda root: retires(root, "rook", "2026-05"),
    "retracts another's result": lambda root: retracts(root, "rook"),
    "halves another's reading": lambda root: halves(root, "rook"),
    "takes a result out": lambda root: [
        write_tombstone(root, "tern-1"), (root / "submissions/measured/small-rope/tern-1.json").unlink()
    ],
}  # fmt: skip


@pytest.mark.parametrize("act", NEWCOMERS)
def test_a_newcomer_s_own_handle_has_no_role(act, root):
    bind(root, "rook", NEW)
    NEWCOMERS[act](root)
    assert severities(root, NEW)["no-role"] == "error"


@pytest.mark.parametrize("act", [act for act in NEWCOMERS if act != "takes a result out"])  # a tombstone has no handle
def test_nor_has_a_handle_that_never_occurred_where_no_author_is_known(act, root):
    NEWCOMERS[act](root)
    assert severities(root, None)["no-role"] == "error"


def test_a_handle_with_another_role_has_not_this_one(root):
    bound = LIST | {"roles": [*LIST["roles"], {"handle": "wren", "may": ["decide"], "since": "2026-06"}]}
    on_base(root, lambda made: appoint(made, bound))
    strikes(root, "wren")
    assert severities(root, WREN) == {"no-role": "error"}


def test_nor_has_one_whose_role_has_ended_or_not_begun(root):
    for months in ({"since": "2026-01", "until": "2026-05"}, {"since": "2026-07"}):
        listed = LIST | {"roles": [*LIST["roles"], {"handle": "wren", "may": ["strike"]} | months]}
        on_base(root, lambda made, listed=listed: appoint(made, listed))
        strikes(root, "wren")
        assert severities(root, WREN) == {"no-role": "error"}


def test_the_maintainer_takes_out_and_retracts_what_others_sent(root):
    write_tombstone(root, "tern-1")
    (root / "submissions/measured/small-rope/tern-1.json").unlink()
    retracts(root, "keeper")
    assert severities(root, KEEPER) == {"taken-out": "warning", "by-somebody-else": "warning"}


def test_anybody_begins_a_method_and_puts_it_up_for_review(root):
    write_protocol(root, protocol({"/id": "other-rope"}))
    write_life(root / "protocols" / "other-rope")
    for path in sorted((root / "protocols/other-rope/events").iterdir()):
        path.write_text(path.read_text().replace("by: board", "by: rook"))
    bind(root, "rook", NEW)
    assert codes(root, author=NEW) == {}


@pytest.mark.parametrize("who", ["its author", "somebody else"])
def test_its_author_goes_on_with_it_and_anybody_else_is_named(who, root):
    def begun(made):
        write_protocol(made, protocol({"/id": "other-rope"}))
        write_life(made / "protocols" / "other-rope")
        for path in sorted((made / "protocols/other-rope/events").iterdir()):
            path.write_text(path.read_text().replace("by: board", f"by: {'wren' if who == 'its author' else 'auk'}"))

    on_base(root, begun)
    written = write_protocol(root, protocol({"/id": "other-rope", "/version": "1.1.0", "/reading/repeats": 3}))
    path = write_event(root / "protocols/other-rope", 3, event("released", "1.1.0", by="wren", month="2026-06", sha256=_hash(written)))
    found = checked(root, author=WREN).findings
    named = [f"wren, by account {WREN}, releases version 1.1.0 of other-rope, of which auk released earlier versions"]
    assert [f.message for f in found] == ([] if who == "its author" else named)
    assert {f.file for f in found} <= {path.relative_to(root).as_posix()}


@pytest.mark.parametrize("act", [strikes, upholds, retires])
def test_an_invented_maintainer_acts_through_a_real_one_and_through_nobody_else(act, root):
    act(root, "moot")
    assert severities(root, LIAR) == {"invented-handle": "error"}
    assert severities(root, WREN) == {"invented-handle": "error"}
    assert severities(root, KEEPER) == {"invented-acts": "warning"}


def test_nor_does_one_answer(root):
    responds(root, "moot")
    assert severities(root, LIAR) == {"invented-handle": "error"}


# --- the list of roles


def listed(*more, **changes):
    return LIST | {"roles": [*LIST["roles"], *more]} | changes


APPOINTED = {"handle": "wren", "may": ["decide"], "since": "2026-06"}
ENDED = LIST | {"roles": [LIST["roles"][0] | {"until": "2026-06"}, *LIST["roles"][1:]]}
LISTS = {
    "a stranger appoints himself": (listed(APPOINTED), WREN, {"no-role", "roles-changed"}),
    "a maintainer appoints somebody": (listed(APPOINTED), KEEPER, {"roles-changed"}),
    "a maintainer gives up": (ENDED, KEEPER, {"roles-changed"}),
    "a role for a handle that is nobody's": (listed(APPOINTED | {"handle": "rook"}), KEEPER, {"role-unbound", "roles-changed"}),
    "a role that ends before it begins": (listed(APPOINTED | {"until": "2026-05"}), KEEPER, {"role-form", "roles-changed"}),
    "an entry is taken out": (LIST | {"roles": LIST["roles"][:-1]}, KEEPER, {"role-rewritten", "roles-changed"}),
    "an entry has other months": (
        LIST | {"roles": [LIST["roles"][0] | {"since": "2026-05"}, *LIST["roles"][1:]]}, KEEPER, {"role-rewritten", "roles-changed"}
    ),
    "the list begins later": (LIST | {"since": "2026-07"}, KEEPER, {"role-rewritten", "roles-changed"}),
}  # fmt: skip


@pytest.mark.parametrize("case", LISTS)
def test_the_list_is_added_to_by_those_in_it(case, root):
    now, author, expected = LISTS[case]
    appoint(root, now)
    assert set(severities(root, author)) == expected


def test_the_list_is_not_taken_out(root):
    (root / ROLES).unlink()
    assert severities(root, KEEPER) == {"role-rewritten": "error"}


def test_nobody_acts_by_a_role_that_the_same_request_gives(root):
    appoint(root, listed(APPOINTED | {"may": ["strike"]}))
    strikes(root, "wren")
    found = codes(root, author=WREN)
    assert found[ROLES] == ["no-role", "roles-changed"] and "no-role" in found[f"{FOLDER}/objections/{OWN}/01-outcome.md"]


def test_the_first_list_is_the_maintainers_to_look_at(root):
    on_base(root, lambda made: (made / ROLES).unlink())
    appoint(root, LIST)
    assert severities(root, WREN) == {"roles-changed": "warning"}


# --- carried in


def test_a_friend_carries_a_result_in_and_it_is_marked(root):
    sends(root, "wren")
    carry(root, "late-1", "auk")
    assert severities(root, AUK) == {"carried": "warning"}
    state = checked(root, author=AUK).repository.carried["late-1"]
    assert (state.by, state.confirmed) == ("auk", False)


def test_for_somebody_without_an_account_too(root):
    sends(root, "rook")
    carry(root, "late-1", "auk")
    assert severities(root, AUK) == {"carried": "warning"}


def test_without_the_file_it_is_refused_and_told_how(root):
    sends(root, "wren")
    (finding,) = checked(root, author=AUK).errors
    assert finding.code == "not-your-handle" and "submissions/carried/late-1/carried.json" in finding.cure


def test_nobody_carries_in_another_friend_s_name(root):
    sends(root, "wren")
    path = carry(root, "late-1", "auk")
    assert codes(root, author=LIAR)[path] == ["not-your-handle"]


def brought(root):
    on_base(root, lambda made: sends(made, "wren"), lambda made: carry(made, "late-1", "auk"))


def test_the_owner_confirms_it_later(root):
    brought(root)
    carry(root, "late-1", "wren", "confirmed")
    assert codes(root, author=WREN) == {}
    assert checked(root, author=WREN).repository.carried["late-1"].confirmed


def test_or_by_an_objection_that_rests_on_it(root):
    brought(root)
    objects(root, "wren", evidence=[{"submission": "late-1"}])
    assert codes(root, author=WREN) == {}
    assert checked(root, author=WREN).repository.carried["late-1"].confirmed


@pytest.mark.parametrize(("by", "author", "code"), [("wren", LIAR, "not-your-handle"), ("auk", AUK, "carried-form")])
def test_nobody_else_does(by, author, code, root):
    brought(root)
    path = carry(root, "late-1", by, "confirmed")
    assert codes(root, author=author) == {path: [code]}


def test_nor_anybody_for_an_owner_without_an_account(root):
    on_base(root, lambda made: sends(made, "rook"), lambda made: carry(made, "late-1", "auk"))
    path = carry(root, "late-1", "rook", "confirmed")
    assert codes(root, author=LIAR) == {path: ["not-your-handle"]}
    assert not checked(root, author=LIAR).repository.carried["late-1"].confirmed


def test_who_carried_stays_on_record_and_carried_is_what_is_there(root):
    brought(root)
    path = "submissions/carried/late-1/carried.json"
    (root / path).unlink()
    assert codes(root, author=WREN) == {path: ["record-deleted"]}
    git(root, "checkout", "-q", "main", "--", path)
    path = carry(root, "nothing-1", "auk")
    assert codes(root, author=AUK) == {path: ["carried-form"]}


def test_what_was_carried_is_taken_out_with_its_mark(root):
    brought(root)
    (root / "submissions/measured/small-rope/late-1.json").unlink()
    (root / "submissions/carried/late-1/carried.json").unlink()
    write_tombstone(root, "late-1")
    assert severities(root, KEEPER) == {"taken-out": "warning"}


# --- other people in one's own result


def test_other_people_s_handles_on_runs_and_edges_are_named(root):
    record = changed(evening("late-1", "rook"), {"/people/-": {"handle": "wren", "agreed": "yes"}, "/runs/0/tester": "wren"})
    write_submission(root, record)
    bind(root, "rook", LIAR)
    (finding,) = checked(root, author=LIAR).findings
    assert (finding.code, finding.severity) == ("names-others", "warning")
    assert finding.message == f"wren (tester, account {WREN}) did not send this in"


def test_people_without_an_account_are_not(root):
    write_submission(root, changed(other(), {"/id": "late-1", "/month": "2026-06", "/submitted_by": "wren"}))
    assert "names-others" not in severities(root, WREN)


def test_a_correction_puts_no_result_into_somebody_s_name(root):
    on_base(root, lambda made: write_submission(made, evening("late-1", "rook")), lambda made: bind(made, "rook", LIAR))
    path = write_change(root, 1, correction(("/submitted_by", "rook", "wren"), by="rook", submission="late-1")).relative_to(root).as_posix()
    assert codes(root, author=LIAR)[path] == ["not-your-handle", "unknown-person"]
    people = ([{"handle": "rook", "agreed": "yes"}], [{"handle": name, "agreed": "yes"} for name in ("rook", "wren")])
    write_change(root, 1, correction(("/people", *people), ("/runs/0/tester", "rook", "wren"), by="rook", submission="late-1"))
    assert codes(root, author=LIAR)[path] == ["names-others"]


def test_a_handle_that_is_nobody_s_is_not_joined_to_one_s_own_unnamed(root):
    bind(root, "rook", LIAR, same_person=["dove"])
    write(root / "submissions/people/dove.json", json.dumps({"format": "person/1.1.0", "handle": "dove", "same_person": ["rook"]}))
    withdraws(root, "rook", OTHERS)
    assert codes(root, author=LIAR) == {"submissions/people/dove.json": ["person-file", "acts-unbound"]}
    (finding,) = (f for f in checked(root, author=LIAR).findings if f.code == "acts-unbound")
    assert finding.message.startswith(f"says how dove is shown and whose it is in the name of dove, by account {LIAR}")


def test_a_result_that_is_there_is_not_marked_as_carried_afterwards(root):
    path = carry(root, "wren-1", "auk")
    assert codes(root, author=AUK) == {path: ["carried-form"]}


def test_nor_confirmed_by_the_request_that_brings_it_or_where_nobody_carried_it(root):
    sends(root, "wren")
    path = carry(root, "late-1", "wren", "confirmed")
    assert codes(root, author=WREN) == {path: ["carried-form"]}
    carry(root, "late-1", "auk")
    assert codes(root, author=WREN)[path] == ["carried-form"]


FIXTURES = Path(__file__).parents[1] / "records" / "fixtures"


def test_every_file_in_which_somebody_does_something_is_known_to_be_one():
    paths = {p.relative_to(FIXTURES).as_posix().partition("/")[2] for p in FIXTURES.rglob("*") if p.suffix in (".json", ".yaml", ".md")}
    nobody_s = {path for path in paths if not kind_of(path) and path.startswith(("protocols/", "submissions/"))}
    assert (
        len(paths) > 20
        and {path for path in nobody_s if not re.fullmatch(r"protocols/[^/]+/[0-9.]+\.md|protocols/roles\.json", path)} == set()
    )


# --- how it is told


def test_a_request_without_an_author_is_marked_unverified(root):
    sends(root)
    local, sent = checked(root), checked(root, author=WREN)
    assert request_text(local).endswith("in whose name is unverified (no --author)")
    assert request_text(sent).endswith(f"sent by account {WREN}")
    assert json.loads(request_json(local))["author"] is None and json.loads(request_json(sent))["author"] == WREN


def test_the_command_takes_the_account_and_refuses_what_is_none(root, capsys, tmp_path_factory):
    sends(root)
    checked(root)
    summary = tmp_path_factory.mktemp("summary") / "summary.md"
    words = ["check", "--root", str(root), "--against", BASE]
    assert main([*words, "--author", WREN, "--summary", str(summary)]) == 0
    assert f"Sent by account {WREN}." in summary.read_text(encoding="utf-8")
    assert main([*words, "--author", LIAR, "--annotate"]) == 1
    assert "not-your-handle" in capsys.readouterr().out
    for odd in ("", "a b", "--author=", "1" * 65):
        assert main([*words, f"--author={odd}"]) == 2
    assert main(["check", "--root", str(root), "--author", WREN]) == 2
    with pytest.raises(InputError):
        check_proposal(root, BASE, author="no\nid", today=TODAY)


def test_a_base_that_has_nobody_bound_and_no_list_reads_as_before(tmp_path):
    root = make_base(tmp_path)
    say(root, "001-new", 0, objection("rook"))
    assert codes(root) == {}
    assert severities(root, NEW) == {"acts-unbound": "warning"}


def test_what_was_done_before_the_list_began_stands(root):
    found = load_repository(root, today=TODAY)
    assert found.errors == () and {event.by for event in found.events["small-rope"]} == {"board", "moot"}
    assert all(CODES[code].severity == "error" for code in ("no-role", "not-your-handle", "rebound", "binding-other"))


def test_markdown_of_hostile_length_is_told_short(root):
    write(root / FOLDER / "objections" / FREE / "00-objection.md", markdown(objection("rook") | {"by": "r" * 500}, "Because.\n"))
    assert all(len(finding.message) < 700 for finding in checked(root, author=LIAR).findings)
