"""A limit as a value with a variance: exact for one, close for several, and what truncation gives in closed form or by scipy."""

import numpy as np
import pytest
from scipy.stats import truncnorm

from edgehold.numerics.normal_sites import normal_sites
from edgehold.numerics.truncated_normal import truncated


def posterior(mean, covariance, y, v):
    """Mean and covariance of a normal after values y with independent errors of variance v."""
    gain = covariance @ np.linalg.inv(covariance + np.diag(v))
    return mean + gain @ (y - mean), covariance - gain @ covariance


@pytest.mark.parametrize(("limit", "sign"), [(0.5, 1.0), (-2.0, 1.0), (4.0, 1.0), (0.3, -1.0)])
def test_one_limit_gives_the_moments_of_the_truncated_normal(limit, sign):
    """Moments by scipy's truncnorm."""
    y, v = normal_sites(np.array([0.2]), np.array([[1.7]]), np.array([limit]), np.array([sign]))
    mean, variance = posterior(np.array([0.2]), np.array([[1.7]]), y, v)
    d = (limit - 0.2) / np.sqrt(1.7)
    wanted = truncnorm(*((d, np.inf) if sign > 0 else (-np.inf, d)), loc=0.2, scale=np.sqrt(1.7))
    assert mean[0] == pytest.approx(wanted.mean(), rel=1e-6)
    assert variance[0, 0] == pytest.approx(wanted.var(), rel=1e-6)


def test_several_limits_come_close_to_the_integral():
    """The same moments by quasi-random integration of the orthant."""
    L = np.array([[0.8, 0.0], [0.7, 0.3], [0.2, 0.9], [0.5, 0.5]])
    m, limit, sign, sd = np.array([0.0, 0.3, -0.2, 0.1]), np.array([0.6, 0.2, 0.4, -0.1]), np.array([1.0, 1.0, 1.0, -1.0]), 0.6
    _, mean, covariance = truncated(m, L, limit, sign, sd, 0)
    prior = L @ L.T + sd**2 * np.eye(4)
    found, spread = posterior(m, prior, *normal_sites(m, prior, limit, sign))
    np.testing.assert_allclose(found, mean, atol=0.01)
    np.testing.assert_allclose(np.diag(spread), np.diag(covariance), rtol=0.03)


def test_a_limit_far_away_says_nothing():
    y, v = normal_sites(np.array([0.0, 0.0]), np.eye(2), np.array([-40.0, 1.0]), np.array([1.0, 1.0]))
    assert v[0] > 1e6
    assert posterior(np.zeros(2), np.eye(2), y, v)[0][0] == pytest.approx(0, abs=1e-6)


def test_a_limit_deep_in_the_tail_keeps_its_digits():
    y, v = normal_sites(np.array([0.0]), np.eye(1), np.array([60.0]), np.array([1.0]))
    mean, variance = posterior(np.zeros(1), np.eye(1), y, v)
    assert mean[0] == pytest.approx(60 + 1 / 60, rel=1e-5)  # Mills' ratio: d + 1/d
    assert 0 < variance[0, 0] < 1 / 59**2
