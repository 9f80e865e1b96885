"""Probabilities and moments of correlated normals beyond limits, against closed forms and scipy."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, truncnorm

from edgehold.numerics.truncated_normal import POINTS, truncated


def test_without_a_shared_part_it_is_the_truncated_normal_of_scipy():
    m, limit, sign, sd = np.array([0.0, 1.0, -2.0]), np.array([0.5, -1.0, 3.0]), np.array([1.0, -1.0, 1.0]), 0.7
    log_p, mean, covariance = truncated(m, np.zeros((3, 0)), limit, sign, sd, 0)
    low, high = np.where(sign > 0, (limit - m) / sd, -np.inf), np.where(sign > 0, np.inf, (limit - m) / sd)
    known = truncnorm(low, high, loc=m, scale=sd)
    assert mean == pytest.approx(known.mean(), rel=1e-10)
    assert np.diag(covariance) == pytest.approx(known.var(), rel=1e-9)
    z = sign * (m - limit) / sd
    assert log_p == pytest.approx(multivariate_normal(np.zeros(3)).logcdf(z), abs=1e-6)


@pytest.mark.parametrize("rho", [0.1, 0.5, 0.8])
def test_two_dimensions_have_sheppards_probability_and_tallis_mean(rho):
    """Sheppard 1899, Phil. Trans. A 192:101–167: ¼ + arcsin(ρ)/2π; Tallis 1961, J. R. Statist. Soc. B 23:223–229: (1 + ρ)φ(0)Φ(0)/P."""
    L = np.full((2, 1), np.sqrt(rho))
    log_p, mean, _ = truncated(np.zeros(2), L, np.zeros(2), np.ones(2), np.sqrt(1 - rho), 0)
    P = 0.25 + np.arcsin(rho) / (2 * np.pi)
    assert np.exp(log_p) == pytest.approx(P, rel=1e-6)
    assert mean == pytest.approx(np.full(2, (1 + rho) / np.sqrt(2 * np.pi) / 2 / P), rel=1e-6)


@pytest.mark.parametrize("n", [2, 3, 7])
def test_correlation_one_half_puts_one_in_n_plus_one_on_the_positive_side(n):
    """All of n + 1 exchangeable values are equally likely to be the least: n differences from one of them are positive with 1/(n + 1)."""
    log_p, _, _ = truncated(np.zeros(n), np.full((n, 1), np.sqrt(0.5)), np.zeros(n), np.ones(n), np.sqrt(0.5), 0)
    assert np.exp(log_p) == pytest.approx(1 / (n + 1), rel=1e-5)


def test_more_than_three_dimensions_by_points_agree_with_scipys_probability_and_turn_with_the_seed():
    rng = np.random.default_rng(4)
    L = 0.4 * np.linalg.qr(rng.normal(size=(5, 5)))[0]
    m, limit, sign = rng.normal(size=5) * 0.3, rng.normal(size=5) * 0.3, np.array([1.0, 1, -1, 1, -1])
    one, other = (truncated(m, L, limit, sign, 0.6, seed) for seed in (0, 1))
    S = sign[:, None] * (L @ L.T + 0.36 * np.eye(5)) * sign
    assert one[0] == pytest.approx(multivariate_normal(sign * (limit - m), S, seed=1).logcdf(np.zeros(5)), abs=3e-4)
    assert one[0] != other[0] and abs(one[0] - other[0]) < 20 / POINTS


def test_far_beyond_the_limit_the_variance_is_that_of_the_exponential_tail():
    """Var → sd²/d²(1 − 6/d² + …), as the tail of the normal turns exponential; naively λ(λ + d) would have lost every digit."""
    for d in (90.0, 110.0, 1e4, 1e5):
        _, mean, covariance = truncated(np.array([0.0]), np.zeros((1, 0)), np.array([d]), np.ones(1), 1.0, 0)
        assert covariance[0, 0] == pytest.approx((1 - 6 / d**2) / d**2, rel=1e-4)
        assert mean[0] - d == pytest.approx((1 - 2 / d**2) / d, rel=1e-5)
