"""Reasons that know what they are: decisions go by the code and survive every other wording."""

import pickle

import pytest

from edgehold.estimates import words
from edgehold.estimates.words import moves_together, why_none
from edgehold.numerics.attempt import NotFitted
from edgehold.reasons import Reason, code_of


def test_a_reason_is_its_words_and_knows_its_code_also_in_another_process():
    made = why_none("together", factor="the blade", others="who sharpened")
    assert made == "cannot be told apart: the blade and who sharpened change together in these runs"
    again = pickle.loads(pickle.dumps(made))
    assert (again, again.code, again.arguments) == (made, "together", {"factor": "the blade", "others": "who sharpened"})
    assert isinstance(again, Reason)


def test_words_alone_and_failed_numbers_have_no_code():
    assert code_of("cannot be told apart: plain words") == "" and code_of(NotFitted("not fitted")) == ""
    assert moves_together("cannot be told apart: plain words") == ""


def test_what_moves_together_is_said_without_the_opening():
    assert moves_together(why_none("with_the_rest", factor="the steel")) == "the steel changes together with the rest of these runs"
    assert moves_together(why_none("many_censored")) == ""


@pytest.mark.parametrize("code", sorted(words.REASONS))
def test_other_words_change_no_code(monkeypatch, code):
    monkeypatch.setattr(words, "REASONS", {name: f"{name} in other words" for name in words.REASONS})
    assert (why_none(code, factor="a", others="b", arms="c", names="d"), code_of(why_none(code))) == (f"{code} in other words", code)
