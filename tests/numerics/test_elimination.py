"""Sparse factor, solves and selected inverse against dense algebra (numpy.linalg)."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.numerics.elimination import analyse, factorise, half_solve, inverse_diagonal, ordered_inverse, solve


def a_matrix(size, degree, last, seed):
    """A random sparse positive definite matrix whose ``last`` unknowns touch all others."""
    rng = np.random.default_rng(seed)
    half = sp.random(size, size, density=min(1.0, degree / size), random_state=rng, data_rvs=rng.standard_normal).tolil()
    half[size - last :, :] = rng.standard_normal((last, size))
    half = sp.tril(half, -1)
    whole = half + half.T
    diagonal = np.asarray(abs(whole).sum(axis=1)).ravel() + rng.uniform(0.1, 1, size)
    return (whole + sp.diags(diagonal)).tocsr()


def lower(matrix):
    entries = sp.tril(matrix).tocoo()
    return entries.row.astype(np.int64), entries.col.astype(np.int64), entries.data


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 700), st.floats(0.0, 4.0), st.integers(0, 5), st.integers(0, 10**6))
def test_log_determinant_solution_and_inverse_agree_with_dense_algebra(size, degree, last, seed):
    last = min(last, size)
    matrix = a_matrix(size, degree, last, seed)
    rows, columns, values = lower(matrix)
    factor = factorise(analyse(rows, columns, size, last), values)
    dense, first = matrix.toarray(), matrix.toarray()[: size - last, : size - last]
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(first)[1] if size > last else 0.0, rel=1e-9, abs=1e-9)
    both = factor.log_determinant + factor.log_determinant_last
    assert both == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9, abs=1e-9)
    inverse = np.linalg.inv(dense)
    np.testing.assert_allclose(inverse_diagonal(factor), np.diag(inverse), rtol=1e-9)
    expected = np.append(np.diag(np.linalg.inv(first)) if size > last else [], np.zeros(last))
    np.testing.assert_allclose(inverse_diagonal(factor, with_last=False), expected, rtol=1e-9)
    order = factor.plan.order
    np.testing.assert_allclose(ordered_inverse(factor), inverse[np.ix_(order, order)], rtol=1e-7, atol=1e-9)
    for columns in (3, 200):
        rhs = np.random.default_rng(seed).standard_normal((size, columns))
        np.testing.assert_allclose(solve(factor, rhs), inverse @ rhs, rtol=1e-7, atol=1e-9)
        half = half_solve(factor, rhs)
        np.testing.assert_allclose(half.T @ half, rhs.T @ inverse @ rhs, rtol=1e-7, atol=1e-9)


def test_one_analysis_serves_many_matrices_of_its_pattern():
    matrix = a_matrix(600, 1.5, 3, seed=4)
    rows, columns, values = lower(matrix)
    plan = analyse(rows, columns, 600, 3)
    assert plan.core < 600 and len(plan.batches) > 1, "the matrix is too small to exercise the rounds"
    for scale in (1.0, 3.5):
        factor = factorise(plan, values * scale)
        np.testing.assert_allclose(inverse_diagonal(factor), np.diag(np.linalg.inv(matrix.toarray())) / scale, rtol=1e-9)


@pytest.mark.parametrize("where", ["in a round", "in the core"])
def test_a_matrix_that_is_not_positive_definite_has_no_factor(where):
    matrix = a_matrix(600, 1.0, 3, seed=5)
    rows, columns, values = lower(matrix)
    plan = analyse(rows, columns, 600, 3)
    unknown = plan.order[0] if where == "in a round" else plan.order[-1]
    values = np.where((rows == unknown) & (columns == unknown), -1.0, values)
    assert factorise(plan, values) is None
