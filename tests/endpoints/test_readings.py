"""Keenness of one reading, and how well it is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgehold.endpoints.readings import keenness, pooled_variance, reading_se

NONE = (None, None, None)


def test_keenness_is_minus_the_mean_log_where_lower_is_keener():
    k = keenness([1.0, 2.0, 4.0], NONE, "lower", 0.01, 49)
    assert k.low == k.high == k.bound == pytest.approx(-math.log(2))
    assert k.mean == pytest.approx(7 / 3)


def test_keenness_is_the_mean_log_where_higher_is_keener():
    assert keenness([1.0, 2.0, 4.0], NONE, "higher", None, None).low == pytest.approx(math.log(2))


# situations: "reading 0, or over the scale's end"
@pytest.mark.parametrize("value", [0.0, 0.004])
def test_a_reading_under_the_resolution_is_at_least_as_keen_as_the_resolution(value):
    k = keenness([value], (None,), "lower", 0.01, 49)
    assert (k.low, k.high, k.limit) == (pytest.approx(-math.log(0.01)), math.inf, "below")


def test_a_reading_over_the_scale_is_at_most_as_keen_as_its_end():
    k = keenness([49.0, 60.0], (None, "above"), "lower", 0.01, 49)
    assert (k.low, k.high, k.limit) == (-math.inf, pytest.approx(-math.log(49)), "above")
    assert k.bound == k.high


def test_a_zero_on_a_scale_of_unknown_resolution_says_nothing_and_is_never_ln_0():
    k = keenness([0.0], ("below",), "higher", None, None)
    assert (k.low, k.high) == (-math.inf, math.inf)
    assert math.isnan(k.bound)


def test_repeats_off_both_ends_say_nothing():
    k = keenness([0.0, 60.0], ("below", "above"), "lower", 0.01, 49)
    assert (k.low, k.high) == (-math.inf, math.inf)


def test_a_coarser_instrument_censors_where_it_says():
    k = keenness([0.5], ("below",), "lower", 0.01, 49)
    assert k.low == pytest.approx(-math.log(0.5))


def test_the_reading_variance_is_pooled_over_readings():
    series = [np.exp([0.0, 0.2]), np.exp([1.0, 1.1, 1.2]), np.array([5.0])]
    assert pooled_variance(series) == pytest.approx((0.02 + 0.02) / 3)


def test_one_repeat_everywhere_leaves_the_reading_variance_unknown():
    assert math.isnan(pooled_variance([np.array([2.0]), np.array([3.0])]))


# situations: "three identical repeats"
def test_identical_repeats_still_carry_the_error_of_rounding():
    assert reading_se(0.0, 3, 2.0, 0.1) == pytest.approx(0.1 / (2 * math.sqrt(12)))


def test_the_larger_of_spread_and_rounding_counts():
    assert reading_se(0.03, 3, 2.0, 0.01) == pytest.approx(0.1)
    assert reading_se(float("nan"), 3, 2.0, 0.1) == pytest.approx(0.1 / (2 * math.sqrt(12)))


@given(st.lists(st.floats(0.1, 40), min_size=1, max_size=5), st.floats(1e-3, 1e3))
def test_a_change_of_unit_shifts_every_keenness_alike_and_no_standard_error(values, factor):
    marks = (None,) * len(values)
    k = keenness(values, marks, "lower", 0.01, 49)
    other = keenness([x * factor for x in values], marks, "lower", 0.01 * factor, 49 * factor)
    assert other.low - k.low == pytest.approx(-math.log(factor), abs=1e-12)
    assert reading_se(0.01, 3, k.mean, 0.01) == pytest.approx(reading_se(0.01, 3, other.mean, 0.01 * factor), rel=1e-12)
