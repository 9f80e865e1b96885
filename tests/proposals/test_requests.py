"""Requests over real git repositories: what is allowed, what is not, and with which finding."""

import json
import shutil

import pytest

from edgehold.errors import InputError
from edgehold.records.codes import CODES
from edgehold.records.registers import CLASSES_FILE, STEELS_FILE, load_steels
from edgehold.records.request.against import check_proposal
from tests.records.builder import (
    ABSENT,
    REMOVED,
    adopt,
    correction,
    event,
    markdown,
    pilot,
    protocol,
    retraction,
    second,
    submission,
    write,
    write_change,
    write_event,
    write_person,
    write_protocol,
    write_submission,
    write_tombstone,
)

from .requests import BASE, checked, codes, commit, git, make_base, on_base

ADOPTED = "protocols/small-rope/events/003-adopted.yaml"
FIRST = "submissions/measured/small-rope/wren-1.json"
SECOND = "submissions/measured/small-rope/tern-1.json"
VERSION = "protocols/small-rope/1.0.0.md"


@pytest.fixture
def root(tmp_path):
    return make_base(tmp_path)


def steel_entry(name: str) -> dict:
    return {
        "id": name,
        "origin": "measured",
        "family": "low alloy",
        "names": [{"system": "JIS", "designation": "XZ99"}],
        "standard": "made up for a test",
    }


def write_register(root, *more: dict) -> None:
    known = [json.loads(entry.model_dump_json()) for entry in list(load_steels().named.values())[:3]]
    known += [json.loads(load_steels().named["aisi-1095"].model_dump_json())]
    text = json.dumps({"note": "a register", "steels": [*known, *more]}, indent=1)
    write(root / STEELS_FILE, text)


# what is allowed


def test_a_good_submission_is_fine(root):
    write_submission(root, second())
    assert codes(root) == {}


def test_so_it_is_before_it_is_committed_or_told_to_git(root):
    write_submission(root, second())
    assert codes(root, committed=False) == {}
    assert [(c.path, c.kind) for c in checked(root, committed=False).proposal.changes] == [(SECOND, "added")]


def test_a_request_of_nothing_has_no_findings_and_no_changes(root):
    assert codes(root) == {}
    assert checked(root).proposal.changes == ()


def test_code_alone_is_no_business_of_the_data(root):
    write(root / "site" / "pages" / "new.md", "new\n")
    write(root / "README.md", "new\n")
    assert codes(root) == {}


@pytest.mark.parametrize(
    "path",
    [".github/workflows/check.yml", ".ci/run", "schemas/released.json", "aggregator/edgehold/cli.py", "tests/conftest.py", "Makefile"],
)
def test_a_request_that_changes_what_checks_it_is_shown_to_the_maintainer(root, path):
    write(root / "README.md", "new\n")
    write(root / path, "anything\n")
    assert codes(root) == {path: ["checker-changed"]}
    assert not checked(root).errors


def test_so_is_one_that_only_takes_it_away(root):
    (root / "Makefile").unlink()
    assert codes(root) == {"Makefile": ["checker-changed"]}


def test_a_new_protocol_with_its_events_is_fine(root):
    write_protocol(root, protocol({"/id": "other-rope"}))
    adopt(root / "protocols" / "other-rope")
    assert codes(root) == {}


def test_a_draft_may_be_rewritten_until_it_is_released(tmp_path):
    root = make_base(tmp_path, submissions=[], adopted=False)
    write_protocol(root, protocol({"/title": "A better title"}))
    assert codes(root) == {}


def test_a_side_file_may_change(root):
    (root / "submissions" / "measured" / ".gitkeep").unlink()
    write(root / "submissions" / "measured" / "README.md", "nothing here\n")
    assert codes(root) == {}


# the record that lasts


def test_a_published_submission_cannot_be_changed(root):
    write_submission(root, submission({"/note": "now with a note"}))
    assert codes(root) == {FIRST: ["record-changed"]}


def test_nor_deleted(root):
    (root / FIRST).unlink()
    assert codes(root) == {FIRST: ["record-deleted"], ADOPTED: ["unknown-reference"]}


def test_nor_moved_under_another_id(root):
    git(root, "mv", FIRST, SECOND)
    write_submission(root, submission({"/id": "tern-1"}))
    assert codes(root) == {SECOND: ["record-renamed"], ADOPTED: ["unknown-reference"]}
    (finding,) = (f for f in checked(root).findings if f.file == SECOND)
    assert (FIRST in finding.message and "where" in finding.cure) or "put it back" in finding.cure


def test_nor_replaced_by_a_link_to_itself(root):
    (root / FIRST).rename(root / "elsewhere.json")
    (root / FIRST).symlink_to("../../../elsewhere.json")
    found = codes(root)
    assert set(found[FIRST]) == {"link-refused", "record-changed"}


def test_a_released_version_cannot_be_changed(root):
    write_protocol(root, protocol({"/title": "Another title"}))
    assert codes(root) == {VERSION: ["record-changed"], "protocols/small-rope/events/001-released.yaml": ["released-changed"]}


def test_nor_an_event(root):
    write_event(root / "protocols" / "small-rope", 3, event("adopted", "1.0.0", by="somebody-else", month="2026-06", pilot="wren-1"))
    assert codes(root) == {"protocols/small-rope/events/003-adopted.yaml": ["record-changed"]}


def test_nor_can_an_objection_be_taken_out(root):
    text = markdown(objection(), "\nThe stone changes too.\n")
    path = "protocols/small-rope/objections/001-stone/00-objection.md"
    on_base(root, lambda: write(root / path, text))
    git(root, "merge", "-q", BASE)
    (root / path).unlink()
    assert codes(root) == {path: ["record-deleted"]}


def objection() -> dict:
    return {
        "format": "objection/1.0.0",
        "kind": "objection",
        "against": {"protocol": "small-rope", "version": "1.0.0", "step": "s1-prepare"},
        "threat": "confounding",
        "severity": "material",
        "title": "The stone",
        "interest": "none",
        "by": "auk",
        "month": "2026-02",
    }


def test_an_id_is_never_used_again(root):
    def take_out():
        (root / FIRST).unlink()

    on_base(root, take_out)
    git(root, "merge", "-q", BASE)
    write_submission(root, submission({"/note": "something else by the same name"}))
    assert codes(root) == {FIRST: ["id-reused"]}


def test_not_under_another_protocol_either(root):
    def move():
        (root / FIRST).unlink()
        write_protocol(root, protocol({"/id": "other-rope"}))
        adopt(root / "protocols" / "other-rope")

    on_base(root, move)
    git(root, "merge", "-q", BASE)
    record = submission({"/protocol/id": "other-rope"})
    write_submission(root, record)
    found = codes(root)
    assert found.pop(ADOPTED) == ["wrong-pilot"]
    assert found == {"submissions/measured/other-rope/wren-1.json": ["id-reused", "pilot"]}


def test_only_what_leaves_a_tombstone_may_be_taken_out_and_the_maintainer_is_told(root):
    (root / FIRST).unlink()
    write(root / "submissions/tombstones/other-1.json", "{}")
    assert codes(root)[FIRST] == ["record-deleted"]
    tombstone = {"format": "tombstone/1.0.0", "id": "wren-1", "month": "2026-06", "reason": "privacy"}
    (root / "submissions/tombstones/other-1.json").unlink()
    write(root / "submissions/tombstones/wren-1.json", json.dumps(tombstone))
    assert codes(root)[FIRST] == ["taken-out"]
    assert CODES["taken-out"].severity == "warning"


def test_a_tombstone_itself_stays(root):
    path = "submissions/tombstones/auk-1.json"
    tombstone = {"format": "tombstone/1.0.0", "id": "auk-1", "month": "2026-06", "reason": "privacy"}
    on_base(root, lambda: write(root / path, json.dumps(tombstone)))
    git(root, "merge", "-q", BASE)
    (root / path).unlink()
    assert codes(root)[path] == ["record-deleted"]


# corrections, retractions, tombstones, handles

CHANGES = "submissions/measured/small-rope/changes/wren-1"
HUMIDITY = ("/runs/0/humidity_percent", ABSENT, 55)
BLUNT = "/blades/0/grind"


def test_a_correction_is_added_and_what_it_corrects_stays(root):
    write_change(root, 1, correction(HUMIDITY))
    assert codes(root) == {}
    write_submission(root, submission({"/runs/0/humidity_percent": 55}))
    found = codes(root)
    assert found[FIRST] == ["record-changed"] and "before-disagrees" in found[f"{CHANGES}/01-correction.json"]


def test_a_correction_is_added_once(root):
    on_base(root, lambda: write_change(root, 1, correction(HUMIDITY)))
    git(root, "merge", "-q", BASE)
    write_change(root, 1, correction(("/note", ABSENT, "damp")))
    assert codes(root) == {f"{CHANGES}/01-correction.json": ["record-changed"]}
    (root / CHANGES / "01-correction.json").unlink()
    assert codes(root) == {f"{CHANGES}/01-correction.json": ["record-deleted"]}


def test_two_who_correct_at_once_meet_in_the_second_request(root):
    on_base(root, lambda: write_change(root, 1, correction(HUMIDITY)))
    write_change(root, 1, correction(("/note", ABSENT, "damp")))
    assert codes(root) == {f"{CHANGES}/01-correction.json": ["path-taken"]}


def test_a_correction_that_contradicts_another_file_is_the_finding(root):
    on_base(root, lambda: write_submission(root, second({BLUNT: "flat"})))
    write_change(root, 1, correction((BLUNT, ABSENT, "hollow")))
    assert codes(root) == {f"{CHANGES}/01-correction.json": ["facts-disagree"]}


def test_what_a_correction_says_binds_later_files(root):
    on_base(root, lambda: write_change(root, 1, correction((BLUNT, ABSENT, "hollow"))))
    git(root, "merge", "-q", BASE)
    write_submission(root, second({BLUNT: "flat"}))
    assert codes(root) == {SECOND: ["facts-disagree"]}


def test_a_key_that_a_correction_brought_is_met(root):
    batch = ("/blades/0/batch", ABSENT, "auk.heat-7")
    on_base(root, lambda: write_change(root, 1, correction(batch)))
    git(root, "merge", "-q", BASE)
    blade = {"key": "tern.other", "steel": {"designation": "AISI 440C"}, "batch": "auk.heat-7"}
    write_submission(
        root, json.loads(json.dumps(second({"/blades/0": blade})).replace("wren.galley", "tern.other").replace('"wren.', '"tern.'))
    )
    assert codes(root) == {SECOND: ["facts-disagree"]}


def test_a_retraction_is_added_and_the_file_stays(root):
    write_change(root, 1, retraction())
    assert codes(root) == {}
    assert checked(root, whole=True).repository.submissions == ()
    (root / FIRST).unlink()
    assert codes(root)[FIRST] == ["record-deleted"]


def test_what_was_retracted_may_come_again_under_another_id(root):
    write_change(root, 1, retraction())
    write_submission(root, submission({"/id": "wren-2"}))
    assert codes(root) == {}


def test_a_tombstone_takes_a_submission_and_its_changes_out(root):
    on_base(root, lambda: write_change(root, 1, correction(HUMIDITY)))
    git(root, "merge", "-q", BASE)
    write_tombstone(root, "wren-1")
    assert codes(root) == {FIRST: ["tombstone-and-file"]}
    (root / FIRST).unlink()
    assert codes(root)[f"{CHANGES}/01-correction.json"] == ["change-without-submission"]
    shutil.rmtree(root / "submissions/measured/small-rope/changes")
    assert codes(root) == {FIRST: ["taken-out"], f"{CHANGES}/01-correction.json": ["taken-out"]}


def test_an_id_with_a_tombstone_is_never_used_again(root):
    on_base(root, lambda: ((root / FIRST).unlink(), write_tombstone(root, "wren-1")))
    git(root, "merge", "-q", BASE)
    write_submission(root, submission({"/month": "2026-04"}))
    assert codes(root) == {FIRST: ["id-reused", "tombstone-and-file"]}


def test_what_a_person_says_of_a_handle_may_change_and_the_maintainer_is_told(root):
    person = "submissions/people/wren.json"
    write_person(root, "wren", shown_as="heron")
    told = codes(root)
    assert sorted(told[person]) == ["handle-in-id", "person-file"]
    on_base(root, lambda: write_person(root, "wren", shown_as="heron"))
    git(root, "reset", "-q", "--hard", BASE)
    write_person(root, "wren", shown_as="egret")
    assert sorted(codes(root)[person]) == ["handle-in-id", "person-file"]
    (root / person).unlink()
    assert codes(root) == {person: ["person-file"]}
    assert CODES["person-file"].severity == CODES["handle-in-id"].severity == "warning"


def test_somebody_elses_alias_is_no_handle_for_a_newcomer(root):
    on_base(root, lambda: write_person(root, "auk", shown_as="tern"[::-1]))
    git(root, "merge", "-q", BASE)
    write_submission(root, json.loads(json.dumps(second()).replace('"tern"', '"nret"')))
    assert codes(root) == {"submissions/people/auk.json": ["alias-taken"]}


# data and code


def test_data_and_code_never_come_in_one_request(root):
    write_submission(root, second())
    write(root / "Makefile", "site:\n\tfalse\n")
    assert codes(root) == {"Makefile": ["data-and-code"]}


def test_a_workflow_beside_a_submission_is_code(root):
    write_submission(root, second())
    write(root / ".github" / "workflows" / "check.yml", "on: push\n")
    assert codes(root) == {".github/workflows/check.yml": ["data-and-code"]}


def test_the_demonstration_may_come_with_the_code_that_draws_it_and_is_shown_to_the_maintainer(root):
    write(root / "submissions" / "simulated" / "effects.json", "{}")
    write(root / "aggregator" / "demo.py", "SEED = 2\n")
    assert codes(root) == {"submissions/simulated/effects.json": ["demonstration-changed"], "aggregator/demo.py": ["checker-changed"]}
    assert CODES["demonstration-changed"].severity == CODES["checker-changed"].severity == "warning"


def test_a_simulated_result_has_no_place_among_the_measured(root):
    record = second({"/origin": "simulated", "/blades/0/steel": None})
    write(root / SECOND, json.dumps(record))
    assert codes(root) == {SECOND: ["path-disagrees"]}


# registers


def test_a_new_steel_and_its_result_come_together_and_the_entry_is_shown_to_the_maintainer(tmp_path):
    root = make_base(tmp_path)
    on_base(root, lambda: write_register(root))
    git(root, "merge", "-q", BASE)
    write_register(root, steel_entry("jis-xz99"))
    write_submission(root, second({"/blades/0/key": "tern.new", "/blades/0/steel/designation": "XZ99", "/preparations/0/blade": "tern.new",
                                   "/preparations/1/blade": "tern.new"}))  # fmt: skip
    assert codes(root) == {STEELS_FILE: ["register-entry"]}
    (finding,) = checked(root).findings
    assert finding.severity == "warning" and "'jis-xz99' is new" in finding.message
    assert (root / STEELS_FILE).read_text().splitlines()[finding.line - 1].strip() == "{"


def test_a_new_class_of_steels_and_its_first_blade_come_together_and_the_class_is_shown_to_the_maintainer(root):
    windows = [{"element": "C", "min": 2.9, "max": 3.1}, {"element": "Cr", "min": 29, "max": 31}]
    made_up = {
        "label": "C 3 Cr 30",
        "origin": "measured",
        "family": "martensitic stainless",
        "windows": windows,
        "source": "made up for a test",
    }
    composed = {"/blades/0/steel": {"composition_percent": {"C": 3, "Cr": 30}}, "/blades/0/key": "tern.new",
                "/preparations/0/blade": "tern.new", "/preparations/1/blade": "tern.new"}  # fmt: skip
    write_submission(root, second(composed))
    assert list(codes(root).values()) == [["no-steel-class"]]
    write(root / CLASSES_FILE, json.dumps({"note": "a register", "classes": [made_up]}, indent=1))
    assert codes(root) == {CLASSES_FILE: ["register-entry"]}
    (finding,) = checked(root).findings
    assert finding.severity == "warning" and "'C 3 Cr 30' is new" in finding.message
    write(root / CLASSES_FILE, json.dumps({"note": "a register", "classes": [made_up, made_up]}, indent=1))
    assert codes(root)[CLASSES_FILE] == ["register-unreadable"]


def test_an_entry_taken_out_and_one_changed_are_shown_too(tmp_path):
    root = make_base(tmp_path)
    on_base(
        root,
        lambda: write_register(
            root, steel_entry("jis-xz99"), steel_entry("jis-xz98") | {"names": [{"system": "JIS", "designation": "XZ98"}]}
        ),
    )
    git(root, "merge", "-q", BASE)
    write_register(root, steel_entry("jis-xz99") | {"note": "other"})
    assert codes(root) == {STEELS_FILE: ["register-entry", "register-entry"]}


def test_a_register_that_cannot_be_read_is_refused(root):
    write(root / "aggregator" / "registers" / "grits.json", '{"note": "x", "series": []}')
    write(root / "aggregator" / "registers" / "brands.json", "{}")
    write(root / STEELS_FILE, "{")
    assert codes(root) == {
        "aggregator/registers/brands.json": ["unexpected-file"],
        "aggregator/registers/grits.json": ["register-unreadable"],
        STEELS_FILE: ["register-unreadable"],
    }


# things that are no ordinary files, and names


def test_a_symbolic_link_is_refused(root):
    write(root / "Makefile", "site:\n\ttrue\n")
    (root / SECOND).symlink_to("/etc/hostname")
    assert codes(root) == {SECOND: ["link-refused"]}


def test_also_among_the_code(root):
    (root / "docs").symlink_to("/etc")
    assert codes(root) == {"docs": ["link-refused"]}


def test_another_repository_inside_is_refused(root, tmp_path_factory):
    inner = tmp_path_factory.mktemp("inner")
    git(inner, "init", "-q")
    commit(inner)
    head = git(inner, "rev-parse", "HEAD")
    commit(root)
    git(root, "update-index", "--add", "--cacheinfo", f"160000,{head},protocols/linked")
    git(root, "commit", "-q", "-m", "a link")
    (root / "protocols" / "linked").mkdir()
    assert codes(root, committed=False) == {"protocols/linked": ["submodule-refused"]}


def test_also_one_that_git_has_not_been_told_of(root):
    inner = root / "submissions" / "measured" / "inner"
    inner.mkdir()
    git(inner, "init", "-q")
    write(inner / "x.json", "{}")
    commit(inner)
    assert "submodule-refused" in codes(root, committed=False)["submissions/measured/inner"]


def test_names_that_differ_in_capitals_from_a_published_one_are_refused(root):
    write(root / "submissions" / "measured" / "small-rope" / "Wren-1.json", json.dumps(second({"/id": "Wren-1"})))
    assert codes(root) == {"submissions/measured/small-rope/Wren-1.json": ["ids-differ-in-case", "wrong-case"]}


def test_also_a_folder_s_and_among_the_code(root):
    write(root / "makefile", "site:\n\ttrue\n")
    assert codes(root) == {"makefile": ["ids-differ-in-case"]}


def test_a_huge_file_is_refused_before_it_is_read(root):
    write(root / SECOND, b'{"note": "' + b"x" * 3_000_000 + b'"}')
    assert codes(root) == {SECOND: ["file-too-large"]}


def test_also_one_of_no_known_kind(root):
    write(root / "film.bin", b"\0" * 3_000_000)
    assert codes(root) == {"film.bin": ["file-too-large"]}


def test_a_name_that_is_not_utf8_has_no_place_and_is_shown_readably(root):
    path = root / "submissions" / "measured" / "small-rope"
    (path / "t\udcffrn.json").write_text("{}")
    assert codes(root) == {"submissions/measured/small-rope/t\N{REPLACEMENT CHARACTER}rn.json": ["unexpected-file"]}


def test_a_data_file_marked_as_a_program_is_a_warning(root):
    write_submission(root, second()).chmod(0o755)
    assert codes(root) == {SECOND: ["executable-bit"]}
    assert CODES["executable-bit"].severity == "warning"


def test_the_mark_alone_is_no_change_of_a_published_file(root):
    (root / FIRST).chmod(0o755)
    assert codes(root, committed=False) == codes(root) == {FIRST: ["executable-bit"]}


def test_a_reserved_id_is_refused(root):
    write_submission(root, second({"/id": "aux"}))
    assert codes(root) == {"submissions/measured/small-rope/aux.json": ["reserved-id"]}


# against other submissions


def test_an_exact_duplicate_under_another_id_names_its_twin(root):
    write(root / SECOND, json.dumps(submission({"/id": "zz-1", "/note": None})))
    (root / SECOND).rename(root / "submissions/measured/small-rope/zz-1.json")
    assert codes(root) == {"submissions/measured/small-rope/zz-1.json": ["duplicate-content"]}
    (finding,) = checked(root).findings
    assert FIRST in finding.message


def test_a_twin_that_hides_its_keys_behind_escapes_is_found_too(tmp_path):
    root = make_base(tmp_path, submissions=[pilot()])
    escaped = json.dumps(submission()).replace("wren.", "\\u0077ren.")
    on_base(root, lambda: write(root / FIRST, escaped))
    git(root, "merge", "-q", BASE)
    write_submission(root, submission({"/id": "zz-1"}))
    assert codes(root) == {"submissions/measured/small-rope/zz-1.json": ["duplicate-content"]}


def test_contradicting_a_blade_that_others_have_described_is_a_finding(root):
    write_submission(root, second({"/blades/0/edge": "plain", "/blades/0/steel/designation": "AISI 52100"}))
    assert codes(root) == {SECOND: ["facts-disagree"]}


def test_whoever_comes_later_is_told_even_where_month_and_name_come_first(root):
    write_submission(root, second({"/id": "auk-1", "/month": "2026-01", "/blades/0/steel/designation": "AISI 52100"}))
    assert codes(root) == {"submissions/measured/small-rope/auk-1.json": ["facts-disagree"]}
    write_submission(root, submission({"/id": "auk-1"}))
    assert codes(root) == {"submissions/measured/small-rope/auk-1.json": ["duplicate-content"]}


def test_only_what_shares_a_key_is_read(tmp_path):
    lone = json.loads(json.dumps(submission({"/id": "lone-1"})).replace('"wren.', '"lone.'))
    root = make_base(tmp_path, submissions=[submission(), lone])
    write_submission(root, second())
    found = checked(root)
    assert [s.record.id for s in found.repository.submissions] == ["tern-1", "wren-1"] and not found.whole


def test_warnings_of_files_that_nobody_touched_are_not_repeated(tmp_path):
    root = make_base(tmp_path, submissions=[submission({"/month": "2010-01"})])
    write_submission(root, second())
    assert codes(root) == {}


# a base that has moved on


def test_what_others_added_meanwhile_is_not_blamed_on_the_request(root):
    write_submission(root, second())
    commit(root)
    on_base(root, lambda: (write(root / "Makefile", "other:\n"), write_protocol(root, protocol({"/id": "other-rope"}))))
    assert codes(root) == {}
    assert [c.path for c in checked(root).proposal.changes] == [SECOND]


def test_yet_both_are_read_together(root):
    write_submission(root, second({"/blades/0/edge": REMOVED, "/blades/0/grind": "flat"}))
    commit(root)
    on_base(
        root, lambda: write_submission(root, submission({"/id": "auk-1", "/month": "2026-05", "/note": "x", "/blades/0/grind": "hollow"}))
    )
    assert codes(root) == {SECOND: ["facts-disagree"]}
    (finding,) = checked(root).findings
    assert "auk-1.json" in finding.message


def test_an_id_that_somebody_else_took_meanwhile_is_told(root):
    write_submission(root, second())
    commit(root)
    on_base(root, lambda: write_submission(root, second({"/note": "mine was first"})))
    assert codes(root) == {SECOND: ["path-taken"]}


def test_a_register_that_both_changed_must_be_merged_first(root):
    write_register(root, steel_entry("jis-xz99"))
    commit(root)
    on_base(root, lambda: write_register(root))
    assert codes(root) == {STEELS_FILE: ["changed-twice", "register-entry"]}
    git(root, "merge", "-q", "-s", "ours", BASE)
    on_base(root, lambda: write_register(root, steel_entry("jis-xz98")))
    assert codes(root)[STEELS_FILE] == ["changed-twice", "register-entry", "register-entry"]


def test_the_same_file_merged_meanwhile_is_nothing(root):
    write_submission(root, second())
    commit(root)
    on_base(root, lambda: write_submission(root, second()))
    assert codes(root) == {}


def test_a_file_taken_out_of_the_base_meanwhile_does_not_come_back(root):
    write_submission(root, second({"/blades/0/steel/designation": "AISI 52100"}))
    commit(root)
    on_base(root, (root / FIRST).unlink)
    assert codes(root) == {ADOPTED: ["unknown-reference"]}


def test_reading_both_together_leaves_the_working_tree_as_it_was(root):
    write_submission(root, second({"/blades/0/steel/designation": "AISI 52100"}))
    commit(root)
    on_base(root, lambda: (root / FIRST).write_text(json.dumps(submission({"/note": "theirs"}))))
    before = {path: path.read_bytes() for path in root.rglob("*") if path.is_file() and ".git" not in path.parts}
    assert codes(root) == {SECOND: ["facts-disagree"]}
    assert {path: path.read_bytes() for path in root.rglob("*") if path.is_file() and ".git" not in path.parts} == before


def test_a_merge_commit_of_the_host_is_held_against_its_first_parent(root):
    write_submission(root, second())
    commit(root)
    on_base(root, lambda: write(root / "Makefile", "other:\n"))
    git(root, "switch", "-q", "--detach", BASE)
    git(root, "merge", "-q", "--no-ff", "-m", "merge", "request")
    proposal = check_proposal(root, "HEAD^1").proposal
    assert [c.path for c in proposal.changes] == [SECOND] and not proposal.behind


# the caller's mistakes


def test_a_base_that_is_not_there_is_the_callers_mistake(root, tmp_path_factory):
    with pytest.raises(InputError, match="no commit 'nowhere'"):
        check_proposal(root, "nowhere")
    with pytest.raises(InputError, match="names no commit"):
        check_proposal(root, "--output=x")
    with pytest.raises(InputError, match="not the top"):
        check_proposal(root / "protocols", BASE)
    with pytest.raises(InputError, match="not a git repository"):
        check_proposal(tmp_path_factory.mktemp("plain"), BASE)


def test_histories_without_a_common_commit_are_the_callers_mistake(root):
    git(root, "switch", "-q", "--orphan", "alone")
    commit(root)
    with pytest.raises(InputError, match="no commit in common"):
        check_proposal(root, BASE)


def test_settings_and_hooks_of_the_machine_play_no_part(root, tmp_path_factory, monkeypatch):
    trap = tmp_path_factory.mktemp("trap")
    script = write(trap / "run", f"#!/bin/sh\ntouch {trap}/ran\n")
    script.chmod(0o755)
    write(trap / "config", f"[core]\n\tfsmonitor = {script}\n\tpager = {script}\n[diff]\n\texternal = {script}\n")
    for name, value in {"GIT_CONFIG_GLOBAL": trap / "config", "GIT_EXTERNAL_DIFF": script, "GIT_PAGER": script, "GIT_DIR": trap}.items():
        monkeypatch.setenv(name, str(value))
    write_submission(root, second())
    assert check_proposal(root, BASE).proposal.changes[0].path == SECOND
    assert not (trap / "ran").exists()


def test_the_answer_is_the_same_in_a_copy_whose_files_are_not_in_git_s_index(root, tmp_path_factory):
    write_submission(root, second())
    commit(root)
    copy = tmp_path_factory.mktemp("copy") / "repository"
    shutil.copytree(root, copy, symlinks=True)
    assert codes(copy, committed=False) == {}
