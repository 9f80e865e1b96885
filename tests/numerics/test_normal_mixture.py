"""Mixtures of normals, against a fine grid and against the same mixture drawn again and again."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from edgehold.numerics.normal_mixture import NormalMixture

CASES = {
    "one part": NormalMixture(np.array([1.0]), np.array([0.4]), np.array([0.09])),
    "equal parts": NormalMixture(np.full(3, 1 / 3), np.full(3, -2.0), np.full(3, 4.0)),
    "two hills": NormalMixture(np.array([0.3, 0.7]), np.array([-5.0, 5.0]), np.array([0.01, 1.0])),
    "many": NormalMixture(
        np.random.default_rng(1).dirichlet(np.ones(60)),
        np.random.default_rng(2).normal(size=60),
        np.random.default_rng(3).gamma(1.0, size=60) + 1e-4,
    ),
    "one weight nothing": NormalMixture(np.array([0.0, 1.0]), np.array([9.0, 0.0]), np.array([1.0, 1.0])),
}


def density(mixture, x):
    return norm.pdf(np.asarray(x)[..., None], mixture.means, np.sqrt(mixture.variances)) @ mixture.weights


def grid(mixture):
    """Density and distribution function by the trapezoid rule on 40,000 places."""
    root = np.sqrt(mixture.variances)
    x = np.linspace((mixture.means - 9 * root).min(), (mixture.means + 9 * root).max(), 40_001)
    f = sum(w * norm.pdf(x, m, s) for w, m, s in zip(mixture.weights, mixture.means, root, strict=True))
    F = np.concatenate([[0.0], np.cumsum((f[1:] + f[:-1]) / 2) * (x[1] - x[0])])
    return x, f, F


@pytest.mark.parametrize("name", CASES)
def test_quantiles_mean_and_sd_are_those_of_a_fine_grid(name):
    mixture = CASES[name]
    x, f, F = grid(mixture)
    step = x[1] - x[0]
    mean = (x * f).sum() * step
    assert mixture.mean == pytest.approx(mean, abs=1e-6)
    assert mixture.sd == pytest.approx(np.sqrt(((x - mean) ** 2 * f).sum() * step), rel=1e-6)
    for p in (0.001, 0.025, 0.2, 0.5, 0.8, 0.975, 0.999):
        assert mixture.quantile(p) == pytest.approx(np.interp(p, F, x), abs=3e-4 * mixture.sd)


@pytest.mark.parametrize("name", CASES)
def test_probabilities_are_integrals_of_the_density_and_both_sides_are_all(name):
    mixture = CASES[name]
    for at in (-5.0, -0.3, 0.0, 1.1, 5.0):
        points = sorted({float(m) for m in mixture.means[:5] if m < at})
        wanted = quad(lambda x: float(density(mixture, x)), -40, at, points=points or None, limit=500)[0]
        assert mixture.below(at) == pytest.approx(wanted, abs=1e-7)
        assert mixture.below(at) + mixture.above(at) == pytest.approx(1, abs=1e-12)


def test_far_out_the_upper_probability_keeps_its_digits():
    assert CASES["one part"].above(0.4 + 0.3 * 12) == pytest.approx(norm.sf(12), rel=1e-10)


@pytest.mark.parametrize("p", [0.025, 0.5, 0.975])
def test_the_claimed_error_of_a_quantile_is_its_spread_over_replicate_sets(p):
    """Eight sets of 40 parts each, drawn from one law with unequal weights, 400 times over: the root mean square of the claims
    against the standard deviation of the quantiles, which is known to 4 %."""
    rng, sets = np.random.default_rng(42), np.repeat(np.arange(8), 40)
    quantiles, claims = [], []
    for _ in range(400):
        weights = rng.gamma(2.0, size=320)
        mixture = NormalMixture(weights / weights.sum(), rng.normal(size=320), 0.2 + rng.gamma(2.0, 0.3, size=320))
        quantiles.append(mixture.quantile(p))
        claims.append(mixture.quantile_error(p, quantiles[-1], sets))
    assert np.sqrt(np.mean(np.square(claims))) == pytest.approx(np.std(quantiles), rel=0.15)


def test_sets_that_agree_wholly_claim_no_error():
    one = CASES["two hills"]
    mixture = NormalMixture(np.tile(one.weights, 8) / 8, np.tile(one.means, 8), np.tile(one.variances, 8))
    at = mixture.quantile(0.975)
    assert mixture.quantile_error(0.975, at, np.repeat(np.arange(8), 2)) < 1e-12


def test_parts_that_are_close_may_be_one():
    draw = np.random.default_rng(2)
    weights = draw.dirichlet(np.ones(20_000))
    many = NormalMixture(weights, draw.normal(0.3, 0.2, 20_000), np.exp(draw.normal(-3, 1, 20_000)))
    few = many.merged()
    assert len(few.weights) < 5_000 and few.weights.sum() == pytest.approx(1)
    assert (few.mean, few.sd) == (pytest.approx(many.mean), pytest.approx(many.sd))
    assert [few.below(x) for x in (-0.6, 0.0, 0.3, 1.0)] == pytest.approx([many.below(x) for x in (-0.6, 0.0, 0.3, 1.0)], abs=1e-4)
