"""Pooled repeatability, its prior, and what one submission borrows."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import digamma, polygamma
from scipy.stats import bartlett
from scipy.stats import f as f_distribution

from edgehold.errors import InputError
from edgehold.estimates import repeatability_table
from edgehold.estimates.repeatability import Repeatability, fit_prior, heterogeneity_p, trigamma_inverse

from .rows import POOL, make_protocols, make_rows

KEY = (POOL, "early")


def test_prior_and_moderated_variances_are_those_of_limma():
    """squeezeVar(c(.5, 1.3, 7.8), df = 3) of the R package limma, as quoted in the tests of the package inmoose."""
    s2 = np.array([0.5, 1.3, 7.8])
    prior_df, prior_s2 = fit_prior(s2, np.full(3, 3.0))
    assert prior_df == pytest.approx(2.830777, abs=1e-6)
    assert prior_s2 == pytest.approx(1.676927, abs=1e-6)
    entry = Repeatability(float(s2.mean()), 9.0, prior_df, prior_s2, "pooled", 3)
    moderated = [entry.moderate(s, 3.0) for s in s2]
    np.testing.assert_allclose([m[0] for m in moderated], [1.071385, 1.482994, 4.827317], atol=1e-6)
    np.testing.assert_allclose([m[1] for m in moderated], 5.830777, atol=1e-6)


# 0.4961687: trigammaInverse(5) of the R package limma, from its own tests
@pytest.mark.parametrize(("x", "y"), [(5.0, 0.4961687), (math.pi**2 / 6, 1.0), (math.pi**2 / 2, 0.5)])
def test_the_inverse_trigamma_function_at_known_points(x, y):
    assert trigamma_inverse(x) == pytest.approx(y, abs=1e-7)


@pytest.mark.parametrize("y", [1e-3, 0.3, 2.0, 50.0, 1e4])
def test_the_inverse_trigamma_function_inverts(y):
    assert trigamma_inverse(float(polygamma(1, y))) == pytest.approx(y, rel=1e-9)


@pytest.mark.parametrize(("prior_df", "prior_s2"), [(4.0, 0.09), (12.0, 0.04)])
def test_a_known_prior_is_recovered_from_many_simulated_variances(prior_df, prior_s2):
    rng = np.random.default_rng(17)
    df = rng.integers(2, 8, 200_000).astype(float)
    sigma2 = prior_s2 * prior_df / rng.chisquare(prior_df, df.size)
    s2 = sigma2 * rng.chisquare(df) / df
    found_df, found_s2 = fit_prior(s2, df)
    assert found_df == pytest.approx(prior_df, rel=0.05)
    assert found_s2 == pytest.approx(prior_s2, rel=0.01)


def test_the_moment_estimate_is_near_the_likelihood_of_the_f_distribution():
    """s² / s0² is F(d, d0): an independent estimate by maximum likelihood over many variances."""
    rng = np.random.default_rng(4)
    df = np.full(4000, 5.0)
    s2 = 0.09 * 6 / rng.chisquare(6, 4000) * rng.chisquare(df) / df

    def minus(p):
        return -(f_distribution.logpdf(s2 / math.exp(p[1]), 5, math.exp(p[0])) - p[1]).sum()

    best = minimize(minus, [1.0, -2.0], method="Nelder-Mead").x
    found_df, found_s2 = fit_prior(s2, df)
    assert found_df == pytest.approx(math.exp(best[0]), rel=0.15)
    assert found_s2 == pytest.approx(math.exp(best[1]), rel=0.05)


def test_variances_that_differ_by_no_more_than_chance_have_an_infinite_prior():
    df = np.full(6, 4.0)
    prior_df, prior_s2 = fit_prior(np.array([0.08, 0.09, 0.1, 0.09, 0.085, 0.11]), df)
    assert prior_df == math.inf
    assert prior_s2 == pytest.approx(0.0925)


def test_a_variance_of_0_does_not_break_the_logarithm():
    prior_df, prior_s2 = fit_prior(np.array([0.0, 0.09, 0.1, 0.08, 0.12]), np.full(5, 2.0))
    e = np.log([0.09e-5, 0.09, 0.1, 0.08, 0.12]) - digamma(1.0)
    assert math.isfinite(prior_df) and prior_df < 2
    assert prior_s2 < math.exp(e.mean()) * 5


def test_the_test_of_heterogeneity_is_bartletts():
    rng = np.random.default_rng(12)
    samples = [rng.normal(scale=scale, size=n) for scale, n in zip([1, 1.5, 3, 1], [3, 5, 4, 8], strict=True)]
    s2, df = np.array([x.var(ddof=1) for x in samples]), np.array([len(x) - 1.0 for x in samples])
    assert heterogeneity_p(s2, df) == pytest.approx(bartlett(*samples).pvalue, rel=1e-10)


def test_five_submissions_that_do_not_differ_evidently_share_one_variance():
    spreads = [0.03, 0.1, 0.12, 0.11, 0.2]
    assert 0.05 < heterogeneity_p(np.array([2 * s**2 for s in spreads]), np.full(5, 2.0)) < 0.5
    entry = repeatability_table(replicates(spreads), make_protocols()).entries[KEY]
    assert (entry.prior_df, entry.prior_s2) == (math.inf, entry.s2_pooled)


def replicates(spreads):
    """Submissions of two blades with two runs each: s² on 2 degrees of freedom."""
    rows = []
    for i, spread in enumerate(spreads):
        values = [0.3 + spread, 0.3 - spread, spread, -spread]
        rows += make_rows(values, f"s{i}", blade=["wren.a", "wren.a", "wren.b", "wren.b"])
    return rows


def test_the_pooled_variance_is_weighted_by_degrees_of_freedom():
    entry = repeatability_table(replicates([0.1, 0.2]), make_protocols()).entries[KEY]
    assert entry.s2_pooled == pytest.approx((2 * 0.01 + 2 * 0.04) / 2)  # each s² is 4 spread² / 2
    assert (entry.df_pooled, entry.prior_df, entry.source, entry.submissions) == (4, math.inf, "pooled", 2)


def test_on_day_one_the_protocols_assumption_stands_in():
    rows = make_rows([0.1, 0.4], blade=["wren.a", "wren.b"])
    entry = repeatability_table(rows, make_protocols()).entries[KEY]
    assert (entry.source, entry.df_pooled, entry.prior_df) == ("assumed", 0, 4)
    assert entry.prior_s2 == pytest.approx(0.25**2)
    assert entry.moderate(float("nan"), 0.0) == (pytest.approx(0.0625), 4)


def test_five_submissions_that_differ_evidently_get_a_finite_prior():
    spreads = [0.02, 0.05, 0.1, 0.3, 0.6]
    entry = repeatability_table(replicates(spreads), make_protocols()).entries[KEY]
    expected = fit_prior(np.array([2 * s**2 for s in spreads]), np.full(5, 2.0))
    assert (entry.prior_df, entry.prior_s2) == expected
    four = repeatability_table(replicates(spreads[:4]), make_protocols()).entries[KEY]
    assert four.prior_df == math.inf


def test_moderated_degrees_of_freedom_never_exceed_what_they_rest_on():
    entry = Repeatability(0.09, 6.0, math.inf, 0.09, "pooled", 3)
    assert entry.moderate(0.2, 2.0) == (0.09, 6.0)
    finite = Repeatability(0.09, 30.0, 4.0, 0.1, "pooled", 6)
    assert finite.moderate(0.2, 2.0) == (pytest.approx((0.4 + 0.4) / 6), 6.0)


def test_leaving_a_submission_out_is_a_table_made_without_it():
    rows, protocols = replicates([0.1, 0.2, 0.3]), make_protocols()
    table = repeatability_table(rows, protocols)
    without = repeatability_table([row for row in rows if row.submission != "s1"], protocols)
    assert table.leave_out("s1").entries == without.entries
    assert table.entry_without(KEY, "s1") == without.entries[KEY]
    assert table.leave_out("nobody").entries == table.entries


def test_leaving_out_the_only_one_falls_back_on_the_assumption():
    table = repeatability_table(replicates([0.1]), make_protocols())
    assert table.leave_out("s0").entries[KEY].source == "assumed"


def test_a_table_without_an_entry_says_which_it_has():
    table = repeatability_table(replicates([0.1]), make_protocols())
    with pytest.raises(InputError, match=r"no entry for .*'late'.*it has .*'early'"):
        table.entry((POOL, "late"))


def test_pools_are_kept_apart_by_major_and_origin():
    from dataclasses import replace

    measured = replicates([0.1])
    simulated = [replace(row, pool=replace(POOL, origin="simulated")) for row in replicates([0.4])]
    table = repeatability_table(measured + simulated, make_protocols())
    assert [entry.s2_pooled for entry in table.entries.values()] == [pytest.approx(0.02), pytest.approx(0.32)]
