"""The word that may have been meant: at most one change for every three signs of it."""

import pytest

from edgehold.words import nearest

WORDS = ("ended", "tester", "no", "last checkpoint", "lot", "log")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("ended", "ended"),
        ("endet", "ended"),
        ("enden t", ""),
        ("last chekpoint", "last checkpoint"),
        ("lats chekcpiont", ""),
        ("n", ""),
        ("lop", "lot"),
        ("lo", "lot"),
        ("log", "log"),
        ("", ""),
        ("tester" * 100_000, ""),
    ],
)
def test_few_changes_make_a_word_of_a_text(text, word):
    assert nearest(text, WORDS) == word


def test_where_there_are_no_words_none_was_meant():
    assert nearest("ended", ()) == ""
