"""`edgehold intake` on a finished record: a file or a block of letters gives the same file, checked as any other."""

import json
import shutil
from pathlib import Path

import pytest

from edgehold.cli import ERRORS_FOUND, FINE, MISUSE, main
from edgehold.records import load_repository
from edgehold.records.read.letters import to_letters
from edgehold.records.rules.duplicates import content_hash
from edgehold.words import group
from tests.records.builder import make_repository, submission
from tests.records.damaged_letters import CASES
from tests.words.says import says

RECORD = submission({"/id": "wren-2026-05-x8d"})
TEXT = json.dumps(RECORD, indent=2, ensure_ascii=False) + "\n"
COMPACT = json.dumps(RECORD, separators=(",", ":"), ensure_ascii=False) + "\n"


@pytest.fixture
def root(tmp_path, monkeypatch):
    made = tmp_path / "repository"
    make_repository(made)
    shutil.rmtree(made / "submissions" / "measured", ignore_errors=True)
    (made / "submissions").mkdir(exist_ok=True)
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    return made


def intake(root: Path, text: str | bytes, *words: str) -> int:
    """Take a text in from the folder where somebody is."""
    Path("message.txt").write_bytes(text if isinstance(text, bytes) else text.encode())
    return main(["intake", "message.txt", "--root", str(root), *words])


def written() -> list[str]:
    return sorted(path.name for path in Path().iterdir() if path.name != "message.txt")


@pytest.mark.parametrize("text", [TEXT, COMPACT], ids=["indented", "compact"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_block_in_a_message_gives_the_same_file_to_the_byte(root, text, encoding):
    quoted = "\n".join(f"> {line}" for line in to_letters(text.encode()).splitlines())
    assert intake(root, f"Grüße!\n\n{quoted}\n\nwren".encode(encoding)) == FINE
    assert written() == ["wren-2026-05-x8d.json"]
    assert Path("wren-2026-05-x8d.json").read_bytes() == text.encode()


@pytest.mark.parametrize("text", [TEXT, COMPACT], ids=["indented", "compact"])
def test_a_finished_file_goes_the_same_way(root, text):
    assert intake(root, text) == FINE
    assert Path("wren-2026-05-x8d.json").read_bytes() == text.encode()


def test_numbers_stay_as_they_were_written(root):
    text = TEXT.replace('"order": 1,', '"order": 1.0,', 1)
    assert intake(root, to_letters(text.encode())) == FINE
    assert '"order": 1.0,' in Path("wren-2026-05-x8d.json").read_text(encoding="utf-8")


def test_a_block_is_put_where_it_belongs_and_a_compact_file_is_read_like_an_indented_one(root):
    assert intake(root, to_letters(COMPACT.encode()), "--place") == FINE
    assert written() == []
    (loaded,) = load_repository(root).submissions
    assert loaded.path == "submissions/measured/small-rope/wren-2026-05-x8d.json"
    assert (root / loaded.path).read_bytes() == COMPACT.encode()
    (root / loaded.path).write_text(TEXT, encoding="utf-8")
    (indented,) = load_repository(root).submissions
    assert (indented.record, indented.runs) == (loaded.record, loaded.runs)
    assert content_hash(indented.record) == content_hash(loaded.record)


def test_a_compact_file_is_the_twin_of_an_indented_one(root):
    folder = root / "submissions" / "measured" / "small-rope"
    folder.mkdir(parents=True)
    (folder / "wren-2026-05-x8d.json").write_text(TEXT, encoding="utf-8")
    (folder / "wren-2026-05-x8e.json").write_text(COMPACT.replace("x8d", "x8e"), encoding="utf-8")
    (twin,) = [f for f in load_repository(root).findings if f.code == "duplicate-content"]
    assert twin.file == "submissions/measured/small-rope/wren-2026-05-x8e.json"


def test_nothing_is_written_over(root, capsys):
    for words in ((), ("--place",)):
        assert intake(root, to_letters(TEXT.encode()), *words) == FINE
        capsys.readouterr()
        assert intake(root, to_letters(COMPACT.encode()), *words) == MISUSE
        assert "is there already" in capsys.readouterr().err
    assert Path("wren-2026-05-x8d.json").read_bytes() == TEXT.encode()
    assert (root / "submissions/measured/small-rope/wren-2026-05-x8d.json").read_bytes() == TEXT.encode()


def test_what_a_block_packs_is_checked_like_a_file(root, capsys):
    """Errors of form, of one field against another, and hostile texts: nothing is written, and nothing reaches the terminal."""
    hostile = [
        (submission({"/runs/0/tester": "nobody"}), "unknown-person"),
        (submission({"/note": "a \u202eb"}), "direction-override"),
        (submission({"/note": "\u001b]0;owned\u0007"}), "control-character"),
        (submission({"/sharpness": 3}), "unknown-field"),
        (submission({"/protocol/version": "7.0.0"}), "unknown-protocol"),
    ]
    for record, code in hostile:
        for text in (json.dumps(record), json.dumps(record, ensure_ascii=False)):
            assert intake(root, to_letters(text.encode()), "--json") == ERRORS_FOUND
            assert code in {question["code"] for question in json.loads(capsys.readouterr().out)["questions"]}
            assert intake(root, to_letters(text.encode()), "--place") == ERRORS_FOUND
            assert "\x1b" not in capsys.readouterr().out
    for text in ("[]", "not json", '{"a": 1, "a": 2}', "[" * 60, '{"a": NaN}', "", '{"id": "../../etc"}'):
        assert intake(root, to_letters(text.encode())) == ERRORS_FOUND
    assert intake(root, to_letters(b"\xff\x00\xff")) == ERRORS_FOUND
    assert written() == [] and not (root / "submissions" / "measured").exists()


def test_a_file_that_contradicts_what_is_there_is_taken_away_again(root, capsys):
    assert intake(root, TEXT, "--place") == FINE
    other = json.dumps(RECORD | {"id": "wren-2026-05-x8e"})
    assert intake(root, to_letters(other.encode()), "--place") == ERRORS_FOUND
    assert "duplicate-content" in capsys.readouterr().out
    assert len(load_repository(root).submissions) == 1


def test_what_was_simulated_and_what_places_itself_twice_is_refused(root, capsys):
    simulated = TEXT.replace('"measured"', '"simulated"').replace("AISI 1095", "demo-plain-carbon")
    assert intake(root, to_letters(simulated.encode()), "--place") == MISUSE
    assert says(capsys.readouterr().err, "intake.not_measured")
    assert intake(root, to_letters(TEXT.encode()), "--place", "--output", "x.json") == MISUSE
    assert says(capsys.readouterr().err, "intake.place_alone")
    assert intake(root, to_letters(TEXT.encode()), "--plan", "plan.json") == MISUSE
    assert says(capsys.readouterr().err, "intake.no_plan_needed")


def test_a_half_done_record_is_kept_as_it_is_for_the_form(root):
    text = json.dumps(submission({"/runs/0/tester": "nobody"}), indent=2) + "\n"
    assert intake(root, to_letters(text.encode()), "--draft") == ERRORS_FOUND
    assert written() == ["message-half-done.json"]
    assert Path("message-half-done.json").read_text(encoding="utf-8") == text


@pytest.mark.parametrize("case", [case for case in CASES if case.code != "none"], ids=lambda case: case.why)
def test_a_damaged_block_is_asked_about_in_its_own_sentence_and_nothing_is_written(root, capsys, case):
    assert intake(root, case.text, "--json") == ERRORS_FOUND
    (question,) = json.loads(capsys.readouterr().out)["questions"]
    assert question["code"] == f"block-{case.code.replace('_', '-')}"
    assert question["message"] == str(group("letters")[case.code]).format(**case.arguments)
    assert written() == []


def test_a_file_too_large_is_not_read(root, capsys):
    assert intake(root, "{" + " " * 1_000_000 + "}", "--json") == ERRORS_FOUND
    (question,) = json.loads(capsys.readouterr().out)["questions"]
    assert question["code"] == "file-too-large"
