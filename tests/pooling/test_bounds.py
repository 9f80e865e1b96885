"""Ratios and bounds summed over one common effect, against an independent fit of the same censored sample."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from edgehold.pooling.pairwise.bounds import with_bounds

GRID = np.linspace(-math.log(100), math.log(100), 93)


def right_censored(bound: float, sd: float):
    """Profile of a contrast only known to be above a bound, its error normal with a known sd."""
    return tuple((float(d), float(norm.logsf((bound - d) / sd))) for d in GRID)


def test_without_heterogeneity_ratios_alone_give_the_inverse_variance_mean_when_the_bound_says_nothing():
    y, v = np.array([0.1, 0.3]), np.array([0.02, 0.01])
    found = with_bounds(y, v, (tuple((float(d), 0.0) for d in GRID),))
    assert found.estimate == pytest.approx((50 * 0.1 + 100 * 0.3) / 150, abs=1e-6)
    half = 1.959963984540054 / math.sqrt(150)  # the likelihood ratio of a normal mean is its Wald interval
    assert (found.interval.low, found.interval.high) == pytest.approx((found.estimate - half, found.estimate + half), abs=1e-6)


def test_a_bound_moves_the_estimate_as_the_censored_normal_score_says():
    # Tobit score for a known variance (Tobin 1958): sum (y - d)/v + sum lambda((b - d)/sd)/sd = 0 at the maximum.
    y, v, bound, sd = np.array([0.0, 0.1, 0.2]), np.array([0.04, 0.04, 0.04]), 0.6, 0.2
    score = lambda d: float(np.sum((y - d) / v)) + norm.pdf((bound - d) / sd) / norm.sf((bound - d) / sd) / sd  # noqa: E731
    expected = brentq(score, 0, 1)
    found = with_bounds(y, v, (right_censored(bound, sd),))
    assert found.estimate == pytest.approx(expected, abs=2e-3), "the profile is interpolated between grid points 0.1 apart"
    assert found.estimate > 0.1 + 0.05, "a bound above the mean draws it up"


def test_a_bound_on_each_side_gives_a_result_where_no_ratio_is_to_be_had():
    above = right_censored(0.0, 0.2)
    below = tuple((d, value) for (d, _), (_, value) in zip(above, reversed(above), strict=True))
    found = with_bounds([], [], (above, below))
    assert found.estimate == pytest.approx(0.0, abs=0.06)
    assert found.interval.low == pytest.approx(-found.interval.high, abs=1e-6)


def test_bounds_of_one_kind_alone_fix_no_ratio():
    assert with_bounds([], [], (right_censored(0.5, 0.2),)) is None
