"""Corrections, retractions, tombstones and aliases all the way to what is published."""

import json
import shutil

import pytest

from edgehold.builds import pool, site
from tests.records.builder import (
    correction,
    event,
    make_repository,
    markdown,
    retraction,
    second,
    submission,
    values,
    write,
    write_change,
    write_event,
    write_person,
    write_submission,
    write_tombstone,
)
from tests.records.test_objections import OBJECTION, RESPONSE

HANDLE = "zosterops"  # a word that stands nowhere else
BLUNTER = ("/runs/1/readings/2/values", values(2.0, 2.2), values(8.0, 8.4))


def by_handle(name: str) -> dict:
    """A submission in which HANDLE does everything that somebody can do."""
    renamed = json.loads(json.dumps(submission()).replace("wren", HANDLE))
    note = f"{HANDLE.title()} held the rope, and {HANDLE}.coil was damp."
    blade = renamed["blades"][0] | {"interest": [{"person": HANDLE, "interest": "owner"}], "batch": f"{HANDLE}.heat"}
    run = renamed["runs"][0] | {"tester_guess": {"sharpener": HANDLE, "blade": f"{HANDLE}.galley"}, "lot_changes": None}
    answers = [{"pointer": "/preparations/0/edge_angle/left_deg", "code": "wide-angle", "says": f"{HANDLE} measured it"}]
    wide = renamed["preparations"][0] | {"edge_angle": {"basis": "per side", "left_deg": 30}}
    lot = {"key": f"{HANDLE}.other", "medium": renamed["lots"][0]["medium"]}
    run |= {"lot_changes": [{"at_work": 20, "lot": lot["key"]}]}
    return renamed | {
        "id": name, "note": note, "blades": [blade], "runs": [run, renamed["runs"][1]], "answers": answers,
        "preparations": [wide, renamed["preparations"][1]], "lots": [*renamed["lots"], lot],
    }  # fmt: skip


def results(root) -> dict:
    pool(root)
    return json.loads((root / "build/results/results.json").read_text())


def estimates(found: dict) -> list:
    return found["pools"], [s["answers"] for s in found["submissions"]]


def test_what_is_pooled_is_what_a_correction_says(tmp_path):
    corrected = make_repository(tmp_path / "corrected", [submission(), second()])
    write_change(corrected, 1, correction(BLUNTER))
    afresh = make_repository(tmp_path / "afresh", [submission({BLUNTER[0]: BLUNTER[2]}), second()])
    as_sent = make_repository(tmp_path / "as_sent", [submission(), second()])
    found = results(corrected)
    assert estimates(found) == estimates(results(afresh)) != estimates(results(as_sent))
    (kept,) = [s for s in found["submissions"] if s["id"] == "wren-1"]
    (change,) = kept["changes"]
    assert kept["state"] == "corrected" and kept["sha256"] == results(as_sent)["submissions"][-1]["sha256"]
    assert json.loads(change["what"][0]["before"]) == BLUNTER[1] and json.loads(change["what"][0]["after"]) == BLUNTER[2]


def test_what_is_retracted_is_in_no_result_and_on_its_page(tmp_path):
    root = make_repository(tmp_path / "with", [submission(), second()])
    write_change(root, 1, retraction())
    folder = root / "protocols/small-rope/objections/001-stone-wears"
    write(folder / "00-objection.md", markdown(OBJECTION, "Because.\n"))
    write(folder / "01-response.md", markdown(RESPONSE, "Because.\n"))
    without = make_repository(tmp_path / "without", [second()])
    first = site(root)
    found = json.loads((root / "build/results/results.json").read_text())
    assert estimates(found) == estimates(results(without))
    assert [s["id"] for s in found["retracted"]] == ["wren-1"] and len(found["retracted"][0]["runs"]) == 2
    page = (first.parent / "submissions/measured/small-rope/wren-1/index.html").read_text()
    ledger = (first.parent / "submissions/index.html").read_text()
    assert "<s>wren-1</s>" in page and "<s>wren-1</s>" in ledger
    assert "the thread had been changed between the runs" in page and "the thread had been changed between the runs" in ledger
    assert "wren-1, which was retracted" in (first.parent / "objections/small-rope/001/index.html").read_text()
    tables = {name: (root / f"build/results/{name}.csv").read_text() for name in ("submissions", "changes", "readings", "runs")}
    assert "wren-1" in tables["submissions"] and "wren-1" in tables["changes"]
    assert "wren-1" not in tables["readings"] and "wren-1" not in tables["runs"]


def test_of_what_was_taken_out_one_line_is_left(tmp_path):
    root = make_repository(tmp_path / "with", [second()])
    write_tombstone(root, "wren-1")
    first = site(root)
    found = json.loads((root / "build/results/results.json").read_text())
    assert found["removed"] == [{"id": "wren-1", "month": "2026-06", "reason": "privacy"}]
    holding = {path for path in (root / "build/made").rglob("*") if path.is_file() and b"wren-1" in path.read_bytes()}
    assert holding
    assert not (first.parent / "submissions/measured/small-rope/wren-1").exists()
    assert {path.name for path in holding} <= {"index.html", "results.json", "removed.csv", "index.json"}
    assert "Taken out" in (first.parent / "submissions/index.html").read_text()


@pytest.fixture(scope="module")
def aliased(tmp_path_factory):
    """A built site in which one handle did all that can be done, and is shown as another."""
    root = make_repository(
        tmp_path_factory.mktemp("aliased"), [by_handle("evening-1"), by_handle("evening-2") | {"month": "2026-04"}, second()]
    )
    write_change(root, 1, correction(("/submitted_by", HANDLE, "tern"), submission="evening-1", by=HANDLE, why=f"{HANDLE} did not send it"))
    write_change(root, 1, retraction(submission="evening-2", by=HANDLE, why=f"{HANDLE} asked"))
    write_event(root / "protocols/small-rope", 4, event("retired", "1.0.0", month="2026-07", by=HANDLE))
    folder = root / "protocols/small-rope/objections/001-stone-wears"
    write(folder / "00-objection.md", markdown(OBJECTION | {"by": HANDLE}, f"{HANDLE} noticed.\n"))
    write(folder / "01-response.md", markdown(RESPONSE | {"by": HANDLE, "evidence": [{"submission": "evening-2"}]}, f"{HANDLE} answers.\n"))
    write_person(root, HANDLE, shown_as="heron")
    site(root)
    yield root
    shutil.rmtree(root)


def test_a_handle_with_an_alias_stands_nowhere_in_what_is_built(aliased):
    files = [path for path in (aliased / "build/made").rglob("*") if path.is_file()]
    assert len(files) > 30
    assert [path for path in files if HANDLE.encode() in path.read_bytes().lower()] == []
    assert [path for path in files if HANDLE in str(path.relative_to(aliased)).lower()] == []


def test_the_alias_stands_in_its_place(aliased):
    page = (aliased / "build/site/submissions/measured/small-rope/evening-1/index.html").read_text()
    assert "heron.galley" in page and "heron held the rope" in page and "heron measured it" in page and "heron did not send it" in page
    table = (aliased / "build/results/runs.csv").read_text()
    assert "heron.galley" in table and ",heron," in table


def test_two_handles_of_one_person_count_once(tmp_path):
    others = [by_handle("evening-1"), second()]
    apart = results(make_repository(tmp_path / "apart", others))
    root = make_repository(tmp_path / "one", others)
    write_person(root, HANDLE, same_person=["wren"])
    write_person(root, "wren", same_person=[HANDLE])
    one = results(root)
    assert (apart["pools"][0]["counts"]["testers"], one["pools"][0]["counts"]["testers"]) == (2, 1)
    assert (apart["pools"][0]["counts"]["blades"], one["pools"][0]["counts"]["blades"]) == (2, 2)


def test_everything_that_was_read_changes_its_hash(tmp_path):
    root = make_repository(tmp_path, [submission()])
    thread = root / "protocols/small-rope/objections/001-stone-wears"
    hashes = [results(root)["provenance"]["inputs_sha256"]]
    for change in (
        lambda: write_change(root, 1, correction(BLUNTER)),
        lambda: write_tombstone(root, "auk-1"),
        lambda: write_person(root, "wren", shown_as="heron"),
        lambda: write_submission(root, second()),
        lambda: write(thread / "00-objection.md", markdown(OBJECTION, "The stone wears.")),
        lambda: write(thread / "00-objection.md", markdown(OBJECTION, "The stone wears fast.")),
        lambda: write(thread / "01-response.md", markdown(RESPONSE, "Not so.")),
    ):
        change()
        hashes.append(results(root)["provenance"]["inputs_sha256"])
    assert len(set(hashes)) == len(hashes)
