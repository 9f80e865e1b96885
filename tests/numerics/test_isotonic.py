"""The monotone fit against scipy's pool-adjacent-violators."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import isotonic_regression

from edgehold.numerics.isotonic import decreasing_fit, falls_to

series = st.integers(1, 12).flatmap(
    lambda n: st.tuples(arrays(float, n, elements=st.floats(-5, 5, width=32)), arrays(float, n, elements=st.integers(1, 5).map(float)))
)


@given(series)
def test_the_fit_is_that_of_scipy(pair):
    y, weights = pair
    expected = isotonic_regression(y, weights=weights, increasing=False).x
    np.testing.assert_allclose(decreasing_fit(y, weights), expected, rtol=1e-12, atol=1e-12)


def test_many_series_at_once_are_fitted_one_by_one():
    y = np.random.default_rng(3).normal(size=(50, 7))
    weights = np.array([3, 3, 2, 3, 1, 3, 3.0])
    together = decreasing_fit(y, weights)
    for row, fit in zip(y, together, strict=True):
        np.testing.assert_allclose(fit, isotonic_regression(row, weights=weights, increasing=False).x, rtol=1e-12)


@given(series, st.floats(-5, 5, width=32))
def test_the_fall_to_a_level_is_that_of_the_fit(pair, level):
    y, weights = pair
    fit = decreasing_fit(y, weights)
    if np.abs(fit - level).min() < 1e-9:
        return  # which side of the level a mean lies on is a matter of rounding
    (place,), (before,), (after,) = falls_to(y[None], weights, np.array([level]))
    at = int((fit > level).sum())
    assert place == at
    inside = 0 < at < len(y)
    np.testing.assert_array_equal([before, after], fit[at - 1 : at + 1] if inside else [np.nan, np.nan])
