"""The censored mixed model's score, information and search against differences of its own likelihood in one block with two terms."""

import numpy as np
import pytest

from edgehold.numerics.censored_mixed import Block, covariance_slopes, cycles, dimensions, expect, gradient, observed_information


def block(seed=1, n=14):
    rng = np.random.default_rng(seed)
    labels = np.arange(n) % 3
    Z = (labels[:, None] == np.arange(3)).astype(float)
    X = np.column_stack([np.ones(n), rng.normal(size=n)])
    y = X @ [1.0, 0.5] + Z @ [0.6, -0.4, 0.1] + 0.3 * rng.normal(size=n)
    c = np.argsort(y)[-4:]
    y[c] = y[c].min()
    o = np.setdiff1d(np.arange(n), c)
    return Block(y, X, np.array([Z @ Z.T, np.eye(n)]), np.zeros(n), o, np.sort(c), np.ones(4), np.arange(n))


def slopes(f, x, h=1e-5):
    return np.array([(f(x + h * e) - f(x - h * e)) / (2 * h) for e in np.eye(len(x))])


def likelihood(one):
    return lambda x: expect(one, x[:2], x[2:]).log_likelihood


def test_the_score_is_the_slope_of_the_likelihood():
    one, x = block(), np.array([0.9, 0.4, 0.2, 0.15])
    assert 1 <= dimensions(one, x[2:]) <= 3
    assert gradient([one], x[:2], x[2:]) == pytest.approx(slopes(likelihood(one), x), rel=1e-5, abs=1e-6)


def test_the_search_ends_where_the_score_is_zero_and_never_falls():
    one = block()
    b, s, path, converged = cycles([one], np.array([0.0, 0.0]), np.array([0.1, 0.5]))
    assert converged and (np.diff(path) > -1e-9).all()
    assert np.abs(gradient([one], b, s)).max() < 1e-5


def test_a_held_variance_stays():
    _, s, _, converged = cycles([block()], np.array([1.0, 0.5]), np.array([0.37, 0.1]), held=0)
    assert converged and s[0] == 0.37


def test_the_observed_information_is_the_curvature_of_the_likelihood():
    one = block()
    b, s, _, _ = cycles([one], np.array([1.0, 0.5]), np.array([0.1, 0.1]))
    f, x = likelihood(one), np.concatenate([b, s])
    curvature = slopes(lambda z: slopes(f, z, 1e-3 * s.min()), x, 1e-3 * s.min())
    assert observed_information([one], b, s, s > 0) == pytest.approx(-curvature, rel=1e-3, abs=1e-2)


def test_without_censored_rows_the_slopes_are_those_of_the_least_squares_covariance():
    full = block()
    one = Block(full.y, full.X, full.kernels, full.extra, np.arange(14), np.zeros(0, int), np.zeros(0), full.rows)
    s = np.array([0.2, 0.1])
    inverse = np.linalg.inv(np.tensordot(s, one.kernels, 1))
    phi = np.linalg.inv(one.X.T @ inverse @ one.X)
    wanted = [phi @ one.X.T @ inverse @ K @ inverse @ one.X @ phi for K in one.kernels]
    assert dimensions(one, s) == 0
    assert covariance_slopes([one], np.zeros(2), s, s > 0) == pytest.approx(np.array(wanted), rel=1e-5, abs=1e-9)
