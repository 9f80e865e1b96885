"""What the hands need of a method: taken from its own text and settings, and from nowhere else."""

import re
from pathlib import Path

import pytest

from edgehold.pages.hands import hands_of, stressed
from edgehold.records import load_repository
from tests.published import copy_protocols


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    root = tmp_path_factory.mktemp("protocols")
    copy_protocols(root)
    return load_repository(root).protocols


def test_a_sentence_with_bold_letters_is_kept_and_the_others_are_not():
    text = "\n1. Lay it down. Press **once**, for 0.6 s. Wait.\n2. Nothing here.\n\n| a | **b** |\n|---|---|\n\n![**x**](figures/x.svg)\n"
    assert list(stressed(text)) == ["Press **once**, for 0.6 s."]


def test_bold_letters_over_two_sentences_keep_the_whole_item():
    assert list(stressed("One. **Two. Three.** Four.")) == ["One. **Two. Three.** Four."]


def test_every_sentence_stands_in_the_method_and_no_step_about_the_bench_is_shortened(published):
    for protocol in published.values():
        linked = re.sub(r"\[([^\]]*)\]\(#(s[0-9]+)[^)]*\)", r"\2", " ".join(protocol.body.split()))
        words = re.sub(r"[*`]|\[|\]\([^)]*\)", "", linked)
        steps = hands_of(protocol.record, protocol.body, {}, "t-").steps
        assert len(steps) >= 8 and "s1-safe-first" not in {step.id for step in steps}
        for said in (said for step in steps for said in step.says):
            assert "<strong>" in said
            for sentence in re.split(r"(?<=[.!?]) (?=[A-Z])", said.striptags()):
                assert sentence in words


def test_drawings_stand_at_their_steps_and_tables_are_whole(published):
    protocol = published["two-sharpeners-rope", "2.0.0"]
    folder = Path(__file__).parents[2] / "protocols" / "two-sharpeners-rope"
    figures = {f.file: (folder / f.file).read_text(encoding="utf-8") for f in protocol.record.figures}
    hands = hands_of(protocol.record, protocol.body, figures, "t-")
    assert {step.number: len(step.drawings) for step in hands.steps if step.drawings} == {"s2": 1, "s3": 1, "s6": 1, "s7": 1}
    assert hands.drawings == () and [step.number for step in hands.for_sharpeners] == ["s5", "s6", "s7"]
    assert {name: len(rows) for name, (_, rows) in hands.tables.items()} == {
        "needs": len(protocol.record.needs), "endpoints": 4, "stopping": 4, "threats": 10, "minutes": 6,
    }  # fmt: skip


def test_text_of_strangers_stays_text(published):
    protocol = published["life-on-card", "1.0.0"]
    (step,) = hands_of(protocol.record, "### s3-strokes · <b>Cut</b>\n\n1. **<img src=x>** and [x](javascript:alert(1)).\n", {}, "t-").steps
    assert "<img" not in step.says[0] and "javascript" not in step.says[0] and step.title == "<b>Cut</b>"
