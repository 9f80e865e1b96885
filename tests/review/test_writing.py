"""Front matter reads back as what was written, whatever text it is."""

from __future__ import annotations

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.review.writing import markdown_text, yaml_text

TEXTS = st.one_of(
    st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from("\n\r\t"), max_size=60),
    st.text(st.sampled_from(" -:#'\"\\|>%@`&*!?[]{},\n~.01eE+nyo"), max_size=20),
    st.sampled_from(
        ["no", "Yes", "null", "~", "on", "1e3", ".5", "+1", "0x10", "1_000", "2026-05", "12:30:45", "=", "<<", "---", "...", "a: b", "a #b"]
    ),
)
KEPT = {*map(chr, range(0x202A, 0x202F)), *map(chr, range(0x2066, 0x206A))}
"""Characters that turn the direction of writing: no file may hold them, in whatever form."""


@settings(max_examples=250, deadline=None)
@given(st.dictionaries(st.sampled_from(["title", "by", "no"]), TEXTS.filter(lambda t: not set(t) & KEPT), min_size=1), TEXTS)
def test_any_text_reads_back_as_it_was(front, body):
    text = markdown_text({**front, "evidence": [dict(front)], "against": {}, "number": 3, "simulated": True}, body)
    parts = split_front_matter(text)
    read = parse_yaml(parts[0])
    assert read.problems == []
    assert read.tree == {**front, "evidence": [front], "against": {}, "number": 3, "simulated": True}
    assert parts[1].strip() == body.strip()


@settings(max_examples=150, deadline=None)
@given(TEXTS)
def test_another_reader_of_yaml_reads_the_same(text):
    assert yaml.safe_load(yaml_text({"title": text})) == {"title": text}


def test_ordinary_texts_stand_as_anybody_would_write_them():
    front = {"format": "objection/1.0.0", "title": "Rope gets harder", "change": "One.\n\n  Two: three", "month": "2026-05", "word": "no"}
    assert yaml_text(front) == (
        'format: objection/1.0.0\ntitle: Rope gets harder\nchange: |-\n  One.\n\n    Two: three\nmonth: "2026-05"\nword: "no"\n'
    )
