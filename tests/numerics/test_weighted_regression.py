"""Weighted least squares and the traces of P against dense matrices."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.numerics.weighted_regression import covariance, log_determinant, prepare, projection_spectrum, projection_traces, weigh


@st.composite
def cases(draw):
    k = draw(st.integers(3, 12))
    seed, spread = draw(st.integers(0, 10_000)), draw(st.sampled_from([0.0, 1.0, 2.5]))
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(k), 20 + 5 * rng.normal(size=k)])[:, : draw(st.integers(1, 2))]
    return rng.normal(size=k), np.exp(spread * rng.normal(size=k)), X, draw(st.floats(0, 3))


def dense(v, tau2, X):
    W = np.diag(1 / (v + tau2))
    A = X.T @ W @ X
    return W, A, W - W @ X @ np.linalg.inv(A) @ X.T @ W


@settings(max_examples=150, deadline=None)
@given(cases())
def test_the_fit_agrees_with_dense_matrices(case):
    y, v, X, tau2 = case
    rows = prepare(y, v, X)
    fit = weigh(rows, tau2)
    W, A, P = dense(v, tau2, X)
    np.testing.assert_allclose(fit.coefficients, np.linalg.solve(A, X.T @ W @ y), rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(covariance(rows, fit), np.linalg.inv(A), rtol=1e-6)
    assert log_determinant(rows, fit) == pytest.approx(np.linalg.slogdet(A)[1], abs=1e-6)
    assert fit.q == pytest.approx(y @ P @ y, rel=1e-6, abs=1e-9)
    np.testing.assert_allclose(projection_traces(rows, fit), [np.trace(P), np.trace(P @ P)], rtol=1e-6)


@settings(max_examples=60, deadline=None)
@given(cases())
def test_the_spectrum_is_that_of_the_dense_projection(case):
    y, v, X, tau2 = case
    rows = prepare(y, v, X)
    eigenvalues, counts = projection_spectrum(rows, weigh(rows, tau2), classes=50)
    np.testing.assert_allclose(np.sort(eigenvalues), np.linalg.eigvalsh(dense(v, tau2, X)[2])[X.shape[1] :], rtol=1e-6)
    assert (counts == 1).all()


@pytest.mark.parametrize("p", [1, 2, 3])
def test_rows_of_equal_weight_are_condensed_without_loss(p):
    rng = np.random.default_rng(p)
    v = rng.choice([0.1, 0.5, 2.0, 9.0], 80)
    v[0] = 1e-3  # a class with a single row
    X = np.column_stack([np.ones(80), rng.normal(size=(80, 2))])[:, :p]
    rows = prepare(rng.normal(size=80), v, X)
    eigenvalues, counts = projection_spectrum(rows, weigh(rows, 0.0), classes=40)
    expanded = np.sort(np.repeat(eigenvalues, counts.astype(int)))
    assert len(expanded) == 80 - p
    np.testing.assert_allclose(expanded, np.linalg.eigvalsh(dense(v, 0.0, X)[2])[p:], rtol=1e-8)
