"""Values come out as people write them, on the steps of their instrument."""

from __future__ import annotations

import pytest

from edgehold.demo.writing import NEWTONS, Hand, written


@pytest.mark.parametrize(
    ("value", "hand", "expected"),
    [
        (152.4, Hand("gf", "1"), 152),
        (0.873, Hand("N", "0.05", "comma"), "0,85"),
        (3.11, Hand("ozf", "1/8", "fraction"), "3 1/8"),
        (0.49, Hand("lbf", "1/16", "fraction"), "1/2"),
        (4.01, Hand("ozf", "1/8", "fraction"), "4"),
        (24.6, Hand("gf", "1", "uncertain"), "25 (5)"),
        (1.234, Hand("N", "0.05"), 1.25),
    ],
)
def test_a_value_in_a_hand(value, hand, expected):
    assert written(value, hand) == expected


def test_newtons_of_the_units_as_published():
    # NIST SP 811 (2008), appendix B.8: factors to seven digits
    published = {"gf": 9.80665e-3, "kgf": 9.80665, "lbf": 4.448222, "ozf": 2.780139e-1}
    assert {u: NEWTONS[u] for u in published} == pytest.approx(published, rel=5e-7)
