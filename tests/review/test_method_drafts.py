"""A method of one's own from answers: what they make passes the check, is planned, and goes in with one request."""

from __future__ import annotations

import hashlib
import re

import pytest

from edgehold.cli import main
from edgehold.records import load_repository
from edgehold.records.read.yaml_reading import parse_yaml
from edgehold.review.method_drafts import answers_text
from edgehold.review.method_settings import told
from edgehold.review.protocol_drafts import skeleton
from edgehold.review.questions import QUESTIONS, asked
from edgehold.review.writing import yaml_text
from tests.forms.method_corpus import BAD, GOOD, OF_LEVELS, WHOLE
from tests.records.builder import make_repository

MOST_PLACES = 15


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path / "r")


def write(root, answers, name="push-twine"):
    """The command's exit status."""
    file = root.parent / "answers.yaml"
    file.write_text(yaml_text(answers), encoding="utf-8")
    return main(["draft", "protocol", name, "--root", str(root), "--answers", str(file)])


@pytest.mark.parametrize("answers", [answers for answers in GOOD if "{table: needs}" not in answers["set_up"]])
def test_what_answers_make_passes_the_check_and_is_in_review(root, answers, capsys):
    assert write(root, answers) == 0
    repository = load_repository(root)
    own = [finding for finding in repository.findings if "push-twine" in finding.file]
    assert own == []
    assert [event.kind for event in repository.events["push-twine"]] == ["released", "opened for review"]
    data = (root / "protocols/push-twine/1.0.0.md").read_bytes()
    assert repository.events["push-twine"][0].sha256 == hashlib.sha256(data).hexdigest()
    assert capsys.readouterr().out.count("wrote ") == 4


@pytest.mark.parametrize("answers", [WHOLE, OF_LEVELS])
def test_a_method_is_told_in_fifteen_places_at_most(answers):
    needed = [question.name for question in asked(answers) if question.needed]
    assert sorted(needed) == sorted(answers) and len(needed) <= MOST_PLACES
    assert told(answers)[1] == ()


def test_the_skeleton_asks_for_more_than_twice_as_many(root):
    """The number that the questions are held against: what the check finds empty in a skeleton."""
    (root / "protocols/bare").mkdir()
    (root / "protocols/bare/1.0.0.md").write_text(skeleton("bare"), encoding="utf-8")
    assert len([f for f in load_repository(root).errors if f.file == "protocols/bare/1.0.0.md"]) == 42


@pytest.mark.parametrize("answers", BAD)
def test_answers_that_cannot_be_used_are_named_all_at_once(root, answers, capsys):
    wrong = told(answers)[1]
    assert wrong
    named = {one.name for one in wrong} - {"id"}  # the command has an id
    if named:
        assert write(root, answers) == 2
        said = capsys.readouterr().err
        assert all(re.search(rf"^  {name}: ", said, re.MULTILINE) for name in named)
    assert not (root / "protocols/push-twine").exists()


def test_an_id_that_is_there_is_not_taken_again(root, capsys):
    assert write(root, WHOLE, "small-rope") == 2
    assert "There is a method with this id already" in capsys.readouterr().err


def test_a_file_of_questions_reads_back_with_nothing_but_the_usual_answers():
    read = parse_yaml(answers_text())
    assert read.problems == [] and {name: text or "" for name, text in read.tree.items()} == {q.name: q.usual for q in QUESTIONS}


def test_a_version_that_stands_is_put_in_review_without_a_hash_by_hand(root, capsys):
    assert write(root, WHOLE) == 0
    folder = root / "protocols/push-twine"
    for event in (folder / "events").iterdir():
        event.unlink()
    assert main(["draft", "review", "push-twine", "1.0.0", "--root", str(root), "--by", "heron", "--evidence", "read by two"]) == 0
    assert "001-released-1-0-0.yaml" in capsys.readouterr().out
    released, opened = load_repository(root).events["push-twine"]
    assert (released.by, opened.evidence) == ("heron", "read by two")
    assert main(["draft", "review", "push-twine", "1.0.0", "--root", str(root), "--by", "heron"]) == 1  # it is in review already
    assert len(list((folder / "events").iterdir())) == 2 and (folder / "README.md").is_file()


def test_the_list_of_what_an_adoption_needs_names_what_has_to_be_drawn_and_what_is_left_open(root):
    write(root, WHOLE)
    text = (root / "protocols/push-twine/README.md").read_text(encoding="utf-8")
    assert "A slotted board" in text and "instrument: The thread slackens" in text and "Somebody other than heron" in text
    assert "medium: Wax" not in text  # something is done about it
