"""Behaviour of crossed_censored: survreg of R's survival package, integrals done another way, edges that must give a reason."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chi2, multivariate_normal, norm

from edgehold.errors import InputError
from edgehold.estimates.censored import fit_censored
from edgehold.pooling.crossed.censored import crossed_censored
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import NothingFitted

REFERENCE = Path(__file__).parents[1] / "reference"


def lives(seed, n, levels, sds, share):
    """Random lives with crossed labels, the longest ``share`` of them cut at one limit."""
    rng = np.random.default_rng(seed)
    groups = {f"g{k}": rng.permutation(np.arange(n) % q) for k, q in enumerate(levels)}
    X = np.column_stack([np.ones(n), np.arange(n) % 2])
    y = X @ [1.0, 0.3] + 0.4 * rng.normal(size=n)
    for labels, q, sd in zip(groups.values(), levels, sds, strict=True):
        y += sd * rng.normal(size=q)[labels]
    limit = np.quantile(y, 1 - share) if share else np.inf
    return np.minimum(y, limit), np.where(y > limit, np.inf, y), X, groups


# ---- against the survreg function of R's survival package (versions and calls in the files) ------------------------------------


def test_without_groups_it_is_tobins_regression():
    data = json.loads((REFERENCE / "survreg_tobin.json").read_text())
    y = np.array([float(row["durable"]) for row in data["rows"]])
    X = np.array([[1.0, row["age"], row["quant"]] for row in data["rows"]])
    found = crossed_censored(np.where(y > 0, y, -np.inf), y, X, {}, criterion="ml", profile=False, most_one_sided=1.0)
    want = data["results"]["gaussian_left"]
    assert found.one_sided == 13 and found.exact == 7 and found.integration_error == 0
    np.testing.assert_allclose(found.fit.coefficients, list(want["coef"].values()), rtol=1e-7)
    np.testing.assert_allclose(np.sqrt(found.fit.variances["residual"]), want["scale"], rtol=1e-7)
    np.testing.assert_allclose(found.fit.log_likelihood, want["loglik"], atol=1e-9)
    np.testing.assert_allclose(found.fit.covariance, np.array(want["vcov"])[:3, :3], rtol=1e-5)


def test_midpoints_of_narrow_inspection_intervals_come_within_a_tenth_of_a_standard_error_of_the_interval_likelihood():
    data = json.loads((REFERENCE / "survreg_lung_intervals.json").read_text())
    low = np.array([-np.inf if row["lo2"] is None else np.log(row["lo2"]) for row in data["rows"]])
    high = np.array([np.inf if row["hi"] is None else np.log(row["hi"]) for row in data["rows"]])
    X = np.array([[1.0, row["age"], row["sex"], row["ph.ecog"]] for row in data["rows"]])
    found = crossed_censored(low, high, X, {}, criterion="ml", profile=False, most_one_sided=0.5)
    want = data["results"]["lognormal"]
    errors = np.sqrt(np.diag(want["vcov"]))[:4]
    assert found.intervals == found.widened > 100
    assert (np.abs(found.fit.coefficients - list(want["coef"].values())) < 0.1 * errors).all()
    np.testing.assert_allclose(np.sqrt(found.fit.variances["residual"]), want["scale"], rtol=0.01)


# ---- nothing censored, or censored without saying anything ---------------------------------------------------------------------


@pytest.mark.parametrize("criterion", ["ml", "reml"])
def test_it_is_crossed_when_every_life_is_exact(criterion):
    low, high, X, groups = lives(1, 40, (5, 6), (0.5, 0.3), 0)
    found = crossed_censored(low, high, X, groups, criterion=criterion)
    want = crossed(low, X, groups, criterion=criterion)
    assert (found.exact, found.intervals, found.one_sided) == (40, 0, 0)
    np.testing.assert_array_equal(found.fit.coefficients, want.coefficients)
    assert found.fit.variances == want.variances and found.fit.variance_intervals == want.variance_intervals
    assert found.fit.log_likelihood == want.log_likelihood and found.fit.criterion == criterion


@pytest.mark.parametrize(("levels", "sds"), [((6,), (0.5,)), ((5, 6), (0.5, 0.4))])
def test_a_limit_far_below_every_life_tells_nothing_and_leaves_the_maximum_likelihood_fit_of_the_others(levels, sds):
    low, high, X, groups = lives(2, 60, levels, sds, 0)
    low, high = low.copy(), high.copy()
    low[50:], high[50:] = -20.0, np.inf
    one_factor = len(groups) == 1
    found = crossed_censored(low, high, X, groups, criterion="ml", profile=one_factor).fit
    want = crossed(low[:50], X[:50], {name: labels[:50] for name, labels in groups.items()}, criterion="ml")
    np.testing.assert_allclose(found.coefficients, want.coefficients, rtol=1e-6)
    np.testing.assert_allclose(list(found.variances.values()), list(want.variances.values()), rtol=1e-5)
    np.testing.assert_allclose(found.log_likelihood, want.log_likelihood, atol=1e-6)
    for name in found.variances if one_factor else ():
        got, limits = found.variance_intervals[name], want.variance_intervals[name]
        np.testing.assert_allclose([got.low, got.high], [limits.low, limits.high], rtol=1e-4)
    for name in groups:
        np.testing.assert_allclose(found.effects[name].values, want.effects[name].values, atol=1e-5)
        conditional = want.effects[name].conditional_standard_errors
        # quasi-random points have a covariance that is the identity to a few parts in 100,000 only
        np.testing.assert_allclose(found.effects[name].conditional_standard_errors, conditional, rtol=1e-4)


# ---- integrals done another way --------------------------------------------------------------------------------------------------


def grid_log_likelihood(b, sd_group, sd, low, high, X, labels):
    """One grouping factor: the trapezium rule over each level's effect on a fixed grid; also each effect's mean."""
    u = np.linspace(-9, 9, 1801) * sd_group
    prior, total, means = norm.logpdf(u, scale=sd_group) + np.log(u[1] - u[0]), 0.0, []
    for one in np.unique(labels):
        i = labels == one
        centre = (X[i] @ b)[:, None] + u
        a, c = low[i][:, None], high[i][:, None]
        term = np.where(
            np.isinf(c), norm.logsf(a, centre, sd), np.where(np.isinf(a), norm.logcdf(c, centre, sd), norm.logpdf(a, centre, sd))
        )
        joint = term.sum(axis=0) + prior
        weights = np.exp(joint - joint.max())
        total += joint.max() + np.log(weights.sum())
        means.append(weights @ u / weights.sum())
    return total, np.array(means)


@pytest.mark.parametrize("side", ["right", "both"])
def test_one_grouping_factor_agrees_with_a_dense_maximum_over_a_grid(side):
    low, high, X, groups = lives(3, 36, (6,), (0.5,), 0.2)
    if side == "both":
        shortest = np.argsort(low)[:2]
        low[shortest] = -np.inf
    labels = groups["g0"]
    found = crossed_censored(low, high, X, groups, criterion="ml")

    def cost(x):
        return -grid_log_likelihood(x[:2], np.exp(x[2]), np.exp(x[3]), low, high, X, labels)[0]

    best = minimize(cost, [1.0, 0.3, np.log(0.5), np.log(0.4)], method="BFGS", options={"gtol": 1e-4})
    np.testing.assert_allclose(found.fit.log_likelihood, -best.fun, atol=1e-7)
    np.testing.assert_allclose(found.fit.coefficients, best.x[:2], atol=1e-4)
    np.testing.assert_allclose(list(found.fit.variances.values()), np.exp(2 * best.x[2:]), rtol=1e-3)
    at = grid_log_likelihood(found.fit.coefficients, *np.sqrt(list(found.fit.variances.values())), low, high, X, labels)
    np.testing.assert_allclose(found.fit.log_likelihood, at[0], atol=1e-9)
    np.testing.assert_allclose(found.fit.effects["g0"].values, at[1], atol=1e-7)


def test_profile_limits_are_where_the_dense_likelihood_has_fallen_by_half_the_chi_squared_quantile():
    low, high, X, groups = lives(3, 36, (6,), (0.5,), 0.25)
    fit = crossed_censored(low, high, X, groups, criterion="ml").fit
    interval = fit.variance_intervals["g0"]
    for limit in (interval.low, interval.high):

        def cost(x, limit=limit):
            return -grid_log_likelihood(x[:2], np.sqrt(limit), np.exp(x[2]), low, high, X, groups["g0"])[0]

        best = minimize(cost, [*fit.coefficients, 0.5 * np.log(fit.variances["residual"])], method="BFGS", options={"gtol": 1e-3})
        np.testing.assert_allclose(fit.log_likelihood + best.fun, chi2.ppf(0.95, 1) / 2, atol=1e-4)
    assert 0 < interval.low < fit.variances["g0"] < interval.high and interval.method == "profile-ml"


def test_the_covariance_is_the_inverse_curvature_of_the_dense_likelihood():
    low, high, X, groups = lives(3, 36, (6,), (0.5,), 0.25)
    fit = crossed_censored(low, high, X, groups, criterion="ml", profile=False).fit
    x = np.concatenate([fit.coefficients, list(fit.variances.values())])

    def value(x):
        return grid_log_likelihood(x[:2], np.sqrt(x[2]), np.sqrt(x[3]), low, high, X, groups["g0"])[0]

    e = np.diag(1e-3 * np.array([1.0, 1.0, x[2], x[3]]))
    curvature = np.array(
        [[(value(x + a + c) - value(x + a - c) - value(x - a + c) + value(x - a - c)) / (4 * a.max() * c.max()) for c in e] for a in e]
    )
    whole = np.linalg.inv(-curvature)
    np.testing.assert_allclose(fit.covariance, whole[:2, :2], rtol=2e-3)
    np.testing.assert_allclose(fit.variance_covariance, whole[2:, 2:], rtol=2e-3)


def normal_log_likelihood(b, variances, low, high, X, groups):
    """Any design: density of the exact rows times scipy's multivariate normal probability of the others, given them."""
    n = len(low)
    S = variances[-1] * np.eye(n) + sum(s * (g[:, None] == g) for s, g in zip(variances, groups.values(), strict=False))
    c, mean = np.isinf(high), X @ b
    o = ~c
    gain = np.linalg.solve(S[np.ix_(o, o)], S[np.ix_(o, c)]).T
    given, spread = mean[c] + gain @ (low[o] - mean[o]), S[np.ix_(c, c)] - gain @ S[np.ix_(o, c)]
    beyond = multivariate_normal(-given, spread, seed=1, maxpts=400_000, abseps=1e-9, releps=1e-7).cdf(-low[c])
    return multivariate_normal(mean[o], S[np.ix_(o, o)]).logpdf(low[o]) + np.log(beyond)


def test_crossed_factors_agree_with_the_multivariate_normal_probability_and_no_neighbour_is_better():
    low, high, X, groups = lives(5, 30, (4, 5), (0.6, 0.4), 0.25)
    found = crossed_censored(low, high, X, groups, criterion="ml", profile=False)
    assert found.fit.variance_intervals["g0"] is None and found.fit.reasons["variance_intervals.g0"] == "not asked for"
    variances = np.array(list(found.fit.variances.values()))
    here = normal_log_likelihood(found.fit.coefficients, variances, low, high, X, groups)
    assert found.one_sided == 8 and "quasi-random points" in found.scheme and 0 < found.integration_error < 1e-2
    assert "quasi-random points, to about" in found.fit.reasons["integration"]
    np.testing.assert_allclose(found.fit.log_likelihood, here, atol=2e-3)
    for change in (0.8, 1.25):
        for k in range(3):
            other = np.where(np.arange(3) == k, change, 1.0) * variances
            assert normal_log_likelihood(found.fit.coefficients, other, low, high, X, groups) < here
    for step in np.vstack([np.eye(2), -np.eye(2)]) * 0.5 * found.fit.standard_errors:
        assert normal_log_likelihood(found.fit.coefficients + step, variances, low, high, X, groups) < here


@pytest.mark.parametrize("seed", range(5))
def test_no_cycle_loses_likelihood(seed):
    found = crossed_censored(*lives(seed, 50, (8,), (0.3 * seed,), 0.28), criterion="ml", profile=False)
    assert len(found.path) > 5 and np.diff(found.path).min() > -1e-9 and found.path[-1] > found.path[0]
    assert found.fit.convergence.converged and found.fit.convergence.largest_slope < 1e-5


def test_mirrored_lives_give_mirrored_coefficients():
    low, high, X, groups = lives(6, 50, (8,), (0.5,), 0.25)
    one, other = (crossed_censored(*limits, X, groups, profile=False).fit for limits in ((low, high), (-high, -low)))
    np.testing.assert_allclose(one.coefficients, -other.coefficients, rtol=1e-7)
    np.testing.assert_allclose(list(one.variances.values()), list(other.variances.values()), rtol=1e-6)


def test_limits_in_the_place_of_censored_lives_would_hide_most_of_a_difference_that_the_censored_fit_finds():
    rng = np.random.default_rng(8)
    labels, X = np.arange(600) // 6, np.column_stack([np.ones(600), np.arange(600) % 2])
    y = X @ [0.0, 1.0] + 0.5 * rng.normal(size=100)[labels] + 0.5 * rng.normal(size=600)
    low, high = np.minimum(y, 1.0), np.where(y > 1.0, np.inf, y)
    fit = crossed_censored(low, high, X, {"tester": labels}, criterion="ml", profile=False).fit
    naive = crossed(low, X, {"tester": labels}, criterion="ml").coefficients[1]
    assert abs(fit.coefficients[1] - 1) < 3 * fit.standard_errors[1] < 0.2 < 1 - naive


# ---- intervals ---------------------------------------------------------------------------------------------------------------------


def test_midpoints_of_equal_intervals_get_sheppards_correction():
    rng = np.random.default_rng(9)
    labels, h = np.arange(200) // 10, 0.5
    y = 0.5 * rng.normal(size=20)[labels] + 0.5 * rng.normal(size=200)
    low = np.floor(y / h) * h
    found = crossed_censored(low, low + h, np.ones((200, 1)), {"tester": labels})
    plain = crossed(low + h / 2, np.ones((200, 1)), {"tester": labels})
    assert found.widened == found.intervals == 200 and found.fit.criterion == "reml"
    np.testing.assert_allclose(found.fit.variances["residual"], plain.variances["residual"] - h**2 / 12, rtol=1e-5)
    np.testing.assert_allclose(found.fit.variances["tester"], plain.variances["tester"], rtol=1e-4)
    np.testing.assert_allclose(found.fit.log_likelihood, plain.log_likelihood, atol=1e-8)
    want, got = plain.variance_intervals["residual"], found.fit.variance_intervals["residual"]
    np.testing.assert_allclose([got.low, got.high], [want.low - h**2 / 12, want.high - h**2 / 12], rtol=1e-4)
    assert set(found.fit.effects) == {"tester"}


def test_exact_and_interval_lives_together_come_close_to_the_interval_likelihood():
    rng = np.random.default_rng(10)
    y = rng.normal(size=300)
    h = np.where(np.arange(300) % 3 == 0, 0.0, 1.0)
    low = np.where(h > 0, np.floor(y), y)
    found = crossed_censored(low, low + h, np.ones((300, 1)), {}, criterion="ml")
    want = fit_censored(low, low + h, np.ones((300, 1)))
    assert (found.exact, found.intervals, found.widened) == (100, 200, 200)
    np.testing.assert_allclose(found.fit.coefficients[0], want.theta[0], atol=0.03 * np.sqrt(want.covariance[0, 0]) + 1e-3)
    np.testing.assert_allclose(found.fit.variances["residual"], want.sigma**2, rtol=0.02)


@pytest.mark.parametrize("censored", [False, True])
def test_intervals_wider_than_the_residual_allows_keep_their_plain_midpoint(censored):
    rng = np.random.default_rng(11)
    labels = np.arange(60) // 6
    y = 2.0 * rng.normal(size=10)[labels] + 0.2 * rng.normal(size=60)
    low, high = y - 0.05, y + 0.05
    low[:10], high[:10] = y[:10] - 0.6, y[:10] + 0.6
    if censored:
        high[50:52] = np.inf
    found = crossed_censored(low, high, np.ones((60, 1)), {"tester": labels}, criterion="ml")
    assert found.intervals - found.widened == 10 and found.exact == 0
    assert np.sqrt(found.fit.variances["residual"]) < 0.43 * 1.2


# ---- edges -------------------------------------------------------------------------------------------------------------------------


def test_more_than_thirty_in_a_hundred_one_sided_is_not_fitted_and_says_where_to_look():
    low, high, X, groups = lives(12, 40, (5,), (0.5,), 0.35)
    found = crossed_censored(low, high, X, groups)
    assert isinstance(found.fit, NothingFitted)
    assert found.fit.reason.startswith("not fitted: only a bound is known for 14 of 40 lives; look at the levels")
    assert (found.lives, found.exact, found.one_sided) == (40, 26, 14)


def test_restricted_likelihood_asked_for_with_one_sided_lives_is_answered_by_maximum_likelihood_and_says_so():
    fit = crossed_censored(*lives(13, 40, (5,), (0.5,), 0.2), criterion="reml").fit
    assert fit.criterion == "ml" and "no restricted likelihood" in fit.reasons["criterion"]
    assert fit.variance_intervals["g0"].method == "profile-ml" and fit.adjusted_covariance is None


def test_a_variance_at_zero_is_zero():
    found = crossed_censored(*lives(4, 40, (5,), (0.0,), 0.2), criterion="ml")
    alone = crossed_censored(*lives(4, 40, (5,), (0.0,), 0.2)[:3], {}, criterion="ml")
    assert found.fit.variances["g0"] == 0.0
    assert found.fit.variance_intervals["g0"].low == 0.0 < found.fit.variance_intervals["g0"].high
    np.testing.assert_allclose(found.fit.coefficients, alone.fit.coefficients, rtol=1e-6)
    np.testing.assert_allclose(found.fit.log_likelihood, alone.fit.log_likelihood, atol=1e-8)
    np.testing.assert_array_equal(found.fit.effects["g0"].values, 0.0)


def test_an_arm_with_every_life_censored_has_no_end_in_sight():
    low, high, X, groups = lives(14, 40, (5,), (0.5,), 0)
    X = np.column_stack([np.ones(40), np.arange(40) < 8])
    high[:8] = np.inf
    assert "no end in sight" in crossed_censored(low, high, X, groups).fit.reason


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda X, g: (np.column_stack([X, X[:, 1]]), g), "combinations"),
        (lambda X, g: (X, g | {"again": g["g0"]}), "cannot tell it from"),
        (lambda X, g: (X, {"one": np.zeros(40)}), "explain every difference"),
    ],
)
def test_what_the_rows_cannot_tell_is_a_reason_and_no_number(change, reason):
    low, high, X, groups = lives(15, 40, (5,), (0.5,), 0.2)
    fit = crossed_censored(low, high, *change(X, groups)).fit
    assert isinstance(fit, NothingFitted) and reason in fit.reason


def test_levels_that_reproduce_every_exact_life_leave_no_residual_and_give_that_reason():
    low, high, X, groups = lives(14, 7, (5, 3), (0.0, 3.0), 0.2)
    fit = crossed_censored(low, high, X, groups).fit
    assert isinstance(fit, NothingFitted) and "runs to zero" in fit.reason


def test_no_lives_and_equal_lives_give_a_reason():
    assert "no rows" in crossed_censored([], [], np.zeros((0, 1)), {}).fit.reason
    high = np.array([1.0] * 9 + [np.inf])
    assert crossed_censored(np.ones(10), high, np.ones((10, 1)), {}).fit.reason


@pytest.mark.parametrize(
    ("low", "high", "message"),
    [
        ([1.0, 2.0], [1.0], "one number a life"),
        ([1.0, 3.0], [1.0, 2.0], r"must not exceed .* got .*3\.0.* in row 1"),
        ([np.nan, 1.0], [1.0, 1.0], "in row 0"),
        ([1.0, -np.inf], [1.0, np.inf], "one of them must be finite"),
        ([np.inf, 1.0], [np.inf, 1.0], "one of them must be finite"),
    ],
)
def test_limits_that_contradict_themselves_are_refused(low, high, message):
    with pytest.raises(InputError, match=message):
        crossed_censored(low, high, np.ones((2, 1)), {})


def test_a_share_outside_nought_to_one_is_refused():
    with pytest.raises(InputError, match=r"most_one_sided must lie between 0 and 1; got 30"):
        crossed_censored([1.0], [1.0], np.ones((1, 1)), {}, most_one_sided=30)
