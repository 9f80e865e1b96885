"""The censored Gaussian likelihood against published regressions and against itself where it must reduce to t."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from scipy.stats import norm
from scipy.stats import t as t_distribution

from edgehold.estimates.censored import evaluate, fit_censored, problem_of
from edgehold.estimates.profile import fit_runs, profile_limits

REFERENCE = Path(__file__).parents[1] / "reference"


def tobin():
    """Left-censored Gaussian regression; survreg of the R package survival, values and citation in the file."""
    data = json.loads((REFERENCE / "survreg_tobin.json").read_text())
    y = np.array([row["durable"] for row in data["rows"]], float)
    x = np.array([[1, row["age"], row["quant"]] for row in data["rows"]], float)
    return np.where(y > 0, y, -np.inf), y, x, data["results"]["gaussian_left"], 0.0


def lung_intervals():
    """Interval, left and right censored lognormal times, none exact: likelihoods of ln time and time agree."""
    data = json.loads((REFERENCE / "survreg_lung_intervals.json").read_text())
    low = np.array([-np.inf if row["lo2"] is None else math.log(row["lo2"]) for row in data["rows"]])
    high = np.array([np.inf if row["hi"] is None else math.log(row["hi"]) for row in data["rows"]])
    return low, high, _lung_design(data), data["results"]["lognormal"], 0.0


def lung_exact():
    """The same times as observed: on the scale of time each exact row adds -ln t to the log-likelihood."""
    data = json.loads((REFERENCE / "survreg_lung_intervals.json").read_text())
    y = np.log([row["time"] for row in data["rows"]])
    event = np.array([row["status"] == 2 for row in data["rows"]])
    constant = -y[event].sum()
    return y, np.where(event, y, np.inf), _lung_design(data), data["results"]["lognormal_uncoarsened"], constant


def _lung_design(data):
    return np.array([[1, row["age"], row["sex"], row["ph.ecog"]] for row in data["rows"]], float)


@pytest.mark.parametrize("case", [tobin, lung_intervals, lung_exact])
def test_coefficients_scale_likelihood_and_covariance_are_those_of_survreg(case):
    low, high, x, expected, constant = case()
    fit = fit_censored(low, high, x)
    assert fit.converged
    np.testing.assert_allclose(fit.theta, list(expected["coef"].values()), rtol=1e-6)
    assert fit.sigma == pytest.approx(expected["scale"], rel=1e-6)
    assert fit.log_likelihood + constant == pytest.approx(expected["loglik"], abs=1e-6)
    # survreg stops at about 1e-8 in the log-likelihood; its matrices are good to a few digits less than its estimates
    np.testing.assert_allclose(fit.covariance_log_sigma, expected["vcov"], rtol=1e-5)


def small_case():
    rng = np.random.default_rng(5)
    y = rng.normal(size=12)
    low, high = y.copy(), y.copy()
    high[:3], low[3:5] = np.inf, -np.inf
    low[5:8] -= 0.4
    high[5:8] += 0.7
    x = np.column_stack([np.ones(12), np.arange(12) % 2])
    return low, high, x


def test_the_penalised_maximum_is_that_of_a_general_optimiser_on_a_plain_likelihood():
    low, high, x = small_case()

    def minus(parameters, d0=4.0, s02=0.25):
        theta, log_sigma = parameters[:-1], parameters[-1]
        sigma, mean = math.exp(log_sigma), x @ theta
        terms = [
            norm.logpdf(a, m, sigma) if a == b else math.log(norm.cdf(b, m, sigma) - norm.cdf(a, m, sigma))
            for a, b, m in zip(low, high, mean, strict=True)
        ]
        return -sum(terms) + d0 * (log_sigma + s02 / (2 * sigma**2))

    patient = {"xatol": 1e-10, "fatol": 1e-13, "maxiter": 9999}
    slow = minimize(minus, [0.0, 0.0, 0.0], method="Nelder-Mead", options=patient)
    fit = fit_censored(low, high, x, 4.0, 0.25)
    np.testing.assert_allclose([*fit.theta, math.log(fit.sigma)], slow.x, atol=1e-6)
    assert fit.objective == pytest.approx(-slow.fun, abs=1e-9)


def test_the_gradient_is_that_of_finite_differences_and_zero_at_the_maximum():
    low, high, x = small_case()
    problem = problem_of(low, high, x, 4.0, 0.25)
    eta = np.array([0.3, -0.2, 1.4])
    numeric = approx_fprime(eta, lambda e: evaluate(problem, e)[0], 1e-7)
    np.testing.assert_allclose(evaluate(problem, eta)[1], numeric, rtol=1e-5, atol=1e-5)
    rows = [approx_fprime(eta, lambda e, j=j: evaluate(problem, e)[1][j], 1e-7) for j in range(3)]
    np.testing.assert_allclose(evaluate(problem, eta)[2], rows, rtol=1e-5, atol=1e-4)
    fit = fit_censored(low, high, x, 4.0, 0.25)
    at = np.append(fit.theta, 1.0) / fit.sigma
    np.testing.assert_allclose(evaluate(problem, at)[1], 0, atol=1e-9)


def two_arms(n=4, seed=2):
    y = np.random.default_rng(seed).normal(size=2 * n) * 0.4 + np.repeat([0.5, 0.0], n)
    x = np.column_stack([np.ones(2 * n), np.repeat([1.0, 0.0], n)])
    basis, r = np.linalg.qr(x)
    return y, x, basis, np.linalg.solve(r.T, [0.0, 1.0])


@pytest.mark.parametrize("prior_df", [0.0, 4.0, 30.0])
def test_without_censoring_the_scaled_likelihood_interval_is_the_moderated_t_interval(prior_df):
    y, x, basis, vector = two_arms()
    s02, n = 0.2, len(y)
    runs = fit_runs(y, y, basis, prior_df, s02)
    limits = profile_limits(runs, vector, math.log(1.4))
    theta, rss, *_ = np.linalg.lstsq(x, y, rcond=None)
    df = n - 2 + prior_df
    s2 = (rss[0] + prior_df * s02) / df
    half = t_distribution.ppf(0.975, df) * math.sqrt(s2 * 2 / 4)
    assert limits.estimate == pytest.approx(theta[1], abs=1e-9)
    np.testing.assert_allclose([limits.low, limits.high], [theta[1] - half, theta[1] + half], atol=1e-7)
    assert runs.s2 == pytest.approx(s2)
    assert vector @ runs.fit.covariance @ vector * runs.effective_n / runs.df == pytest.approx(s2 * 2 / 4)


def test_whether_the_90_percent_interval_lies_inside_is_told_as_by_the_t_interval():
    y, _, basis, vector = two_arms()
    runs = fit_runs(y, y, basis, 4.0, 0.2)
    estimate, s2, df = float(vector @ basis.T @ y), runs.s2, runs.df
    edge = abs(estimate) + t_distribution.ppf(0.95, df) * math.sqrt(s2 / 2)
    assert profile_limits(runs, vector, edge * 1.0001).inside
    assert not profile_limits(runs, vector, edge * 0.9999).inside


def test_an_arm_without_an_end_leaves_only_a_lower_limit():
    y, _, basis, vector = two_arms()
    high = y.copy()
    high[:4] = np.inf
    limits = profile_limits(fit_runs(y, high, basis, 4.0, 0.2), vector, 0.3)
    assert limits.estimate == math.inf and limits.high == math.inf
    assert -1 < limits.low < 1


def test_two_arms_without_an_end_leave_nothing():
    y, _, basis, vector = two_arms()
    limits = profile_limits(fit_runs(y, np.full(8, np.inf), basis, 4.0, 0.2), vector, 0.3)
    assert math.isnan(limits.estimate)
    assert (limits.low, limits.high) == (-math.inf, math.inf)


def test_where_the_likelihood_is_level_at_its_top_the_estimate_is_the_middle_of_it():
    """Lives known only to lie within limits far wider than the spread: every place well inside fits alike."""
    _, _, basis, vector = two_arms(2)
    low = np.array([1.0, 1.0, 0.0, 0.0])
    runs = fit_runs(low, low + 2, basis, 30.0, 0.01)
    limits = profile_limits(runs, vector, 0.3)
    assert limits.level_top
    assert limits.estimate == pytest.approx(1.0, abs=1e-6)
    assert (limits.low + limits.high) / 2 == pytest.approx(1.0, abs=1e-6)
    assert limits.low < 0 and limits.high > 2 and not limits.inside


@pytest.mark.parametrize("bases", [30, pytest.param(400, marks=pytest.mark.long)])
def test_a_level_likelihood_has_one_middle_whatever_the_basis(bases):
    """Eight card lives of the demonstration drawn anew: from far out the top was once not found again in 14 of 400 bases."""
    low, high = np.log([16, 32, 16, 8, 32, 16, 4, 8]), np.log([32, 64, 32, 32, 64, 32, 8, 16])
    tester = np.array([1, -1, -1, 1, -1, 1, 1, -1.0])
    basis, r = np.linalg.qr(np.column_stack([np.repeat(np.eye(4), 2, axis=0), tester]))
    vector, rng, found = np.linalg.solve(r.T, [0, 0, 1.0, -1, 0]), np.random.default_rng(1), []
    for _ in range(bases):
        turned, _ = np.linalg.qr(rng.normal(size=(5, 5)))
        found.append(profile_limits(fit_runs(low, high, basis @ turned, 0.4188, 0.00043), turned.T @ vector, 0.3))
    assert all(one.level_top for one in found)
    np.testing.assert_allclose([one.estimate for one in found], found[0].estimate, atol=1e-9)
