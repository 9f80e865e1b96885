"""The inverse by LAPACK is that of Hilbert's matrices, whose entries are whole numbers, and of a matrix that is none there is none."""

import numpy as np
import pytest
from scipy.linalg import hilbert, invhilbert

from edgehold.numerics.positive_definite import inverse_of


@pytest.mark.parametrize("size", [1, 2, 5])
def test_the_inverse_of_hilberts_matrices(size):
    """Choi 1983, Tricks or treats with the Hilbert matrix, Amer. Math. Monthly 90:301–312; entries by scipy, exactly."""
    assert np.asarray(inverse_of(hilbert(size))) == pytest.approx(invhilbert(size, exact=True).astype(float), rel=1e-8)


def test_only_the_lower_triangle_is_read():
    lower = np.array([[4.0, 99.0], [2.0, 3.0]], order="F")
    assert np.asarray(inverse_of(lower)) == pytest.approx(np.array([[3.0, -2.0], [-2.0, 4.0]]) / 8)


def test_a_matrix_with_a_negative_eigenvalue_has_none():
    with pytest.raises(np.linalg.LinAlgError):
        inverse_of(np.array([[1.0, 2.0], [2.0, 1.0]]))
