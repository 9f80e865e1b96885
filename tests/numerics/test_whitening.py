"""Whitening of rows with a known block-diagonal covariance, against dense algebra."""

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.numerics.whitening import whitening


def test_blocks_of_several_sizes_in_any_order_become_the_identity():
    rng = np.random.default_rng(0)
    sizes = [3, 1, 2, 3, 1, 5]
    blocks = [(lambda a: a @ a.T + np.eye(len(a)))(rng.standard_normal((size, size))) for size in sizes]
    shuffle = rng.permutation(sum(sizes))
    V = sp.block_diag(blocks).tocsr()[shuffle][:, shuffle]
    white = whitening(V)
    np.testing.assert_allclose((white.root @ V @ white.root.T).toarray(), np.eye(15), atol=1e-12)
    assert white.log_determinant == pytest.approx(np.linalg.slogdet(V.toarray())[1])


def test_variances_alone_are_a_diagonal_matrix():
    variances = np.array([0.5, 2.0, 8.0])
    alone, matrix = whitening(variances), whitening(sp.diags(variances))
    np.testing.assert_allclose(alone.root.toarray(), matrix.root.toarray())
    assert alone.log_determinant == pytest.approx(np.log(8.0)) == pytest.approx(matrix.log_determinant)


def test_a_block_that_is_not_positive_definite_has_no_root():
    assert whitening(np.array([[1.0, 2.0, 0], [2.0, 1.0, 0], [0, 0, 1]])) is None
