"""The restricted likelihood through independent parts against its own definition in full matrices."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import approx_fprime

from edgehold.numerics.residual_spectrum import (
    generalised_fit,
    maximise,
    profile_interval,
    residual_q,
    residual_spectrum,
    restricted_log_likelihood,
    restricted_score,
)


def problem(seed, n=9, p=2):
    rng = np.random.default_rng(seed)
    root, other = rng.normal(size=(2, n, n))
    return rng.normal(size=n) * rng.choice([0.5, 3.0]), root @ root.T + np.eye(n), other @ other.T + np.eye(n), rng.normal(size=(n, p))


def dense_log_likelihood(y, V, H, X, tau2):
    sigma = V + tau2 * H
    inverse = np.linalg.inv(sigma)
    information = X.T @ inverse @ X
    r = y - X @ np.linalg.solve(information, X.T @ inverse @ y)
    n, p = X.shape
    determinants = np.linalg.slogdet(sigma)[1] + np.linalg.slogdet(information)[1]
    return -0.5 * ((n - p) * np.log(2 * np.pi) + determinants + r @ inverse @ r)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), tau2=st.floats(0, 50))
def test_criterion_and_q_are_those_of_the_full_matrices(seed, tau2):
    y, V, H, X = problem(seed)
    spectrum = residual_spectrum(y, V, H, X)
    assert restricted_log_likelihood(spectrum, tau2) == pytest.approx(dense_log_likelihood(y, V, H, X, tau2), abs=1e-8)
    fit = generalised_fit(y, V + tau2 * H, X)
    assert residual_q(spectrum, tau2) == pytest.approx(fit.q, rel=1e-8)
    inverse = np.linalg.inv(V + tau2 * H)
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(X.T @ inverse @ X), rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(X.T @ inverse @ (y - X @ fit.coefficients), 0, atol=1e-9)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_the_maximum_has_no_slope_and_no_better_neighbour(seed):
    y, V, H, X = problem(seed)
    spectrum = residual_spectrum(y, V, H, X)
    best = maximise(spectrum)
    assert restricted_score(spectrum, best.at) == pytest.approx(0, abs=1e-9) or (best.at == 0 and best.slope <= 0)
    grid = np.concatenate([[0.0], np.geomspace(1e-4, 1e3, 400)])
    assert max(dense_log_likelihood(y, V, H, X, t) for t in grid) <= restricted_log_likelihood(spectrum, best.at) + 1e-9


def test_the_slope_is_the_derivative():
    spectrum = residual_spectrum(*problem(3))
    numeric = approx_fprime(np.array([0.7]), lambda t: restricted_log_likelihood(spectrum, t[0]), 1e-7)[0]
    assert restricted_score(spectrum, 0.7) == pytest.approx(numeric, rel=1e-5)


@pytest.mark.parametrize("level", [0.8, 0.95])
def test_profile_limits_lie_half_a_quantile_below_the_maximum(level):
    from scipy.stats import chi2

    spectrum = residual_spectrum(*problem(8))
    best = maximise(spectrum).at
    interval = profile_interval(spectrum, best, level)
    drop = restricted_log_likelihood(spectrum, best) - restricted_log_likelihood(spectrum, interval.high)
    assert drop == pytest.approx(chi2.ppf(level, 1) / 2, rel=1e-9)
    assert interval.low <= best <= interval.high


def test_a_very_precise_row_costs_the_others_no_digits():
    y, X = np.array([0.0, 0.3, -0.2, 0.9, 0.4]), np.ones((5, 1))
    v = np.array([1e-12, 0.04, 0.05, 0.06, 0.07])
    spectrum = residual_spectrum(y, np.diag(v), np.eye(5), X)
    tau2 = maximise(spectrum).at
    score = np.sum(1 / (v + tau2))  # the REML equation of independent rows, in sums
    w = 1 / (v + tau2)
    r = y - np.sum(w * y) / np.sum(w)
    assert np.sum((w * r) ** 2) == pytest.approx(score - np.sum(w**2) / np.sum(w), rel=1e-9)


def test_a_large_offset_costs_no_digits():
    y, V, H, X = problem(5)
    far = y + X @ [1e7, -1e7]
    assert maximise(residual_spectrum(far, V, H, X)).at == pytest.approx(maximise(residual_spectrum(y, V, H, X)).at, rel=1e-6)
