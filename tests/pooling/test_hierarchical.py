"""Behaviour of hierarchical: against a grid in the test, REML, other units, and what is refused or not fitted.

Long runs of a sampler and published posteriors are in ``test_hierarchical_reference``.
"""

import math
import sys

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm
from scipy.stats import t as student_t

from edgehold.errors import InputError
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.hierarchical import NoPosterior, Posterior, hierarchical, prior_log_sd, weighted_quantile

PRIORS = {"who": HalfT(4, 0.3, "here"), "blade": HalfT(1, 0.2, "here"), "residual": HalfT(4, 0.4, "here")}
FLAT = HalfT(4, math.inf, "flat")


def data(seed=1, people=8, blades=5, each=2, two_columns=True):
    """Everybody on all blades; the second column is a condition half of the blades have."""
    rng = np.random.default_rng(seed)
    who, blade = (np.repeat(x.ravel(), each) for x in np.meshgrid(np.arange(people), np.arange(blades), indexing="ij"))
    X = np.column_stack([np.ones(len(who)), blade % 2]) if two_columns else np.ones((len(who), 1))
    y = 1.5 + 0.3 * (blade % 2) + 0.25 * rng.normal(size=people)[who] + 0.15 * rng.normal(size=blades)[blade]
    return y + 0.2 * rng.normal(size=len(who)), X, {"who": who, "blade": blade}


def one_sided(y, rows):
    high = y.copy()
    high[rows] = np.inf
    return high


def limits(one):
    return np.array([one.quantile(0.025), one.quantile(0.975)])


# ---- against a grid of the test's own ----------------------------------------------------------------------------------------


def grid_posterior(y, v, X, groups, prior, points=600):
    """Known variances and one term: the posterior on a grid of its standard deviation by dense matrices; a mixture in plain scipy."""
    Z = (np.asarray(groups)[:, None] == np.unique(groups)).astype(float)
    sds = prior.scale * np.geomspace(1e-4, 60, points)
    logs, means, variances = [], [], []
    for sd in sds:
        S_inv = np.linalg.inv(np.diag(v) + sd**2 * Z @ Z.T)
        A = X.T @ S_inv @ X
        b = np.linalg.solve(A, X.T @ S_inv @ y)
        r = y - X @ b
        prior_log = student_t.logpdf(sd / prior.scale, prior.df) + math.log(sd)  # on the ln scale of the grid
        logs.append(0.5 * np.linalg.slogdet(S_inv)[1] - 0.5 * np.linalg.slogdet(A)[1] - 0.5 * r @ S_inv @ r + prior_log)
        means.append(b)
        variances.append(np.diag(np.linalg.inv(A)))
    w = np.exp(np.array(logs) - max(logs))
    return sds, w / w.sum(), np.array(means), np.array(variances)


def grid_quantile(w, m, v, p):
    root = np.sqrt(v)
    return brentq(lambda x: w @ norm.cdf(x, m, root) - p, (m - 20 * root).min(), (m + 20 * root).max(), xtol=1e-10)


@pytest.mark.parametrize(
    ("prior", "asked", "allowed"),
    [
        pytest.param(HalfT(4, 0.3), {"error": 0.003, "spread_error": 0.03}, (0.01, 0.1), id="t4"),
        pytest.param(HalfT(math.inf, 1.0), {"error": 0.003, "spread_error": 0.03}, (0.01, 0.1), id="normal"),
        pytest.param(HalfT(1, 0.1), {}, (0.02, 0.25), id="cauchy, to the usual digits"),
    ],
)
def test_with_one_term_a_grid_over_its_sd_gives_the_same_posterior(prior, asked, allowed):
    """Limits of coefficients to 1 % of the half-width, and of the SD, which no closed form smooths, to 3 of the errors asked for."""
    rng = np.random.default_rng(3)
    n, groups = 24, np.arange(24) // 4
    X, v = np.column_stack([np.ones(n), np.arange(n) % 2]), rng.uniform(0.02, 0.1, n)
    y = X @ [2.0, 0.4] + 0.3 * rng.normal(size=6)[groups] + np.sqrt(v) * rng.normal(size=n)
    fit = hierarchical(y, X, {"lab": groups}, {"lab": prior}, V=v, **asked)
    sds, w, means, variances = grid_posterior(y, v, X, groups, prior)
    for k in range(2):
        wanted = [grid_quantile(w, means[:, k], variances[:, k], p) for p in (0.025, 0.5, 0.975)]
        half = (wanted[2] - wanted[0]) / 2
        assert [fit.contrast(np.eye(2)[k]).quantile(p) for p in (0.025, 0.5, 0.975)] == pytest.approx(wanted, abs=allowed[0] * half)
    spread, share = fit.spread("lab"), np.cumsum(w) - w / 2
    wanted = np.exp(np.interp([0.025, 0.5, 0.975], share, np.log(sds)))
    assert [spread.quantile(p) for p in (0.025, 0.5, 0.975)] == pytest.approx(wanted, abs=allowed[1] * (wanted[2] - wanted[0]) / 2)
    logs = np.log(sds) - w @ np.log(sds)
    assert spread.mean == pytest.approx(w @ sds, rel=0.03)
    assert spread.from_prior * prior_log_sd(prior) == pytest.approx(math.sqrt(w @ logs**2), rel=0.05 if asked else 0.2)


@pytest.mark.parametrize("df", [1.0, 4.0, math.inf])
def test_the_prior_spread_of_the_logarithm_is_that_of_many_draws(df):
    rng = np.random.default_rng(1)
    draws = rng.normal(size=400_000) if math.isinf(df) else student_t.rvs(df, size=400_000, random_state=rng)
    assert prior_log_sd(HalfT(df, 5.0)) == pytest.approx(np.log(np.abs(draws)).std(), rel=0.005)


def test_a_whole_matrix_of_known_variances_is_the_same_as_its_diagonal_and_a_grid_holds_for_one_with_covariances():
    rng = np.random.default_rng(5)
    n, groups = 12, np.arange(12) // 3
    X, v = np.ones((n, 1)), rng.uniform(0.02, 0.1, n)
    y = 1 + 0.2 * rng.normal(size=4)[groups] + np.sqrt(v) * rng.normal(size=n)
    prior, more = {"lab": HalfT(4, 0.3)}, {"error": 0.003, "spread_error": 0.02}
    vector = hierarchical(y, X, {"lab": groups}, prior, V=v, **more).contrast([1.0])
    matrix = hierarchical(y, X, {"lab": groups}, prior, V=np.diag(v), **more).contrast([1.0])
    assert limits(matrix) == pytest.approx(limits(vector), abs=0.01 * vector.sd)


# ---- flat priors, units, and the same again --------------------------------------------------------------------------------------


def test_with_flat_priors_and_many_levels_it_goes_over_into_reml():
    rng = np.random.default_rng(2)
    who, blade = np.repeat(np.arange(250), 4), np.tile(np.arange(200), 5)
    y = 3 + 0.4 * rng.normal(size=250)[who] + 0.3 * rng.normal(size=200)[blade] + 0.5 * rng.normal(size=1000)
    x = rng.normal(size=1000)
    X, groups = np.column_stack([np.ones(1000), x]), {"who": who, "blade": blade}
    fit = hierarchical(y + 0.2 * x, X, groups, dict.fromkeys(("who", "blade", "residual"), FLAT), spread_error=0.1)
    theirs = crossed(y + 0.2 * x, X, groups)
    assert isinstance(fit, Posterior)
    for k in range(2):
        ours = fit.contrast(np.eye(2)[k])
        assert ours.quantile(0.5) == pytest.approx(theirs.coefficients[k], abs=1e-3)
        assert ours.sd == pytest.approx(math.sqrt(theirs.covariance[k, k]), rel=0.02)
    for name, variance in theirs.variances.items():
        assert fit.spread(name).quantile(0.5) == pytest.approx(math.sqrt(variance), rel=0.02), name


def test_two_calls_give_the_same_bytes():
    y, X, groups = data()
    high = one_sided(y, [3, 20])
    first, again = (hierarchical(y, X, groups, PRIORS, high=high) for _ in range(2))
    for name in ("weights", "sds", "coefficients", "covariances", "sets"):
        assert getattr(first, name).tobytes() == getattr(again, name).tobytes(), name
    assert first.contrast([0, 1]).interval == again.contrast([0, 1]).interval


@pytest.mark.parametrize("limited", [(), (0, 7, 33)])
def test_ten_times_the_values_and_ten_times_the_scales_give_ten_times_everything(limited):
    y, X, groups = data()
    high = one_sided(y, list(limited))
    one = hierarchical(y, X, groups, PRIORS, high=high)
    ten = hierarchical(10 * y, X, groups, {name: prior.times(10) for name, prior in PRIORS.items()}, high=10 * high)
    for c in np.eye(2):
        assert limits(ten.contrast(c)) == pytest.approx(10 * limits(one.contrast(c)), rel=1e-5)
        assert ten.contrast(c).sd == pytest.approx(10 * one.contrast(c).sd, rel=1e-5)
    for name in one.names:
        assert limits(ten.spread(name)) == pytest.approx(10 * limits(one.spread(name)), rel=1e-5)
        assert ten.spread(name).from_prior == pytest.approx(one.spread(name).from_prior, rel=1e-5)


def test_a_shift_of_all_values_moves_the_constant_and_nothing_else():
    y, X, groups = data()
    one, moved = (hierarchical(values, X, groups, PRIORS) for values in (y, y + 1000))
    assert limits(moved.contrast([1, 0])) == pytest.approx(limits(one.contrast([1, 0])) + 1000, abs=1e-6)
    assert limits(moved.contrast([0, 1])) == pytest.approx(limits(one.contrast([0, 1])), abs=1e-6)


# ---- the claimed error, and other priors -----------------------------------------------------------------------------------------


def test_the_claimed_error_covers_the_difference_to_a_far_more_exact_run():
    """Two limits of two coefficients in five data sets: 20 differences in claimed errors, whose root mean square is to be below 2."""
    ratios = []
    for seed in range(5):
        y, X, groups = data(seed)
        rough, fine = (hierarchical(y, X, groups, PRIORS, error=error) for error in (0.02, 0.003))
        assert rough.convergence.largest_error <= 0.02 and fine.convergence.largest_error <= 0.003
        assert fine.convergence.points > rough.convergence.points
        for c in np.eye(2):
            ratios += ((limits(rough.contrast(c)) - limits(fine.contrast(c))) / rough.contrast(c).error).tolist()
    assert math.sqrt(np.mean(np.square(ratios))) < 2 and max(map(abs, ratios)) < 4.5


def test_weights_for_the_same_priors_are_the_same():
    y, X, groups = data()
    fit = hierarchical(y, X, groups, PRIORS)
    again = fit.with_priors(PRIORS)
    assert again.weights == pytest.approx(fit.weights, rel=0.1, abs=2e-4)  # the largest are smoothed once more
    for c in np.eye(2):
        assert limits(again.contrast(c)) == pytest.approx(limits(fit.contrast(c)), abs=0.01 * fit.contrast(c).sd)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_points_weighted_for_other_priors_agree_with_a_fit_of_its_own(factor):
    y, X, groups = data()
    others = {name: prior.times(factor) for name, prior in PRIORS.items()}
    beside, own = hierarchical(y, X, groups, PRIORS).with_priors(others), hierarchical(y, X, groups, others, error=0.003)
    assert beside.priors == others
    for c in np.eye(2):
        assert limits(beside.contrast(c)) == pytest.approx(limits(own.contrast(c)), abs=0.05 * 2 * own.contrast(c).sd)


def test_priors_far_from_the_points_are_not_fitted_by_weights():
    y, X, groups = data()
    far = hierarchical(y, X, groups, PRIORS).with_priors({name: HalfT(math.inf, 1e-4) for name in PRIORS})
    assert isinstance(far, NoPosterior) and "too far" in far.reason


def test_a_further_variance_widens_as_independent_normals_do():
    y, X, groups = data()
    fit = hierarchical(y, X, groups, PRIORS)
    one, wider = fit.contrast([0, 1]), fit.contrast([0, 1], 0.25)
    assert wider.mean == pytest.approx(one.mean, abs=1e-12) and wider.sd**2 == pytest.approx(one.sd**2 + 0.25, rel=1e-9)
    anew = 2 * fit.variance("blade")
    assert fit.contrast([0, 1], anew).sd ** 2 == pytest.approx(one.sd**2 + fit.weights @ anew, rel=1e-9)
    assert (fit.variance("nothing") == 0).all()


def test_targets_are_shrunken_effects_of_the_dense_equations_at_every_point():
    """A target of one effect: at every point Henderson's equations solved whole, mixed with the point's weight."""
    y, X, groups = data(people=4, blades=3)
    T = np.zeros((1, 4 + 3 + 2))
    T[0, [1, 3, 8]] = 1.0, -1.0, 0.5
    fit = hierarchical(y, X, groups, PRIORS, targets=T)
    W = np.column_stack([groups["who"][:, None] == np.arange(4), groups["blade"][:, None] == np.arange(3), X]).astype(float)
    for s in np.argsort(fit.weights)[-5:]:
        who, blade, residual = fit.sds[s]
        C = W.T @ W / residual**2 + np.diag([who**-2] * 4 + [blade**-2] * 3 + [0.0] * 2)
        assert fit.target_means[s, 0] == pytest.approx(T[0] @ np.linalg.solve(C, W.T @ y / residual**2), abs=1e-8)
        assert fit.target_variances[s, 0] == pytest.approx(T[0] @ np.linalg.solve(C, T[0]), rel=1e-7)
    assert fit.target(0).mean == pytest.approx(fit.weights @ fit.target_means[:, 0], abs=1e-12)


def test_weighted_quantiles_of_equal_weights_are_those_of_numpy():
    values = np.random.default_rng(1).lognormal(size=1000)
    for p in (0.025, 0.5, 0.9):
        wanted = np.exp(np.quantile(np.log(values), p, method="hazen"))
        assert weighted_quantile(values, np.full(1000, 1e-3), p) == pytest.approx(wanted, rel=1e-9)


# ---- limits ------------------------------------------------------------------------------------------------------------------


def test_narrow_intervals_are_nearly_exact_values():
    y, X, groups = data()
    exact = hierarchical(y, X, groups, PRIORS, error=0.003)
    narrow = hierarchical(y - 5e-4, X, groups, PRIORS, high=y + 5e-4, error=0.01)
    assert limits(narrow.contrast([0, 1])) == pytest.approx(limits(exact.contrast([0, 1])), abs=0.04 * exact.contrast([0, 1]).sd)


def test_a_limit_far_away_says_nothing():
    y, X, groups = data()
    rows = np.arange(len(y)) != 5
    low = y.copy()
    low[5] = y.min() - 50
    fit = hierarchical(low, X, groups, PRIORS, high=one_sided(low, [5]), error=0.003)
    without = hierarchical(y[rows], X[rows], {name: one[rows] for name, one in groups.items()}, PRIORS, error=0.003)
    assert limits(fit.contrast([0, 1])) == pytest.approx(limits(without.contrast([0, 1])), abs=0.02 * without.contrast([0, 1]).sd)


# ---- what is not fitted, and what is refused -------------------------------------------------------------------------------------


def test_a_coefficient_that_only_one_sided_responses_know_is_not_fitted_with_its_reason():
    y, X, groups = data()
    fit = hierarchical(y, X, groups, PRIORS, high=one_sided(y, X[:, 1] == 1))
    assert isinstance(fit, NoPosterior) and fit.reason == "a coefficient rests on one-sided responses alone"
    assert not fit.convergence.fitted and fit.priors == PRIORS


def test_no_more_responses_than_coefficients_are_not_fitted_with_the_reason():
    fit = hierarchical([1.0, 2.0], [[1, 0], [0, 1]], {"who": ["a", "a"]}, PRIORS)
    assert isinstance(fit, NoPosterior) and fit.reason == "values: 2; means: 2; nothing is left over from which to judge how runs spread"


def test_with_known_variances_one_response_is_an_answer():
    fit = hierarchical([1.0], [[1.0]], {"who": ["a"]}, PRIORS, V=[0.01])
    assert fit.convergence.fitted and fit.contrast([1.0]).quantile(0.5) == pytest.approx(1.0, abs=1e-6)
    assert fit.spread("who").from_prior == pytest.approx(1.0, abs=0.1)


Y, X, GROUPS = data(people=3, blades=3)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"priors": {"who": PRIORS["who"], "residual": PRIORS["residual"]}}, "a prior is needed for blade; got who, residual"),
        ({"priors": {"who": PRIORS["who"], "blade": PRIORS["blade"]}}, "a prior is needed for residual"),
        ({"X": np.column_stack([X, X.sum(axis=1)])}, "full column rank 3; got rank 2"),
        ({"high": Y - 0.1}, "low must not exceed high"),
        ({"y": np.where(np.arange(len(Y)) == 4, -np.inf, Y), "high": one_sided(Y, [4])}, "one of them must be finite"),
        ({"y": np.where(np.arange(len(Y)) == 4, np.nan, Y)}, "in row 4"),
        ({"high": Y[1:]}, "vectors of one length; got shapes"),
        ({"V": np.eye(len(Y)), "high": one_sided(Y, [2])}, "one variance a row where some responses are limits"),
        ({"contrasts": [[1.0, 0.0, 0.0]]}, "contrasts must have 2 columns"),
        ({"contrasts": [[1.0, np.nan]]}, "contrasts must have 2 columns of finite numbers"),
        ({"targets": [[1.0, 0.0]]}, "targets must have 8 columns"),
    ],
)
def test_a_callers_mistake_is_named(changes, message):
    given = {"y": Y, "X": X, "groups": GROUPS, "priors": PRIORS} | changes
    with pytest.raises(InputError, match=message):
        hierarchical(given.pop("y"), given.pop("X"), given.pop("groups"), given.pop("priors"), **given)


def test_a_contrast_of_another_length_and_a_term_that_is_not_there_are_named():
    fit = hierarchical(Y, X, GROUPS, PRIORS)
    with pytest.raises(InputError, match="a contrast needs 2 finite numbers"):
        fit.contrast([1.0])
    with pytest.raises(InputError, match="there is a spread of who, blade, residual; got 'lot'"):
        fit.spread("lot")


# ---- many effects ------------------------------------------------------------------------------------------------------------


def many(seed=5, n=600):
    """60 people and 90 blades met at random, a condition, and everybody's mean of blades as a target."""
    rng = np.random.default_rng(seed)
    who, blade = rng.integers(0, 60, n), rng.integers(0, 90, n)
    y = 0.3 * (blade % 2) + 0.25 * rng.normal(size=60)[who] + 0.15 * rng.normal(size=90)[blade] + 0.3 * rng.normal(size=n)
    T = np.zeros((1, 60 + 90 + 2))
    T[0, 0], T[0, -1] = 1.0, 1.0  # the first person's effect with the condition's
    return y, np.column_stack([np.ones(n), blade % 2]), {"who": who, "blade": blade}, T


@pytest.mark.parametrize("share_one_sided", [0.0, 0.1])
def test_normal_about_the_mode_says_of_many_effects_what_importance_sampling_says(monkeypatch, share_one_sided):
    """At 152 effects and coefficients already: limits within 3 % of the half-width, means of spreads within a fifth of their SD."""
    y, X, groups, T = many()
    high = one_sided(y, np.arange(len(y)) < share_one_sided * len(y))
    usual = hierarchical(y, X, groups, PRIORS, high=high, targets=T, spread_error=0.1)
    monkeypatch.setattr(sys.modules[hierarchical.__module__], "LARGE", 0)
    quick = hierarchical(y, X, groups, PRIORS, high=high, targets=T)
    assert usual.convergence.message == "" and quick.convergence.message == "normal about the mode"
    for ask in (lambda fit: fit.contrast([0, 1]), lambda fit: fit.contrast([1, 0]), lambda fit: fit.target(0)):
        wanted, found = ask(usual), ask(quick)
        half = (wanted.interval.high - wanted.interval.low) / 2
        assert limits(found) == pytest.approx(limits(wanted), abs=0.03 * half)
        assert found.sd == pytest.approx(wanted.sd, rel=0.02)
    for name in PRIORS:
        wanted, found = usual.spread(name), quick.spread(name)
        assert found.mean == pytest.approx(wanted.mean, abs=0.2 * wanted.sd)
        assert found.sd == pytest.approx(wanted.sd, rel=0.1)


def test_covariances_move_along_the_logarithm_and_stay_positive_definite():
    """Along one direction M = log 4 · C the covariance C becomes 4C, and as far the other way a quarter of it."""
    C = np.array([[2.0, 0.6], [0.6, 0.5]])
    moved = sys.modules[hierarchical.__module__]._along(C, np.array([C * math.log(4)]), np.array([[1.0], [-1.0], [0.0]]))
    np.testing.assert_allclose(moved, [4 * C, C / 4, C], rtol=1e-12)


def test_draws_come_from_the_mixture_that_the_posterior_is():
    """Mean and covariance of a mixture are known from its parts; mirrored draws have the mean almost to the last digit."""
    y, X, groups = data()[:3]
    fit = hierarchical(y, X, groups, {name: HalfT(4, 0.5, "here") for name in (*groups, "residual")})
    drawn = fit.draws(40_001, np.random.default_rng(3))
    mean = fit.weights @ fit.coefficients
    covariance = np.einsum("s,sij->ij", fit.weights, fit.covariances) + np.einsum(
        "s,si,sj->ij", fit.weights, fit.coefficients - mean, fit.coefficients - mean
    )
    assert drawn.shape == (40_001, X.shape[1])
    sd = np.sqrt(np.diag(covariance))
    assert np.abs(drawn.mean(axis=0) - mean).max() < 0.01 * sd.max()
    assert np.cov(drawn.T) == pytest.approx(covariance, abs=0.03 * sd.max() ** 2)
    for k in range(X.shape[1]):
        told = fit.contrast(np.eye(X.shape[1])[k])
        assert np.quantile(drawn[:, k], (0.025, 0.975)) == pytest.approx([told.interval.low, told.interval.high], abs=0.05 * sd[k])
