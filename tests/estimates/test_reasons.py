"""Reasons of estimates: what changes together is said again without its opening, and by code alone."""

from edgehold.estimates.codes import FROM_CENSORED_RUNS, MOVES_TOGETHER, moves_together
from edgehold.words import Reason, pattern_codes


def test_what_moves_together_is_said_without_the_opening():
    assert moves_together(Reason("contrasts.with_the_rest", factor="the steel")) == "the steel changes together with the rest of these runs"
    assert moves_together(Reason("contrasts.many_censored")) == ""
    assert moves_together("cannot be told apart: plain words") == ""


def test_the_codes_that_are_decided_by_are_in_the_catalogue():
    assert {*FROM_CENSORED_RUNS, *MOVES_TOGETHER, *MOVES_TOGETHER.values()} <= set(pattern_codes())
