"""Early better, late worse: a sentence, and no winner."""

from types import SimpleNamespace

import pytest

from aggregator.bundle.compare import crossovers
from aggregator.bundle.model import RatioInterval

OPENINGS = {"early": "After 10 cuts", "late": "After 160 cuts"}


def endpoint(role: str, low: float, high: float):
    result = RatioInterval(ratio=(low * high) ** 0.5, low=low, high=high, level=0.95, method="made up")
    pair = SimpleNamespace(first="demo-a", second="demo-b", result=result)
    return SimpleNamespace(id=role, role=role, kind="level", steels=(pair,))


def test_the_one_better_early_is_named_first_and_nobody_wins():
    (found,) = crossovers((endpoint("early", 0.6, 0.9), endpoint("late", 1.1, 1.9)), OPENINGS)
    assert (found.first, found.second) == ("demo-b", "demo-a")
    assert found.sentence == (
        "After 10 cuts, demo-b is sharper than demo-a; after 160 cuts, demo-a is sharper than demo-b. "
        "They change places: neither is simply the better."
    )


@pytest.mark.parametrize(
    ("early", "late"),
    [((0.6, 0.9), (0.5, 0.8)), ((1.1, 1.5), (1.2, 1.9)), ((0.6, 1.1), (1.1, 1.9)), ((0.6, 0.9), (0.9, 1.9))],
    ids=["worse both times", "better both times", "early not told", "late not told"],
)
def test_without_two_intervals_on_two_sides_there_is_no_crossover(early, late):
    assert crossovers((endpoint("early", *early), endpoint("late", *late)), OPENINGS) == ()


def test_one_endpoint_alone_has_no_crossover():
    assert crossovers((endpoint("late", 1.1, 1.9),), OPENINGS) == ()
