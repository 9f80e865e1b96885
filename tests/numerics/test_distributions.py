"""Tails and quantiles are those of scipy.stats to the bit, at the ends and outside too."""

import numpy as np
import pytest
from scipy import stats

from edgehold.numerics import distributions as own

RNG = np.random.default_rng(20261130)
DF = np.concatenate([RNG.uniform(0.01, 5, 400), RNG.uniform(1, 300, 400), 10 ** RNG.uniform(-2, 8, 200), [1, 2, 0, -1, np.nan, np.inf]])
OTHER = RNG.permutation(DF)
Q = RNG.permutation(np.concatenate([RNG.uniform(0, 1, len(DF) - 7), [0, 1, -0.1, 1.1, np.nan, 0.975, 1e-300]]))
X = RNG.permutation(np.concatenate([RNG.uniform(0, 60, len(DF) - 7), [0, -1, np.inf, -np.inf, np.nan, 1e300, 1e-300]]))
CASES = {
    "chi2_cdf": (own.chi2_cdf, stats.chi2.cdf, (X, DF)),
    "chi2_sf": (own.chi2_sf, stats.chi2.sf, (X, DF)),
    "chi2_ppf": (own.chi2_ppf, stats.chi2.ppf, (Q, DF)),
    "t_ppf": (own.t_ppf, stats.t.ppf, (Q, DF)),
    "t_sf": (own.t_sf, stats.t.sf, (X, DF)),
    "f_cdf": (own.f_cdf, stats.f.cdf, (X, DF, OTHER)),
    "f_sf": (own.f_sf, stats.f.sf, (X, DF, OTHER)),
    "f_ppf": (own.f_ppf, stats.f.ppf, (Q, DF, OTHER)),
}
ENDS = (0.0, 1.0, -0.5, 2.0, np.nan, 0.975)


@pytest.mark.parametrize("name", CASES)
def test_each_is_that_of_scipy(name):
    found, wanted, arguments = CASES[name]
    np.testing.assert_array_equal(found(*arguments), wanted(*arguments))
    for first in ENDS:
        for df in (0.5, 1, 3.0, 0, -2.0, np.nan):
            for rest in ([df], [np.inf]) if len(arguments) == 2 else ([df, 4.0], [1.0, df]):
                np.testing.assert_array_equal(found(first, *rest), wanted(first, *rest), err_msg=f"{first}, {rest}")
                assert isinstance(float(found(first, *rest)), float)


def test_tails_of_the_binomial_are_those_of_scipy():
    tries = RNG.integers(1, 300, 20_000)
    hits = np.minimum(RNG.integers(-3, 300, 20_000), tries + 2)
    chance = np.concatenate([np.zeros(100), np.ones(100), RNG.uniform(0, 1, 19_800)])
    np.testing.assert_array_equal(own.binom_sf(hits, tries, chance), stats.binom.sf(hits, tries, chance))
    np.testing.assert_allclose(own.binom_cdf(hits, tries, chance), stats.binom.cdf(hits, tries, chance), rtol=1e-9, atol=1e-270)
