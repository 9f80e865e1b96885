"""Tails of importance weights, against draws with a known tail."""

import math

import numpy as np
import pytest
from scipy.stats import genpareto, norm
from scipy.stats import t as student_t

from edgehold.numerics.pareto import pareto_fit, smoothed_weights


@pytest.mark.parametrize("shape", [-0.3, 0.0, 0.2, 0.5, 0.9])
@pytest.mark.parametrize("scale", [0.01, 3.0])
def test_shape_and_scale_of_many_draws_are_recovered(shape, scale):
    """The shape's standard error is (1 + k)/√n (Zhang & Stephens 2009): 4 of them and what the prior draws it."""
    n = 20_000
    excess = np.sort(genpareto.rvs(shape, scale=scale, size=n, random_state=np.random.default_rng(7)))
    k, sigma = pareto_fit(excess)
    assert k == pytest.approx(shape, abs=4 * (1 + shape) / math.sqrt(n) + 10 * 0.8 / n)
    assert sigma == pytest.approx(scale, rel=0.05)


@pytest.mark.parametrize("shape", [0.1, 0.6])
def test_averaged_over_many_small_tails_the_shape_is_drawn_towards_a_half_as_said(shape):
    """(n k + 10·½)/(n + 10) with the true k: over 500 tails of 100 the mean of an unbiased k would be known to 0.005."""
    n, draw = 100, np.random.default_rng(3)
    samples = [np.sort(genpareto.rvs(shape, size=n, random_state=draw)) for _ in range(500)]
    assert np.mean([pareto_fit(one)[0] for one in samples]) == pytest.approx((n * shape + 5) / (n + 10), abs=0.02)


@pytest.mark.parametrize("n", [1, 20, 25, 26, 400])
def test_weights_sum_to_one_and_keep_their_order(n):
    log_weights = np.random.default_rng(n).normal(size=n) * 2 + 700
    weights, _ = smoothed_weights(log_weights)
    assert weights.sum() == pytest.approx(1, rel=1e-12)
    assert (np.diff(weights[np.argsort(log_weights)]) >= 0).all()


def test_weights_below_the_tail_keep_their_ratios():
    log_weights = np.random.default_rng(1).normal(size=1000)
    weights, _ = smoothed_weights(log_weights)
    lower = np.argsort(log_weights)[: 1000 - math.ceil(3 * math.sqrt(1000))]
    assert weights[lower] / weights[lower[0]] == pytest.approx(np.exp(log_weights[lower] - log_weights[lower[0]]), rel=1e-12)


def test_no_smoothed_weight_exceeds_the_largest_raw_one():
    log_weights = 20 * np.random.default_rng(2).random(500) ** 9
    below = np.argmin(log_weights)
    weights, k = smoothed_weights(log_weights)
    assert k > 0.7
    assert weights.max() / weights[below] <= np.exp(log_weights.max() - log_weights[below]) * (1 + 1e-9)


def test_equal_weights_stay_equal_and_have_no_tail():
    weights, k = smoothed_weights(np.full(200, -3.0))
    assert weights == pytest.approx(np.full(200, 1 / 200), rel=1e-12)
    assert k == 0.0


def test_points_without_a_density_get_no_weight():
    log_weights = np.random.default_rng(5).normal(size=300)
    log_weights[:200] = -np.inf
    weights, k = smoothed_weights(log_weights)
    assert (weights[:200] == 0).all() and weights.sum() == pytest.approx(1) and math.isfinite(k)


def test_too_few_weights_for_a_tail_are_not_to_be_relied_on():
    assert smoothed_weights(np.zeros(20))[1] == math.inf
    assert pareto_fit(np.array([1.0, 2.0, 3.0, 4.0]))[0] == math.inf


def test_a_proposal_with_heavier_tails_is_relied_on():
    wide = student_t.rvs(5, size=4000, random_state=np.random.default_rng(11))
    assert smoothed_weights(norm.logpdf(wide) - student_t.logpdf(wide, 5))[1] < 0.3


@pytest.mark.parametrize("shape", [0.3, 0.6, 1.0, 1.5])
def test_weights_that_follow_a_pareto_distribution_have_its_shape(shape):
    """(1/u) to the power k: the whole of them, and so their tail, has shape k, known to (1 + k)/√190 and drawn to ½ by 10 in 200."""
    log_weights = shape * np.random.default_rng(11).exponential(size=4000)
    wanted = (190 * shape + 5) / 200
    assert smoothed_weights(log_weights)[1] == pytest.approx(wanted, abs=3 * (1 + shape) / math.sqrt(190))


def test_of_weights_that_are_nearly_alike_no_tail_is_judged():
    """A plateau with a bump of little more than twice its height: a fit to the exceedances alone calls that a tail without a mean."""
    x = np.linspace(-4, 4, 8000)
    weights, shape = smoothed_weights(np.log(1 + 1.3 * np.exp(-((x / 0.3) ** 2))))
    assert shape == 0.0 and weights.max() / weights.min() == pytest.approx(2.3, rel=1e-3)
