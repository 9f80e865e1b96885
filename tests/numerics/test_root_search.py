"""Roots and global maxima of functions of one variable, on functions with known answers."""

import numpy as np
import pytest

from edgehold.numerics.root_search import global_maximum, root_of_decreasing


def test_a_root_keeps_its_digits_however_small_it_is():
    assert root_of_decreasing(lambda x: 1e-30 - x, 0.0, 1.0) == pytest.approx(1e-30, rel=1e-12)


def test_a_decreasing_function_already_below_zero_gives_the_lower_end():
    assert root_of_decreasing(lambda x: -1 - x, 0.0, 5.0) == 0.0


def test_a_bracket_that_is_the_root_but_for_rounding_is_taken():
    assert root_of_decreasing(lambda x: 1 + 1e-16 - x + 1e-15, 0.0, 1.0) == 1.0


@pytest.mark.parametrize(("tilt", "best"), [(0.3, 1.0), (-0.3, -1.0)])
def test_the_higher_of_two_peaks_is_taken(tilt, best):
    """−(x² − 1)² + tilt·x has peaks near −1 and 1; the tilt makes one of them the higher."""
    found = global_maximum(lambda x: -((x**2 - 1) ** 2) + tilt * x, lambda x: -4 * x * (x**2 - 1) + tilt, np.linspace(-3, 3, 31))
    assert found.local_maxima == 2
    assert found.at == pytest.approx(best, abs=0.1)
    assert abs(found.slope) < 1e-12
    assert not found.on_boundary


def test_a_criterion_that_only_falls_has_its_maximum_on_the_boundary():
    found = global_maximum(lambda x: -x, lambda x: -1.0, np.linspace(0, 1, 5))
    assert (found.at, found.on_boundary, found.local_maxima) == (0.0, True, 1)
