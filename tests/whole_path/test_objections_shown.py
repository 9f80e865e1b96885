"""A repository with objections, built by the project's own path: nothing of a struck one is left anywhere, and a closed form is no form."""

from pathlib import Path

import pytest

from edgehold import builds
from tests.records.builder import BODY, adopt, markdown, protocol, submission, write, write_protocol, write_submission

FRONT = {"format": "objection/1.0.0", "interest": "none", "month": "2026-05"}
AGAINST = {"protocol": "small-rope", "version": "1.0.0", "step": "s2-cut-and-read"}
STRUCK = ("slugword", "titleword", "statementword", "cureword", "sourceword", "answerword")


@pytest.fixture(scope="module")
def build(tmp_path_factory) -> Path:
    root = tmp_path_factory.mktemp("objected")
    slug, title, statement, cure, source, answer = STRUCK
    write_protocol(root, protocol())
    write_protocol(
        root, protocol({"/version": "1.1.0", "/changes": "Reads three times.", "/reading/repeats": 3}), BODY + "\nWipe the blade.\n"
    )
    records = [submission(), submission({"/id": "wren-2", "/protocol/version": "1.1.0"})]
    adopt(root / "protocols" / "small-rope", records)
    for record in records:
        write_submission(root, record)
    objected = FRONT | {"kind": "objection", "against": AGAINST, "severity": "blocking", "by": "auk"}
    cited = [{"citation": source}]
    threads = {
        f"001-{slug}": (
            (objected | {"title": title, "threat": "order", "proposed_change": cure, "evidence": cited}, statement),
            (FRONT | {"kind": "response", "response": "rebuttal", "by": "wren", "evidence": cited}, answer),
            (outcome("struck"), "It speaks of a person."),
        ),
        "002-slips": (
            (objected | {"title": "The blade slips", "threat": "safety"}, "A wet handle turns in the hand."),
            (FRONT | {"kind": "response", "response": "revision", "revised_in": "1.1.0", "by": "wren"}, "It is wiped now."),
            (outcome("revised"), "It is."),
        ),
    }
    for name, entries in threads.items():
        for number, (front, text) in enumerate(entries):
            path = root / "protocols/small-rope/objections" / name / f"{number:02d}-{front['kind']}.md"
            write(path, markdown(front, f"{text}\n"))
    builds.site(root)
    return root / "build"


def outcome(says: str) -> dict:
    return {"format": "objection/1.0.0", "kind": "outcome", "outcome": says, "by": "dunlin", "month": "2026-05"}


def read(build: Path, name: str) -> str:
    return (build / name).read_text(encoding="utf-8")


def test_nothing_of_a_struck_objection_is_left_in_any_file(build):
    files = [path for path in build.resolve().rglob("*") if path.is_file()]
    assert len(files) > 50
    left = {(path.name, word) for path in files for word in STRUCK if word.encode() in path.read_bytes()}
    assert left == set()
    assert "It speaks of a person." in read(build, "site/objections/small-rope/001/index.html")
    assert "wet handle" in read(build, "site/assets/search/index.json")  # what is not struck can be found


def test_the_closed_version_has_no_form_no_sheet_and_no_rules_and_the_cured_one_has_them(build):
    closed, offered = (read(build, f"site/tonight/small-rope-{version}/index.html") for version in ("1.0.0", "1.1.0"))
    assert "The form is closed." in closed and "A wet handle turns in the hand." in closed and 'id="form-rules"' not in closed
    assert 'id="form-rules"' in offered and "form is closed" not in offered
    assert "The sheet is closed." in read(build, "site/tonight/small-rope-1.0.0/sheet/index.html")
    files = sorted(path.name for path in (build / "site/data").resolve().rglob("small-rope-*"))
    assert files == ["small-rope-1.1.0.csv", "small-rope-1.1.0.json", "small-rope-1.1.0.xlsx"]


def test_the_banner_stands_on_the_version_it_is_about_alone(build):
    older, newer = (read(build, f"site/protocols/small-rope/{version}/index.html") for version in ("1.0.0", "1.1.0"))
    assert "A blocking objection stands against this version." in older and "banner blocking" not in newer
    assert "../../../../objections/small-rope/002/" in read(build, "site/protocols/small-rope/1.1.0/changes/index.html")
