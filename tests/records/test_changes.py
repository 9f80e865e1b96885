"""Corrections, retractions and tombstones: what was published stays, and what counts is told with its history."""

import json

import pytest

from edgehold.records import load_repository
from edgehold.records.model.changes import ABSENT as ABSENT_VALUE
from edgehold.records.read.json_values import NoSuchPlace, put, value_at

from .builder import (
    ABSENT,
    TODAY,
    correction,
    event,
    make_repository,
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
    write_submission,
    write_tombstone,
)
from .test_objections import OBJECTION, RESPONSE

ORIGINAL = "submissions/measured/small-rope/wren-1.json"
CHANGES = "submissions/measured/small-rope/changes/wren-1"
HUMIDITY = ("/runs/0/humidity_percent", ABSENT, 55)


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path, [submission(), second()])


def read(root):
    return load_repository(root, today=TODAY)


def found(root):
    return [(f.file, f.pointer, f.code) for f in read(root).findings]


def only(root, name="wren-1"):
    return next(s for s in read(root).submissions if s.record.id == name)


# what a correction does


def test_a_correction_counts_and_the_file_stays_as_it_was(root):
    before = (root / ORIGINAL).read_bytes()
    sha256 = only(root).sha256
    write_change(root, 1, correction(HUMIDITY))
    loaded = only(root)
    assert found(root) == []
    assert loaded.record.runs[0].humidity_percent == loaded.runs[0].humidity_percent == 55
    assert (root / ORIGINAL).read_bytes() == before and (loaded.path, loaded.sha256) == (ORIGINAL, sha256)
    assert [change.path for change in loaded.changes] == [f"{CHANGES}/01-correction.json"]


def test_corrections_follow_each_other_and_each_says_what_stood_there(root):
    write_change(root, 1, correction(HUMIDITY))
    write_change(root, 2, correction(("/runs/0/humidity_percent", 55, 60), ("/blades/0/edge", "plain", ABSENT)))
    loaded = only(root)
    assert found(root) == []
    assert loaded.record.runs[0].humidity_percent == 60 and loaded.record.blades[0].edge is None


def test_a_reading_can_be_corrected_and_the_canonical_value_follows(root):
    write_change(root, 1, correction(("/runs/0/readings/1/values/0/written", 1.5, "1,75")))
    assert found(root) == []
    assert only(root).runs[0].readings[1].values[0] == 1.75


def test_one_and_one_point_zero_are_the_same_number_and_true_is_none(root):
    write_change(root, 1, correction(("/runs/0/readings/0/values/0/written", 1, 1.2)))
    assert found(root) == []
    write_change(root, 2, correction(("/runs/0/order", True, 3)))
    assert found(root) == [(f"{CHANGES}/02-correction.json", "/what/0/before", "before-disagrees")]


def test_a_warning_can_be_answered_by_a_correction(root):
    warned = correction(("/runs/0/readings/3/work", 20, 22), ("/answers", ABSENT, []))
    write_change(root, 1, warned)
    (finding,) = read(root).findings
    assert (finding.file, finding.code) == (f"{CHANGES}/01-correction.json", "off-checkpoint")
    answer = {"pointer": "/runs/0/readings/3/work", "code": "off-checkpoint", "says": "the count was lost"}
    write_change(root, 2, correction(("/answers/0", ABSENT, answer)))
    (finding,) = read(root).findings
    assert finding.message.endswith("— answered: the count was lost")


def test_a_correction_may_cure_what_the_file_has_wrong(tmp_path):
    root = make_repository(tmp_path, [submission({"/runs/0/humidity_percent": 155, "/nonsense": 1})])
    assert [code for _, _, code in found(root)] == ["out-of-range", "unknown-field"]
    write_change(root, 1, correction(("/runs/0/humidity_percent", 155, 55), ("/nonsense", 1, ABSENT)))
    assert found(root) == []


# what is refused, and where it is told

EDGE = {"id": "edge-1", "blade": "wren.galley", "sharpener": "wren"}
WIDE = {"edge_angle": {"basis": "per side", "left_deg": 30}}
LOTS = [{"key": "wren.coil", "medium": "rope, cotton, 8 mm"}]
REFUSED = {
    "simulated into measured": (("/origin", "measured", "simulated"), "/what/0/pointer", "fixed-field"),
    "another id": (("/id", "wren-1", "wren-2"), "/what/0/pointer", "fixed-field"),
    "another format": (("/format", "submission/1.0.0", "submission/0.2.0"), "/what/0/pointer", "fixed-field"),
    "another licence": (("/licence", "CC0-1.0", ABSENT), "/what/0/pointer", "fixed-field"),
    "another protocol": (("/protocol/id", "small-rope", "other-rope"), "/what/0/pointer", "fixed-field"),
    "the protocol as a whole": (("/protocol", {}, {}), "/what/0/pointer", "fixed-field"),
    "a place that is not there": (("/runs/7/humidity_percent", ABSENT, 55), "/what/0/pointer", "no-such-place"),
    "a member of a text": (("/month/0", "2", "3"), "/what/0/pointer", "no-such-place"),
    "beyond the end of a list": (("/runs/3", ABSENT, {}), "/what/0/pointer", "no-such-place"),
    "a place in a list by another name": (("/runs/-", ABSENT, {}), "/what/0/pointer", "no-such-place"),
    "something else stood there": (("/runs/0/humidity_percent", 40, 55), "/what/0/before", "before-disagrees"),
    "null is not nothing": (("/runs/0/humidity_percent", None, 55), "/what/0/before", "before-disagrees"),
    "nothing changes": (("/month", "2026-05", "2026-05"), "/what/0/after", "nothing-changed"),
    "a form that no submission has": (("/runs/0/humidity_percent", ABSENT, "wet"), "/what/0/after", "wrong-type"),
    "a field that no submission has": (("/weather", ABSENT, "wet"), "/what/0/after", "unknown-field"),
    "something that others name": (("/lots/0", LOTS[0], {"key": "wren.reel"}), "/what", "unknown-reference"),
    "a month to come": (("/month", "2026-05", "2026-09"), "/what/0/after", "month-in-future"),
    "somebody who is not in people": (("/runs/0/tester", "wren", "auk"), "/what/0/after", "unknown-person"),
    "a value inside": (("/preparations/0", EDGE, EDGE | WIDE), "/what/0/after/edge_angle/left_deg", "wide-angle"),
    "what something else rests on": (("/lots/0", LOTS[0], ABSENT), "/what", "unknown-reference"),
    "other facts than another file has": (("/blades/0/grind", ABSENT, "hollow"), "/what/0/after", "facts-disagree"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_correction_that_must_not_be_is_told_at_its_entry(case, tmp_path):
    entry, place, code = REFUSED[case]
    other = second({"/blades/0/grind": "flat", "/month": "2026-04"})
    write_change(make_repository(tmp_path, [submission(), other]), 1, correction(entry))
    told = found(tmp_path)
    assert {(file, pointer, kind) for file, pointer, kind in told} == {(f"{CHANGES}/01-correction.json", place, code)}
    assert all(f.line > 1 for f in read(tmp_path).findings)


def test_simulated_into_measured_is_told_to_retract(root):
    write_change(root, 1, correction(("/origin", "measured", "simulated")))
    (finding,) = read(root).findings
    assert "retract the submission, and send it in again under another id" in finding.cure


def test_numbers_run_on_and_names_say_what_the_file_is(root):
    write_change(root, 2, correction(HUMIDITY))
    assert [code for _, _, code in found(root)] == ["wrong-number"]
    write_change(root, 1, correction(("/month", "2026-05", "2026-04"), submission="tern-1") | {"submission": "wren-1"})
    assert found(root) == []
    write(root / CHANGES / "03-retraction.json", json.dumps(correction(("/month", "2026-04", "2026-05"))))
    assert [code for _, _, code in found(root)] == ["path-disagrees"]


def test_a_change_belongs_to_a_measured_submission(root):
    write_change(root, 1, correction(HUMIDITY, submission="auk-1"))
    assert [code for _, _, code in found(root)] == ["change-without-submission"]


def test_the_demonstration_is_drawn_again_and_never_corrected(root):
    write(root / "submissions/simulated/small-rope/changes/wren-1/01-correction.json", json.dumps(correction(HUMIDITY)))
    assert [code for _, _, code in found(root)] == ["unexpected-file"]


def test_a_change_that_cannot_be_read_leaves_its_submission_out(root):
    write(root / CHANGES / "01-correction.json", "{")
    assert [code for _, _, code in found(root)] == ["not-json"]
    assert [s.record.id for s in read(root).submissions] == ["tern-1"]


def test_a_change_by_somebody_who_is_not_named_is_warned_of(root):
    write_change(root, 1, correction(HUMIDITY, by="tern"))
    assert found(root) == []
    write_change(root, 2, retraction(by="auk"))
    (finding,) = read(root).findings
    assert (finding.pointer, finding.code, finding.severity) == ("/by", "by-somebody-else", "warning")


# twins


def test_what_a_correction_makes_alike_is_a_twin(tmp_path):
    other = second({"/month": "2026-04", "/runs/0/humidity_percent": 40})
    root = make_repository(tmp_path, [submission({"/month": "2026-04"}), other])
    assert found(root) == []
    write_change(root, 1, correction(("/runs/0/humidity_percent", ABSENT, 40)))
    assert [(file, code) for file, _, code in found(root)] == [(f"{CHANGES}/01-correction.json", "duplicate-content")]


@pytest.mark.parametrize(
    "change",
    [
        {"/submitted_by": "tern"},
        {"/note": "sent again"},
        {"/people/0/sharpening": "novice"},
        {"/runs/0/note": "a note"},
        {"/runs/0/readings/0/values/0/canonical": 1.0},
        {"/plan": {"id": "some-plan"}},
    ],
    ids=lambda change: next(iter(change)),
)
def test_nothing_beside_the_experiment_hides_a_twin(change, tmp_path):
    make_repository(tmp_path, [submission(), submission({"/id": "wren-2"} | change)])
    (finding,) = read(tmp_path).findings
    assert finding.code == "duplicate-content" and ORIGINAL in finding.message


# retraction


def test_a_retracted_submission_stays_readable_and_counts_nowhere(root):
    write_change(root, 1, correction(HUMIDITY))
    write_change(root, 2, retraction())
    repository = read(root)
    assert repository.findings == ()
    assert [s.record.id for s in repository.submissions] == ["tern-1"]
    (gone,) = repository.retracted
    assert gone.record.id == "wren-1" and len(gone.runs) == 2 and gone.runs[0].steel == "aisi-1095"
    assert gone.retraction.record.why == "the thread had been changed between the runs"


def test_what_a_retracted_submission_says_binds_nobody(tmp_path):
    root = make_repository(tmp_path, [submission({"/blades/0/grind": "flat"}), second({"/blades/0/grind": "hollow"})])
    assert [code for _, _, code in found(root)] == ["facts-disagree"]
    write_change(root, 1, retraction())
    assert found(root) == []


def test_a_retracted_submission_may_be_sent_in_again_under_another_id(root):
    write_change(root, 1, retraction())
    write_submission(root, submission({"/id": "wren-2"}))
    assert found(root) == []


def test_one_that_never_checked_can_be_retracted_too(tmp_path):
    root = make_repository(tmp_path, [submission({"/runs/0/preparation": "nothing", "/runs/1/reading_unit": "furlong"}), pilot()])
    write_change(root, 1, retraction())
    assert found(root) == []
    assert read(root).retracted[0].runs == ()


@pytest.mark.parametrize("later", [retraction(), correction(HUMIDITY)], ids=["retracted again", "corrected"])
def test_a_retraction_is_the_end(later, root):
    write_change(root, 1, retraction())
    write_change(root, 2, later)
    assert [(pointer, code) for _, pointer, code in found(root)] == [("/kind", "after-retraction")]


def test_an_objection_and_an_adoption_that_cite_what_is_gone_are_warned_of(root):
    folder = root / "protocols/small-rope/objections/001-stone-wears"
    write(folder / "00-objection.md", markdown(OBJECTION, "Because.\n"))
    cited = RESPONSE | {"evidence": [{"submission": "wren-1"}, {"submission": "tern-1"}]}
    write(folder / "01-response.md", markdown(cited, "Because.\n"))
    write_event(root / "protocols/small-rope", 4, event("retired", "1.0.0", month="2026-07", pilot="tern-1"))
    already = [code for _, _, code in found(root)]
    write_change(root, 1, retraction())
    (root / "submissions/measured/small-rope/tern-1.json").unlink()
    write_tombstone(root, "tern-1")
    told = [(f.file.rpartition("/")[2], f.severity) for f in read(root).findings if f.code == "cites-gone"]
    assert "cites-gone" not in already
    assert told == [
        ("003-adopted.yaml", "warning"),
        ("004-retired.yaml", "warning"),
        ("01-response.md", "warning"),
        ("01-response.md", "warning"),
    ]


# tombstones


def test_a_tombstone_takes_the_place_of_a_submission(root):
    (root / ORIGINAL).unlink()
    write_tombstone(root, "wren-1")
    repository = read(root)
    assert repository.findings == () and [t.id for t in repository.tombstones] == ["wren-1"]


def test_a_tombstone_beside_its_file_or_an_id_used_again_is_refused(root):
    write_tombstone(root, "wren-1")
    assert found(root) == [(ORIGINAL, "/id", "tombstone-and-file")]
    (root / ORIGINAL).unlink()
    assert found(root) == []


def test_changes_of_a_submission_that_was_taken_out_go_with_it(root):
    write_change(root, 1, correction(HUMIDITY))
    (root / ORIGINAL).unlink()
    write_tombstone(root, "wren-1")
    assert [code for _, _, code in found(root)] == ["change-without-submission"]


@pytest.mark.parametrize(
    ("name", "expected"), [("aux", "reserved-id"), ("Wren-1", "wrong-case"), ("x", "unexpected-file")], ids=lambda value: str(value)
)
def test_ids_of_tombstones_are_ids(name, expected, root):
    write_tombstone(root, name)
    assert [code for _, _, code in found(root)] == [expected]


def test_the_name_of_a_tombstone_is_its_id(root):
    write(
        root / "submissions/tombstones/auk-1.json",
        json.dumps({"format": "tombstone/1.0.0", "id": "auk-2", "month": "2026-06", "reason": "legal"}),
    )
    assert [code for _, _, code in found(root)] == ["path-disagrees"]


# pointers (RFC 6901 section 5: the document of its examples, with what each pointer stands for)

EXAMPLE = {
    "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7, "m~n": 8,
}  # fmt: skip


@pytest.mark.parametrize(
    ("pointer", "value"),
    [("/foo", ["bar", "baz"]), ("/foo/0", "bar"), ("/", 0), ("/a~1b", 1), ("/c%d", 2), ("/e^f", 3), ("/g|h", 4), ("/i\\j", 5), ('/k"l', 6),
     ("/ ", 7), ("/m~0n", 8)],
)  # fmt: skip
def test_pointers_lead_where_the_standard_says(pointer, value):
    assert value_at(EXAMPLE, pointer) == value


def test_values_are_put_and_taken_out_in_place():
    tree = {"list": [1, 2, 3]}
    put(tree, "/list/1", ABSENT_VALUE)
    put(tree, "/list/2", 4)
    put(tree, "/name", "x")
    put(tree, "/nothing", ABSENT_VALUE)
    assert tree == {"list": [1, 3, 4], "name": "x"}
    for pointer in ("/list/01", "/list/-1", "/list/9", "/list/x", "/no/way", "/name/0"):
        with pytest.raises(NoSuchPlace):
            put(tree, pointer, 1)


# names that some system keeps for itself, or takes for others'


@pytest.mark.parametrize("name", ["aux", "con", "index", "com1"])
def test_no_file_may_have_a_name_that_some_system_keeps(name, tmp_path):
    make_repository(tmp_path, [submission({"/id": name, "/protocol/id": name})], [protocol({"/id": name})])
    write_tombstone(tmp_path, f"{name}")
    write_person(tmp_path, name)
    told = {f.file for f in read(tmp_path).findings if f.code == "reserved-id"}
    assert told == {
        f"protocols/{name}/1.0.0.md",
        f"submissions/measured/{name}/{name}.json",
        f"submissions/people/{name}.json",
        f"submissions/tombstones/{name}.json",
    }


@pytest.mark.parametrize(
    "path",
    [
        "protocols/Small-Rope/1.0.0.md",
        "submissions/measured/Small-Rope/wren-2.json",
        "submissions/measured/small-rope/Wren-1.json",
        "submissions/measured/small-rope/changes/Wren-1/01-correction.json",
        "submissions/measured/small-rope/changes/wren-1/01-Correction.json",
        "submissions/tombstones/Auk-1.json",
        "submissions/people/Wren.json",
    ],
)
def test_capitals_are_refused_in_every_name(path, root):
    write(root / path, "{}")
    assert {"wrong-case", "ids-differ-in-case"} & {f.code for f in read(root).findings}
