"""The curvature of the restricted likelihood against central differences of its slopes, with sites settled to rounding at every step."""

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.numerics.curvature import curvature_at
from edgehold.numerics.half_t import HalfT, density_slope, log_density
from edgehold.numerics.restricted_likelihood import likelihood_at, prepare_rows, whole_inverse

STEP, SETTLED = 1e-5, 1e-12
SDS = np.array([0.7, 0.4])


def rows_of(seed, limited, known, n=60, levels=(7, 5)):
    """Prepared rows of two crossed terms and three coefficients, some of them known from one side or within limits."""
    rng = np.random.default_rng(seed)
    terms = [
        sp.csr_matrix((np.ones(n), (np.arange(n), np.arange(n) % levels[0]))),
        sp.csr_matrix(np.eye(levels[1])[rng.integers(0, levels[1], n)]),
    ]
    X = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    y = terms[0] @ rng.normal(0, 0.7, levels[0]) + terms[1] @ rng.normal(0, 0.4, levels[1]) + rng.normal(0, 0.5, n)
    low, high = y.copy(), y.copy()
    at = rng.permutation(n)[:limited]
    low[at] -= rng.uniform(0.1, 1, limited)
    high[at] += rng.uniform(0.1, 1, limited)
    high[at[::3]], low[at[1::3]] = np.inf, -np.inf
    return prepare_rows(low, high, X, terms, rng.uniform(0.2, 0.5, n) if known else None), rng.normal(size=(4, sum(levels) + 3))


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("limited", [0, 3, 30])
def test_second_derivatives_and_moves_are_those_of_the_exact_slopes(limited, known):
    rows, targets = rows_of(1 + limited, limited, known)
    residual = None if known else 0.5
    here = likelihood_at(rows, SDS, residual, slopes=True, settled=SETTLED)
    found = curvature_at(rows, SDS, residual, here, targets)
    for k, step in enumerate(np.eye(2) * STEP):
        above, below = (likelihood_at(rows, sds, residual, here.sites, slopes=True, settled=SETTLED) for sds in (SDS + step, SDS - step))
        parts = [(one.slopes[:2], one.coefficients, one.covariance, *one.combined(targets)) for one in (above, below)]
        moved = [(a - b) / (2 * STEP) for a, b in zip(*parts, strict=True)]
        told = (-found.information, found.coefficients, found.covariances, found.target_means, found.target_variances)
        for expected, all_of in zip(moved, told, strict=True):
            np.testing.assert_allclose(all_of[k], expected, rtol=1e-5, atol=1e-6 * np.abs(all_of).max())


def test_without_terms_nothing_moves():
    rng = np.random.default_rng(3)
    y = rng.normal(size=20)
    rows = prepare_rows(y, y, np.ones((20, 1)), [], None)
    here = likelihood_at(rows, np.zeros(0), 0.5, slopes=True)
    found = curvature_at(rows, np.zeros(0), 0.5, here, np.zeros((0, 1)))
    assert found.information.shape == (0, 0) and found.covariances.shape == (0, 1, 1)


def test_the_whole_inverse_is_the_inverse():
    rows, _ = rows_of(5, 12, False)
    here = likelihood_at(rows, SDS, 0.5)
    Z = np.zeros((rows.q + rows.p,) * 2)
    Z[rows.row, rows.column] = rows.gram / 0.25 + rows.pairs @ (1 / (0.25 + 1 / here.sites.precision))
    C = (Z + np.tril(Z, -1).T) * np.outer(here.scale, here.scale) + np.diag(np.arange(rows.q + rows.p) < rows.q)
    np.testing.assert_allclose(whole_inverse(rows, SDS, 0.5, here) @ C, np.eye(len(C)), atol=1e-10)


@pytest.mark.parametrize("df", [1.0, 4.0, np.inf])
def test_the_slope_of_a_prior_is_that_of_its_density(df):
    prior, sd = HalfT(df, 0.3), np.array([0.01, 0.2, 1.5])
    difference = (log_density(prior, sd + 1e-6) - log_density(prior, sd - 1e-6)) / 2e-6
    np.testing.assert_allclose(density_slope(prior, sd), difference, rtol=1e-7, atol=1e-7)
