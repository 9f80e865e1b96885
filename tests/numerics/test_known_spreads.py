"""Generalised least squares with known spreads, against dense matrices; and of all rows but some, against a fit of the others."""

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.numerics import known_spreads
from edgehold.numerics.known_spreads import GivenSpreads, generalised_least_squares, without_each_group


def rows_of(seed, n=60, testers=9, blades=14):
    rng = np.random.default_rng(seed)
    tester, blade, steel = rng.integers(testers, size=n), rng.integers(blades, size=n), rng.integers(4, size=n)
    Z = np.hstack([0.3 * (tester[:, None] == np.arange(testers)), 1.7 * (blade[:, None] == np.arange(blades))])
    Z = Z[:, Z.any(axis=0)]
    X = np.column_stack([np.ones(n), (steel[:, None] == np.arange(1, 4)).astype(float)])
    return GivenSpreads(rng.normal(size=n), X, sp.csr_matrix(Z), rng.uniform(0.01, 0.2, size=n)), tester


def dense(rows, c):
    """The textbook's (XᵀΣ⁻¹X)⁻¹XᵀΣ⁻¹y with Σ written out."""
    inverse = np.linalg.inv(rows.Z.toarray() @ rows.Z.toarray().T + np.diag(rows.noise))
    covariance = np.linalg.inv(rows.X.T @ inverse @ rows.X)
    return c @ covariance @ rows.X.T @ inverse @ rows.y, c @ covariance @ c


@pytest.mark.parametrize("few", [0, known_spreads.FEW])
@pytest.mark.parametrize("seed", range(4))
def test_dense_matrices_say_the_same(monkeypatch, seed, few):
    monkeypatch.setattr(known_spreads, "FEW", few)
    rows, _ = rows_of(seed)
    for c in (np.array([0, 1.0, 0, 0]), np.array([0, 1.0, 0, -1.0])):
        assert generalised_least_squares(rows).difference(c) == pytest.approx(dense(rows, c), rel=1e-10)


@pytest.mark.parametrize("seed", range(4))
def test_without_a_group_it_is_the_fit_of_the_others(seed):
    rows, tester = rows_of(seed)
    groups = [np.flatnonzero(tester == one) for one in np.unique(tester)]
    c = np.array([0, 1.0, 0, -1.0])
    for group, found in zip(groups, without_each_group(rows, groups), strict=True):
        rest = np.ones(len(tester), dtype=bool)
        rest[group] = False
        assert found.difference(c) == pytest.approx(dense(rows.chosen(rest), c), rel=1e-9)


def test_a_group_that_holds_all_of_a_column_leaves_it_untold():
    rows = GivenSpreads(np.arange(4.0), np.array([[1, 0], [1, 1], [1, 0], [1, 1]], float), sp.csr_matrix(np.eye(4)[:, :2]), np.ones(4))
    told, untold, none = without_each_group(rows, [np.array([1]), np.array([1, 3]), np.arange(4)])
    assert told.difference(np.array([0, 1.0])) is not None
    assert untold.difference(np.array([0, 1.0])) is None and untold.difference(np.array([1.0, 0])) is not None
    assert none.difference(np.array([1.0, 0])) is None


def test_thousands_of_rows_take_no_square_matrix_of_them():
    """20,000 rows squared would be 3.2 GB."""
    rng = np.random.default_rng(1)
    n = 20_000
    Z = sp.csr_matrix((np.full(n, 0.3), (np.arange(n), np.arange(n) // 5)))
    X = np.column_stack([np.ones(n), rng.integers(2, size=n).astype(float)])
    fitted = generalised_least_squares(GivenSpreads(rng.normal(size=n), X, Z, np.full(n, 0.09)))
    assert fitted.difference(np.array([0, 1.0]))[1] == pytest.approx(4 * 0.09 / n, rel=0.5)
