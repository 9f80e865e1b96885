"""Independent units that are fewer than the rows bound the degrees of freedom and change nothing else."""

import numpy as np
import pytest

from edgehold.errors import InputError
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import NothingFitted


def rows(n=24, seed=2):
    draw = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), np.arange(n) % 2])
    return draw.normal(size=n), X, {"study": np.arange(n) // 2}


def test_degrees_of_freedom_are_at_most_units_less_coefficients():
    y, X, groups = rows()
    free, bound = crossed(y, X, groups, profile=False), crossed(y, X, groups, profile=False, units=6)
    assert free.df.max() > 4
    np.testing.assert_array_equal(bound.df, np.minimum(free.df, 4))
    c = np.array([0.0, 1.0])
    assert bound.contrast(c).df == min(free.contrast(c).df, 4)
    assert bound.contrast(c).standard_error == free.contrast(c).standard_error
    assert bound.variances == free.variances and bound.log_likelihood == free.log_likelihood


def test_as_many_units_as_rows_is_the_plain_fit():
    y, X, groups = rows()
    np.testing.assert_array_equal(crossed(y, X, groups, profile=False, units=24).df, crossed(y, X, groups, profile=False).df)


def test_no_more_units_than_coefficients_is_a_reason():
    y, X, groups = rows()
    fit = crossed(y, X, groups, profile=False, units=2)
    assert isinstance(fit, NothingFitted) and "independent units: 2; coefficients: 2" in fit.reason


@pytest.mark.parametrize("units", [0, 25])
def test_units_that_cannot_be_are_a_mistake(units):
    y, X, groups = rows()
    with pytest.raises(InputError, match=f"units must lie between 1 and the number of rows, 24; got {units}"):
        crossed(y, X, groups, units=units)
