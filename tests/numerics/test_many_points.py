"""The likelihood at many points at once is that at one point, point by point; and that is held to dense matrices and integrals."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from test_restricted_likelihood import Case

from edgehold.numerics import many_points
from edgehold.numerics.many_points import dense_rows, likelihoods_at
from edgehold.numerics.restricted_likelihood import first_sites, likelihood_at, prepare_rows

POINTS = 7
FAR = -1000.0  # log-likelihood at which limits are as good as impossible


def both(case, targets, settled=1e-9):
    """At random standard deviations, all of them at once and one after another."""
    terms = case.terms
    rows = case.rows()
    dense = dense_rows(rows, case.low, case.high, case.X, terms, case.known, targets)
    factors = np.exp(np.random.default_rng(case.n).normal(size=(POINTS, len(terms) + 1)))
    sds, residual = case.sds * factors[:, :-1], None if case.residual is None else case.residual * factors[:, -1]
    found = likelihoods_at(dense, sds, residual, first_sites(rows), settled)
    alone = [likelihood_at(rows, sds[s], None if residual is None else residual[s], settled=settled) for s in range(POINTS)]
    return rows, found, alone


def some_targets(case, rng):
    """Sums of effects, of coefficients, and of both."""
    q = sum(Z.shape[1] for Z in case.terms)
    T = rng.normal(size=(3, q + case.p))
    T[0, q:], T[1, :q] = 0.0, 0.0
    return T


@settings(max_examples=150)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0, 0, 1, 5]), st.booleans(), st.booleans())
def test_all_points_at_once_are_the_points_one_by_one(seed, limited, known, spanned):
    """Also where a coefficient's column lies in the span of the effects', and where rows are more than what spans them."""
    case = Case(seed, limited=limited, known=known)
    if spanned:
        case.X[:, -1] = case.terms[0].toarray()[:, 0] if case.p > 1 else 1.0
        if np.linalg.matrix_rank(case.X) < case.p:
            return
    T = some_targets(case, np.random.default_rng(seed))
    rows, found, alone = both(case, T)
    for s, point in enumerate(alone):
        if point is None or point.log_likelihood < FAR:  # there rounding decides whether sites settle
            continue
        assert found.log_likelihood[s] == pytest.approx(point.log_likelihood, abs=1e-6)
        assert found.coefficients[s] == pytest.approx(point.coefficients, rel=1e-6, abs=1e-6)
        np.testing.assert_allclose(found.covariances[s], point.covariance, rtol=1e-5, atol=1e-7)
        means, variances = point.combined(T)
        assert found.target_means[s] == pytest.approx(means + T[:, rows.q :] @ rows.origin, rel=1e-6, abs=1e-6)
        assert found.target_variances[s] == pytest.approx(variances, rel=1e-5)


@pytest.mark.parametrize("limited", [0, 5])
def test_it_does_not_matter_how_many_points_are_in_memory_together(monkeypatch, limited):
    case = Case(4, limited=limited)
    T = some_targets(case, np.random.default_rng(4))
    together = both(case, T)[1]
    monkeypatch.setattr(many_points, "AT_ONCE", 1)
    apart = both(case, T)[1]
    for name in ("log_likelihood", "coefficients", "covariances", "target_means", "target_variances"):
        np.testing.assert_allclose(getattr(apart, name), getattr(together, name), rtol=1e-11, atol=1e-13)


def test_a_tiny_residual_leaves_variances_positive():
    """An effect that its row tells to a millionth of its spread: its variance is that of the row, not a difference of two large numbers."""
    y, X, sd, residual = np.arange(6.0), np.ones((6, 1)), 1e3, 1e-4
    terms, T = [sp.identity(6, format="csr")], np.hstack([np.eye(6), np.ones((6, 1))])
    rows = prepare_rows(y, y, X, terms, None)
    found = likelihoods_at(dense_rows(rows, y, y, X, terms, None, T), np.array([[sd]]), np.array([residual]), first_sites(rows), 1e-3)
    assert found.target_means[0] == pytest.approx(y, abs=1e-9)
    assert found.target_variances[0] == pytest.approx(np.full(6, residual**2), rel=1e-6)


def test_too_many_rows_are_left_to_the_sparse_factor(monkeypatch):
    case = Case(1)
    monkeypatch.setattr(many_points, "LARGEST", 3)
    assert dense_rows(case.rows(), case.low, case.high, case.X, case.terms, None, some_targets(case, np.random.default_rng(1))) is None
