"""The one interval type."""

import math

import pytest

from edgehold.numerics.interval import Interval


def test_an_open_side_is_infinite():
    assert Interval(-math.inf, 0.3, 0.95, "profile").high == 0.3


@pytest.mark.parametrize(
    ("low", "high", "level", "message"),
    [
        (0.2, 0.1, 0.95, "low 0.2, high 0.1"),
        (math.nan, 0.1, 0.95, "low nan"),
        (0.0, math.nan, 0.95, "high nan"),
        (0.0, 0.1, 95, "strictly between 0 and 1; got 95"),
    ],
)
def test_crossed_or_missing_limits_and_percent_levels_are_refused(low, high, level, message):
    with pytest.raises(ValueError, match=message):
        Interval(low, high, level, "wald")
