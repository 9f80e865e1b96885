"""Objections and versions as published, from a small repository with several objections to two versions of one protocol."""

import csv
import io
import json
from pathlib import Path

import pytest

from edgehold.estimates import repeatability_table
from edgehold.forms.submission import forms
from edgehold.records import load_repository
from edgehold.results.publish.objections import objection_results
from edgehold.results.publish.repeatability import publish
from edgehold.results.publish.text_changes import step_titles, text_changes
from edgehold.results.publish.versions import protocol_results
from edgehold.results.tables.cells import csv_bytes
from edgehold.results.tables.objections import objections as objection_table
from tests.records.builder import BODY, TODAY, adopt, changed, markdown, protocol, submission, write, write_protocol, write_submission

NEWER = {"/version": "1.1.0", "/changes": "Reads three times.", "/reading/repeats": 3}
NEWER_BODY = BODY.replace("Cut and read.\n", "Cut, wipe, read three times.\n\nWrite it down.\n")
OBJECTION = {
    "format": "objection/1.0.0",
    "kind": "objection",
    "against": {"protocol": "small-rope", "version": "1.0.0", "step": "s2-cut-and-read"},
    "title": "Two readings are few",
    "threat": "instrument",
    "severity": "material",
    "interest": "none",
    "by": "auk",
    "month": "2026-02",
}
UNPRINTABLE = ("slugword", "titleword", "statementword", "cureword", "sourceword", "answerword")


def response(says: str, **changes) -> dict:
    found = {"format": "objection/1.0.0", "kind": "response", "response": says, "by": "wren", "interest": "owner", "month": "2026-03"}
    return found | changes


def outcome(says: str, **changes) -> dict:
    return {"format": "objection/1.0.0", "kind": "outcome", "outcome": says, "by": "dunlin", "month": "2026-04"} | changes


class Written:
    """A repository to which objections are added one after another."""

    def __init__(self, root: Path) -> None:
        self.root, self.number = root, 0
        write_protocol(root, protocol())
        write_protocol(root, protocol(NEWER), NEWER_BODY)
        records = [submission(), submission({"/id": "wren-2", "/protocol/version": "1.1.0"})]
        adopt(root / "protocols" / "small-rope", records)
        for record in records:
            write_submission(root, record)

    def object(self, *entries: tuple[dict, str], body: str = "Because.", name: str = "flaw", folder: str = "small-rope", **changes) -> int:
        self.number += 1
        place = self.root / "protocols" / folder / "objections" / f"{self.number:03d}-{name}"
        threat = changed(OBJECTION, {f"/{key.replace('__', '/')}": value for key, value in changes.items()})
        for count, (front, text) in enumerate([(threat, body), *entries]):
            write(place / f"{count:02d}-{front['kind']}.md", markdown(front, text + "\n"))
        return self.number

    def load(self):
        return load_repository(self.root, today=TODAY)


@pytest.fixture
def written(tmp_path) -> Written:
    return Written(tmp_path)


def published(written):
    return {o.number: o for o in objection_results(written.load())}


def versions(written):
    return {p.version: p for p in protocol_results(written.load())}


REVISED = ((response("revision", revised_in="1.1.0"), "Three now."), (outcome("revised"), "It does."))


def test_an_objection_is_told_with_its_thread_in_order(written):
    written.object((response("rebuttal", evidence=[{"probe": "lot"}, {"citation": "A book."}]), "Not so."), (outcome("rebutted"), "Right."))
    (found,) = published(written).values()
    assert (found.state, found.statement, found.interest, found.stands_against) == ("rebutted", "Because.", "none", ())
    assert [(e.kind, e.says, e.by, e.interest, e.text) for e in found.entries] == [
        ("response", "rebuttal", "wren", "owner", "Not so."),
        ("outcome", "rebutted", "dunlin", "", "Right."),
    ]
    assert [(e.probe, e.submission, e.citation) for e in found.entries[0].evidence] == [("lot", "", ""), ("", "", "A book.")]


def test_probes_come_once_each_from_the_objection_and_from_responses(written):
    written.object((response("rebuttal", evidence=[{"probe": "lot"}, {"probe": "humidity"}]), "No."), evidence=[{"probe": "humidity"}])
    assert published(written)[1].probes == ("humidity", "lot")


def test_an_objection_stands_until_the_version_that_cures_it(written):
    written.object()
    written.object(*REVISED)
    found = published(written)
    assert (found[1].stands_against, found[1].revised_in) == (("1.0.0", "1.1.0"), "")
    assert (found[2].stands_against, found[2].revised_in, found[2].state) == (("1.0.0",), "1.1.0", "revised")
    assert [versions(written)[v].standing for v in ("1.0.0", "1.1.0")] == [(1, 2), (1,)]
    assert [versions(written)[v].concerned for v in ("1.0.0", "1.1.0")] == [(1, 2), (1, 2)]


def test_one_that_repeats_another_is_decided_there_and_named_there(written):
    written.object(*REVISED)
    written.object(duplicate_of=1)
    found, shown = published(written), versions(written)["1.0.0"]
    assert (found[2].repeats, found[2].state, found[1].repeated_by) == (1, "revised", (2,))
    assert shown.concerned == (1, 2) and shown.standing == (1,)
    assert [step.objections for step in shown.steps] == [(), (1,)]


def test_of_a_struck_objection_nothing_that_was_written_is_left(written):
    slug, title, statement, cure, source, answer = UNPRINTABLE
    given = {"title": title, "proposed_change": cure, "evidence": [{"citation": source}, {"probe": "lot"}]}
    written.object(
        (response("rebuttal", evidence=[{"citation": source}]), answer),
        (outcome("struck", month="2026-05"), "It speaks of a person."),
        body=statement,
        name=slug,
        **given,
    )
    results = objection_results(written.load())
    pages = "".join(version.model_dump_json(exclude={"body"}) for version in protocol_results(written.load()))
    text = results[0].model_dump_json() + pages
    assert [word for word in UNPRINTABLE if word in text] == []
    assert (results[0].number, results[0].state, results[0].by, results[0].probes) == (1, "struck", "", ())
    assert [(e.says, e.text) for e in results[0].entries] == [("struck", "It speaks of a person.")]


def test_a_struck_objection_that_is_opened_again_is_told_again(written):
    written.object((outcome("struck"), "Out of order."), (outcome("open", month="2026-05"), "It was not."), title="Two readings are few")
    (found,) = published(written).values()
    assert (found.state, found.title, len(found.entries)) == ("open", "Two readings are few", 2)


def test_aliases_stand_in_all_that_was_written(written):
    written.object((response("rebuttal", evidence=[{"citation": "After auk, 2020"}]), "As auk says."), proposed_change="Ask auk.")
    person = {"format": "person/1.0.0", "handle": "auk", "shown_as": "razorbill"}
    write(written.root / "submissions" / "people" / "auk.json", json.dumps(person))
    (found,) = published(written).values()
    assert "auk" not in found.model_dump_json() and found.by == "razorbill"
    assert found.proposed_change == "Ask razorbill." and found.entries[0].evidence[0].citation == "After razorbill, 2020"


def test_only_a_blocking_objection_bars_and_only_one_about_safety_closes_the_form(written):
    written.object()
    written.object(severity="blocking")
    assert [(v.blocking, v.closed_by) for v in versions(written).values()] == [((2,), ()), ((2,), ())]
    written.object(*REVISED, severity="blocking", threat="safety")
    assert [(v.blocking, v.closed_by) for v in versions(written).values()] == [((2, 3), (3,)), ((2,), ())]


def test_a_closed_version_has_no_form_and_the_others_keep_theirs(written):
    def offered():
        repository = written.load()
        return set(forms(repository, publish(repeatability_table((), repository.protocols), repository)))

    assert offered() == {("small-rope", "1.0.0"), ("small-rope", "1.1.0")}
    written.object(*REVISED, severity="blocking", threat="safety")
    assert offered() == {("small-rope", "1.1.0")}


def test_threats_meet_objections_of_their_kind_at_their_steps(written):
    written.object(threat="confounding", against__step="s1-prepare")
    written.object(threat="confounding")
    written.object(threat="medium")
    found = [(t.kind, bool(t.text), t.steps, t.objections) for t in versions(written)["1.0.0"].threats]
    assert found == [("confounding", True, ("s1-prepare",), (1,)), ("confounding", False, (), (2,)), ("medium", False, (), (3,))]


def test_an_objection_to_a_later_version_does_not_concern_an_earlier_one(written):
    written.object(against__version="1.1.0")
    assert [v.concerned for v in versions(written).values()] == [(), (1,)]


def test_a_version_says_what_it_changes_and_what_it_cures(written):
    written.object(*REVISED)
    found = versions(written)
    difference = found["1.1.0"].difference
    assert found["1.0.0"].difference is None
    assert (difference.older, difference.level, difference.cures) == ("1.0.0", "minor", (1,))
    assert [(f.names, f.before, f.after) for f in difference.fields] == [(("reading", "repeats"), "2", "3")]
    assert [(s.id, s.objections) for s in difference.steps] == [("s2-cut-and-read", (1,))]


def test_the_part_of_the_number_that_grew_is_told_beside_what_was_asked(tmp_path):
    write_protocol(tmp_path, protocol())
    write_protocol(tmp_path, protocol(NEWER | {"/version": "2.0.0"}), NEWER_BODY)
    (tmp_path / "submissions").mkdir()
    difference = protocol_results(load_repository(tmp_path, today=TODAY))[1].difference
    assert (difference.level, difference.asked) == ("major", "minor")


def test_events_are_told_with_what_they_rest_on(written):
    assert [(e.kind, e.by, e.pilot) for e in versions(written)["1.0.0"].events] == [
        ("released", "board", ""),
        ("opened for review", "board", ""),
        ("adopted", "moot", "wren-1"),
    ]


def test_the_table_has_a_row_for_every_objection_and_no_text_of_a_struck_one(written):
    written.object(*REVISED, title="=1+1", simulated=True, evidence=[{"probe": "lot"}])
    written.object((outcome("struck"), "Out of order."), title="titleword")
    written.object(folder="analysis", against={}, threat="analysis")

    class Results:
        objections = objection_results(written.load())

    rows = list(csv.DictReader(io.StringIO(csv_bytes(*objection_table(Results)).decode())))
    assert [(r["protocol"], r["number"], r["state"]) for r in rows] == [
        ("", "3", "open"),
        ("small-rope", "1", "revised"),
        ("small-rope", "2", "struck"),
    ]
    assert (rows[1]["title"], rows[1]["simulated"], rows[1]["revised_in"], rows[1]["decided"], rows[1]["probes"]) == (
        "'=1+1",
        "true",
        "1.1.0",
        "2026-04",
        "lot",
    )
    assert rows[2]["title"] == rows[2]["by"] == ""


def test_steps_are_called_what_their_headings_say():
    assert step_titles("### s1-a · First\n\nx\n\n## s2 – Second one\n\n#### s3-c\n") == {"s1-a": "First", "s2": "Second one", "s3-c": ""}


def test_every_changed_line_is_told_with_the_step_it_stood_in():
    changes = [(c.step, c.kind, c.lines) for c in text_changes(BODY, NEWER_BODY) if not c.folded and c.kind != "same"]
    assert changes == [
        ("s2-cut-and-read", "removed", ("Cut and read.",)),
        ("s2-cut-and-read", "added", ("Cut, wipe, read three times.", "", "Write it down.")),
    ]


def test_a_step_that_went_is_told_under_its_own_name():
    changes = [(c.step, c.kind) for c in text_changes("### s1-a\n\nx\n\n### s2-b\n\ny\n", "### s1-a\n\nx\n") if c.kind != "same"]
    assert changes[-1] == ("s2-b", "removed") and {kind for _, kind in changes} == {"removed"}


def test_folded_stretches_and_lines_add_up_to_both_texts():
    older = "intro\n\n" + "\n\n".join(f"### s{n}-x\n\nline {n}\n\nmore" for n in range(1, 9)) + "\n"
    newer = older.replace("line 6", "another line")
    found = text_changes(older, newer)
    assert any(c.folded for c in found)
    kept = sum(c.folded or len(c.lines) for c in found if c.kind == "same")
    assert kept + sum(len(c.lines) for c in found if c.kind == "removed") == len(older.strip().splitlines())
    assert {c.step for c in found if c.kind != "same"} == {"s6-x"}
