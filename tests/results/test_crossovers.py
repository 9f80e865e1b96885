"""Early better, late worse: a sentence, and no winner."""

import math
from types import SimpleNamespace

import pytest

from edgehold.results.publish.compare import SIDE, crossovers
from edgehold.words import Reason

OPENINGS = {"early": "After 10 cuts", "late": "After 160 cuts"}


def endpoint(role: str, above_one: float | None, about: str = "steels"):
    pair = SimpleNamespace(first="demo-a", second="demo-b", about=about, probability_above_one=above_one)
    return SimpleNamespace(id=role, role=role, kind="level", steels=(pair,))


def test_the_one_better_early_is_named_first_and_nobody_wins():
    (found,) = crossovers((endpoint("early", 0.01), endpoint("late", 0.99)), OPENINGS)
    assert (found.first, found.second) == ("demo-b", "demo-a")
    told = {"opening": "After 10 cuts", "later": "after 160 cuts", "keener": "demo-b", "longer": "demo-a"}
    assert found.sentence == Reason("studies_answer.crossover", **told)


@pytest.mark.parametrize(
    ("early", "late"),
    [(0.01, 0.01), (0.99, 0.99), (0.1, 0.99), (0.01, 0.9), (0.02, 0.98), (None, 0.99), (0.01, None)],
    ids=["worse both times", "better both times", "early open", "late open", "both only likely", "no early ratio", "no late ratio"],
)
def test_unless_both_are_all_but_certain_and_on_two_sides_there_is_no_crossover(early, late):
    assert crossovers((endpoint("early", early), endpoint("late", late)), OPENINGS) == ()


def test_both_sides_together_hold_with_the_usual_probability():
    assert math.isclose(2 * (1 - SIDE), 1 - 0.975)


def test_single_blades_change_no_places():
    assert crossovers((endpoint("early", 0.01), endpoint("late", 0.99, "blades")), OPENINGS) == ()


def test_a_pair_met_early_only_has_no_crossover():
    nobody = SimpleNamespace(id="late", role="late", kind="level", steels=())
    assert crossovers((endpoint("early", 0.01), nobody), OPENINGS) == ()


def test_one_endpoint_alone_has_no_crossover():
    assert crossovers((endpoint("late", 0.99),), OPENINGS) == ()
