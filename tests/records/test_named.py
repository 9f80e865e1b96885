"""The check of named files says of them what the check of everything says, and reads only what has to do with them."""

import json
from pathlib import Path

import pytest

from edgehold.records import load_repository
from edgehold.records.layout import walk
from edgehold.records.read.named import load_for
from edgehold.records.read.neighbours import submission_of
from edgehold.records.report import within

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
    write_tombstone,
)
from .test_objections import OBJECTION
from .test_situations import TWO_FILES

ROOT = Path(__file__).parents[2]
BLUNT = "/blades/0/grind"
OTHER = protocol({"/id": "other-rope"})


def compare(root: Path, files: list[str] | None = None) -> int:
    """Hold the check of each file by itself against the check of everything; how many findings were compared."""
    whole, layout = load_repository(root, today=TODAY), walk(root)
    compared = 0
    for path in files or [*layout.submissions, *layout.changes]:
        wanted = within(whole.findings, root, [str(root / path)])
        part, everything = load_for(root, [path], today=TODAY)
        assert not everything
        assert within(part.findings, root, [str(root / path)]) == wanted
        about = submission_of(path)
        assert part.submissions == tuple(s for s in whole.submissions if s.path == about)
        assert {f.file for f in part.findings} <= {about, *(change for change in layout.changes if submission_of(change) == about)}
        compared += len(wanted)
    return compared


@pytest.mark.parametrize("row", TWO_FILES)
def test_each_of_two_files_is_told_the_same_by_itself(row, tmp_path):
    records, expected, _ = TWO_FILES[row]
    make_repository(tmp_path, records)
    assert compare(tmp_path) >= len(expected) - sum("pilot" in code for code in expected)


def corrected(root):
    make_repository(root, [submission(), second({BLUNT: "flat"}), pilot()])
    write_change(root, 1, correction((BLUNT, ABSENT, "hollow")))
    write_change(root, 2, correction(("/runs/0/humidity_percent", 1, 2)))


def contradicted_by_a_correction(root):
    make_repository(root, [submission(), second({BLUNT: "flat"}), pilot()])
    write_change(root, 1, correction((BLUNT, ABSENT, "hollow"), by="auk"))


def taken_back(root):
    make_repository(root, [submission(), second(), pilot()])
    write_change(root, 1, retraction())
    write_change(root, 2, correction((BLUNT, ABSENT, "hollow")))
    write_tombstone(root, "auk-1")


def in_the_wrong_folder(root):
    make_repository(root, [submission(), second()], [protocol(), OTHER])
    stranger = json.dumps(submission({"/id": "lost-1", "/protocol/id": "other-rope", "/runs/0/reading_unit": "furlong"}))
    write(root / "submissions/measured/small-rope/lost-1.json", stranger)
    write(root / "submissions/measured/small-rope/gone-1.json", json.dumps(submission({"/id": "gone-1", "/protocol/version": "9.0.0"})))
    write(root / "submissions/measured/small-rope/Bad name.json", "{")


def hidden_twin(root):
    make_repository(root, [pilot(), submission({"/id": "zz-1"})])
    write(root / "submissions/measured/small-rope/wren-1.json", json.dumps(submission()).replace("wren.", "\\u0077ren."))


def closed_by_an_objection(root):
    make_repository(root, [submission(), second()], [protocol(), OTHER])
    danger = OBJECTION | {"step": "cautions", "severity": "blocking", "about_safety": True}
    write(root / "protocols/small-rope/objections/001-stone-wears/00-objection.md", markdown(danger, "The thread snaps.\n"))
    write_event(root / "protocols/small-rope", 4, event("retired", "1.0.0", by="moot", month="2026-05"))


def carried_and_named(root):
    make_repository(root, [submission(), second(), pilot()])
    carried = {"format": "carried/1.0.0", "kind": "carried", "submission": "wren-1", "by": "tern", "month": "2026-06"}
    write(root / "submissions/carried/wren-1/carried.json", json.dumps(carried))
    write_person(root, "tern", shown_as="gannet")


@pytest.mark.parametrize(
    "made",
    [
        corrected, contradicted_by_a_correction, taken_back, in_the_wrong_folder, hidden_twin, closed_by_an_objection, carried_and_named,
    ],
)  # fmt: skip
def test_so_is_every_file_of_a_repository(made, tmp_path):
    made(tmp_path)
    assert compare(tmp_path)


def test_so_are_files_of_the_demonstration():
    files = walk(ROOT).submissions[::29]
    assert len(files) > 4
    compare(ROOT, files)


def test_two_files_are_checked_together_and_anything_else_reads_everything(tmp_path):
    make_repository(tmp_path, [submission(), second(), pilot()], [protocol(), OTHER])
    paths = [f"submissions/measured/small-rope/{name}-1.json" for name in ("wren", "auk")]
    part, everything = load_for(tmp_path, paths, today=TODAY)
    assert [s.path for s in part.submissions] == sorted(paths) and not everything
    assert {name for name, _ in part.protocols} == {"small-rope"}
    for named in ([], ["."], ["submissions/measured"], [*paths, "protocols/small-rope/1.0.0.md"], ["submissions/measured/small-rope"]):
        found, everything = load_for(tmp_path, named, today=TODAY)
        assert everything and len(found.submissions) == 3 and len(found.protocols) == 2
