"""`edgehold draft`: every kind of file lands where it belongs, is checked with everything else, and is never written over another."""

from __future__ import annotations

import hashlib
import shutil

import pytest

from edgehold.cli import main
from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.model.review import OBJECTION_FORMAT
from edgehold.review.drafts import name_of, objection_draft
from tests.records.builder import adopt, event, make_repository, protocol, write_event, write_protocol

OBJECTION = {
    "against": "small-rope@1.0.0",
    "step": "s2-cut-and-read",
    "title": "Rope gets harder along the coil",
    "threat": "medium",
    "severity": "material",
    "statement": "Later cuts meet harder rope.",
    "change": "Cut both edges from one metre.",
    "interest": "none",
    "by": "auk",
    "month": "2026-05",
}
FOLDER = "protocols/small-rope/objections/001-rope-gets-harder-along-the-coil"


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path)


def run(root, draft, /, *positional, **options):
    """The command's exit status."""
    words = [word for name, value in options.items() for word in (f"--{name.replace('_', '-')}", str(value))]
    return main(["draft", draft, "--root", str(root), *map(str, positional), *words])


def files(root):
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in root.rglob("*") if path.is_file()}


def errors(root):
    return [(f.file, f.code) for f in load_repository(root).errors]


def test_an_objection_gets_the_next_number_and_reads_back_as_it_was_said(root, capsys):
    assert run(root, "objection", **OBJECTION) == 0
    assert capsys.readouterr().out == f"wrote {FOLDER}/00-objection.md\n"
    (thread,) = load_repository(root).objections
    assert (thread.number, thread.protocol, thread.statement) == (1, "small-rope", "Later cuts meet harder rope.")
    said = thread.objection
    assert (said.against.version, said.against.step, said.against.endpoint) == ("1.0.0", "s2-cut-and-read", None)
    assert (said.title, said.threat, said.severity, said.by, said.month) == (
        "Rope gets harder along the coil", "medium", "material", "auk", "2026-05",
    )  # fmt: skip
    assert said.proposed_change == "Cut both edges from one metre." and said.interest == "none"
    assert run(root, "objection", **OBJECTION | {"duplicate_of": 1}) == 0
    assert [(t.number, t.objection.duplicate_of) for t in load_repository(root).objections] == [(1, None), (2, 1)]
    assert errors(root) == []


def test_an_objection_to_the_analysis_lies_under_its_own_folder(root):
    own = {name: value for name, value in OBJECTION.items() if name != "step"}
    assert run(root, "objection", **own | {"against": "analysis", "evidence": "probe:lot"}) == 0
    (thread,) = load_repository(root).objections
    assert (thread.protocol, thread.objection.against.protocol, thread.objection.evidence[0].probe) == ("analysis", None, "lot")


def test_everything_that_is_missing_is_named_at_once_with_the_words_allowed(root, capsys):
    assert run(root, "objection", title="x") == 2
    told = capsys.readouterr().err
    for name in ("--against: ID@VERSION", "--threat", "confounding, carry-over, order", "blocking, material, minor", "--statement", "--by"):
        assert name in told
    assert "--title" not in told and "--interest" not in told


def test_what_is_out_of_form_is_named_by_its_option(root, capsys):
    before = files(root)
    assert run(root, "objection", **OBJECTION | {"threat": "ordre", "by": "Auk", "month": "May"}) == 2
    told = capsys.readouterr().err
    assert "--threat:" in told and "did you mean 'order'" in told and "--by: 'Auk' has capitals" in told and "--month:" in told
    assert files(root) == before


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"against": "small-rope"}, r"no version of a protocol; there are small-rope@1\.0\.0"),
        ({"against": "../small-rope@1.0.0"}, "no version of a protocol"),
        ({"against": "analysis"}, "--step belongs to a protocol's version"),
        ({"duplicate_of": "first"}, "--duplicate-of 'first' is no number"),
        ({"evidence": ["lot"]}, "wanted probe:NAME, submission:ID or citation:TEXT"),
        ({"title": "\udcff"}, "wanted UTF-8"),
        ({"statement": "\udcff"}, "wanted UTF-8"),
    ],
)
def test_a_callers_mistake_says_what_was_wanted(root, changes, said):
    with pytest.raises(InputError, match=said):
        objection_draft(root, OBJECTION | changes)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"step": "s9-unknown"}, "unknown-step"),
        ({"endpoint": "never"}, "unknown-reference"),
        ({"against": "small-rope@9.0.0"}, "unknown-version"),
        ({"evidence": "probe:moon-phase"}, "unknown-probe"),
        ({"month": "2999-01"}, "month-in-future"),
        ({"duplicate_of": 7}, "unknown-reference"),
        ({"statement": " "}, "empty-body"),
    ],
)
def test_an_objection_that_would_not_check_is_told_and_taken_away_again(root, capsys, changes, code):
    before = files(root)
    assert run(root, "objection", **OBJECTION | changes) == 1
    assert code in capsys.readouterr().err
    assert files(root) == before
    assert not (root / "protocols" / "small-rope" / "objections").exists()


def test_a_thread_goes_on_with_a_rebuttal_and_an_outcome_by_a_third_person(root):
    run(root, "objection", **OBJECTION)
    answer = {"text": "It does not, in 40 runs.", "by": "board", "month": "2026-06", "interest": "none"}
    assert run(root, "response", "small-rope", 1, kind="rebuttal", evidence="probe:coil-position", **answer) == 0
    assert run(root, "outcome", "small-rope", 1, outcome="rebutted", reason="The probe says so.", by="moot", month="2026-06") == 0
    (thread,) = load_repository(root).objections
    assert [path.name for path in sorted((root / FOLDER).iterdir())] == ["00-objection.md", "01-response.md", "02-outcome.md"]
    assert [(type(entry).__name__, text) for entry, text in thread.entries] == [
        ("Response", "It does not, in 40 runs."),
        ("Outcome", "The probe says so."),
    ]


def test_entries_that_break_a_rule_are_taken_away_again(root, capsys):
    run(root, "objection", **OBJECTION)
    before = files(root)
    assert run(root, "response", "small-rope", 1, kind="rebuttal", text="No.", by="board", month="2026-06") == 1
    assert "no-evidence" in capsys.readouterr().err
    assert run(root, "response", "small-rope", 1, kind="revision", revised_in="1.0.0", text="Done.", by="board", month="2026-06") == 1
    assert "revision-misses" in capsys.readouterr().err
    assert run(root, "outcome", "small-rope", 1, outcome="upheld and unresolved", reason="So be it.", by="auk", month="2026-06") == 1
    assert "not-impartial" in capsys.readouterr().err
    assert run(root, "response", "small-rope", 4, kind="rebuttal", text="No.", by="board") == 2
    assert "there is no objection 4 to 'small-rope'; there are 1" in capsys.readouterr().err
    assert files(root) == before


def test_texts_can_come_from_standard_input(root, monkeypatch):
    class Given:
        def read(self):
            return "Line one.\n\nLine: two\n"

    monkeypatch.setattr("sys.stdin", Given())
    assert run(root, "objection", **OBJECTION | {"statement": "-"}) == 0
    assert load_repository(root).objections[0].statement == "Line one.\n\nLine: two"


def test_print_changes_no_file(root, capsys):
    before = files(root)
    words = [word for name, value in OBJECTION.items() for word in (f"--{name}", value)]
    assert main(["draft", "objection", "--root", str(root), "--print", *words]) == 0
    told = capsys.readouterr()
    assert (
        told.out.startswith(f"---\nformat: {OBJECTION_FORMAT}\nkind: objection\n") and f"its place is {FOLDER}/00-objection.md" in told.err
    )
    assert files(root) == before


def test_a_copy_is_the_file_with_id_version_and_changes_exchanged(root, capsys):
    assert run(root, "protocol", "small-rope", **{"from": "small-rope@1.0.0"}) == 0
    old, new = ((root / f"protocols/small-rope/{v}.md").read_text().splitlines() for v in ("1.0.0", "1.1.0"))
    differing = [line for line in new if line not in old]
    assert differing == ['version: "1.1.0"', "changes: say here what is new"]
    assert len(old) == len(new)
    assert errors(root) == [] and not any(e.version == "1.1.0" for e in load_repository(root).events["small-rope"])
    assert run(root, "protocol", "small-rope", **{"from": "small-rope@1.0.0"}) == 0  # the next one
    assert (root / "protocols/small-rope/1.2.0.md").is_file()
    before = files(root)
    assert run(root, "protocol", "small-rope", **{"from": "small-rope@1.0.0", "version": "1.1.0"}) == 2
    assert "is there already" in capsys.readouterr().err
    assert files(root) == before


def test_a_copy_survives_fields_of_several_lines_and_takes_its_drawings_along(tmp_path):
    folder = tmp_path / "protocols" / "small-rope"
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg"/>'
    figure = {"file": "figures/hold.svg", "sha256": hashlib.sha256(drawing).hexdigest(), "caption": "The hold"}
    make_repository(tmp_path, [], [protocol({"/changes": "first: version\nof many " + "words " * 20, "/figures": [figure]})])
    (folder / "figures").mkdir()
    (folder / "figures" / "hold.svg").write_bytes(drawing)
    assert errors(tmp_path) == []
    assert run(tmp_path, "protocol", "other-rope", **{"from": "small-rope@1.0.0", "version": "1.0.0"}) == 0
    assert errors(tmp_path) == []
    copied = load_repository(tmp_path).protocols[("other-rope", "1.0.0")]
    source = load_repository(tmp_path).protocols[("small-rope", "1.0.0")]
    same = {"id", "version", "changes"}
    assert copied.record.model_dump(exclude=same) == source.record.model_dump(exclude=same) and copied.body == source.body
    assert copied.record.changes == "say here what is new"
    assert (tmp_path / "protocols/other-rope/figures/hold.svg").read_bytes() == drawing


def test_a_skeleton_asks_for_every_field_and_says_how_many_are_left(root, capsys):
    assert run(root, "protocol", "new-rope") == 0
    assert "places are still to be filled in" in capsys.readouterr().out
    text = (root / "protocols/new-rope/1.0.0.md").read_text()
    for words in (
        "# The one factor whose effect is asked for; level: the levels below.",
        "One of: sharpener, steel, blade, level",
        "figures: []",
        "primary: false",
        "### s1-prepare",
    ):
        assert words in text
    found = [f for f in load_repository(root).errors if f.file.endswith("new-rope/1.0.0.md")]
    assert {f.code for f in found} <= {"wrong-type", "unknown-word", "empty-list"}
    assert not any(f.code in ("unknown-field", "missing-field") for f in found)


@pytest.mark.parametrize("name", ["Rope", "x", "../rope", "analysis", "new", "con"])
def test_a_protocol_needs_an_id_that_is_free_for_it(root, name, capsys):
    before = files(root)
    assert run(root, "protocol", name) == 2
    assert name in capsys.readouterr().err and files(root) == before


def test_events_carry_a_version_from_draft_to_adoption(tmp_path, capsys):
    root = make_repository(tmp_path)
    write_protocol(root, protocol({"/version": "1.0.1", "/changes": "wording", "/title": "A small test"}))
    path = root / "protocols/small-rope/1.0.1.md"
    assert run(root, "event", "small-rope", "1.0.1", kind="adopted", by="moot", month="2026-06") == 1
    assert "event-order" in capsys.readouterr().err
    assert run(root, "event", "small-rope", "1.0.1", kind="released", by="board", month="2026-06") == 0
    assert run(root, "event", "small-rope", "1.0.1", kind="opened for review", by="board", month="2026-06", evidence="all: agreed") == 0
    own = [e for e in load_repository(root).events["small-rope"] if e.version == "1.0.1"]
    assert [(e.kind, e.sha256, e.evidence) for e in own] == [
        ("released", hashlib.sha256(path.read_bytes()).hexdigest(), None),
        ("opened for review", None, "all: agreed"),
    ]
    assert (root / "protocols/small-rope/events/005-opened-for-review-1-0-1.yaml").is_file()
    assert run(root, "event", "small-rope", "7.0.0", kind="retired", by="board") == 2
    assert "there is no version '7.0.0'" in capsys.readouterr().err


def test_nothing_is_written_over_a_file_that_is_in_the_way(root, capsys):
    shutil.copytree(root / "protocols/small-rope/events", root / FOLDER / "00-objection.md")  # no file, so no number of its own
    before = files(root)
    assert run(root, "objection", **OBJECTION) == 2
    assert "is there already" in capsys.readouterr().err
    assert files(root) == before


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Is 0.2 N – or less – read?", "is-0-2-n-or-less-read"),
        ("Éclat d’acier", "eclat-d-acier"),
        ("縄が固くなる", "objection"),
        ("word " * 40, "-".join(["word"] * 10)),
        ("x" * 80, "x" * 50),
    ],
)
def test_a_folder_is_named_by_the_title(title, name):
    assert name_of(title) == name


def test_objections_written_by_the_command_may_follow_a_retired_event(tmp_path):
    make_repository(tmp_path, [], adopted=False)
    adopt(tmp_path / "protocols/small-rope")
    write_event(tmp_path / "protocols/small-rope", 4, event("retired", "1.0.0", month="2026-02"))
    assert run(tmp_path, "objection", **OBJECTION) == 0
