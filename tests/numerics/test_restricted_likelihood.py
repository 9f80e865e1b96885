"""The restricted likelihood and what is normal given it, against dense matrices, differences and integrals."""

import math

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from edgehold.numerics import elimination, restricted_likelihood
from edgehold.numerics.restricted_likelihood import average_information, likelihood_at, prepare_rows

SEEDS = st.integers(0, 2**32 - 1)
WHOLE, NOTHING = 10**9, 0  # unknowns that the dense core may have


def indicator(codes, levels):
    return sp.csr_matrix((np.ones(len(codes)), (np.arange(len(codes)), codes)), shape=(len(codes), levels))


class Case:
    """A random design: one to three terms, some of their levels never met twice, one to three coefficients."""

    def __init__(self, seed, limited=0, known=False):
        rng = np.random.default_rng(seed)
        self.n, self.p = int(rng.integers(8, 25)), int(rng.integers(1, 4))
        self.X = np.column_stack([np.ones(self.n), rng.normal(size=(self.n, self.p - 1))])
        levels = rng.integers(2, 9, size=rng.integers(1, 4))
        self.terms = [indicator(rng.integers(0, q, self.n), q) for q in levels]
        self.sds = 10.0 ** rng.uniform(-1.5, 0.5, len(levels))
        self.known = rng.uniform(0.05, 2, self.n) if known else None
        self.residual = None if known else float(10.0 ** rng.uniform(-1, 0.5))
        self.low = 5 + self.X @ np.arange(self.p) + rng.normal(size=self.n)
        self.high = self.low.copy()
        for i in rng.permutation(self.n)[:limited]:
            side = rng.integers(3)
            self.low[i] = -math.inf if side == 0 else self.low[i]
            self.high[i] = math.inf if side == 1 else self.high[i] + (0.5 if side == 2 else 0)

    def rows(self):
        return prepare_rows(self.low, self.high, self.X, self.terms, self.known)

    def at(self, sds=None, residual=None, slopes=False, **more):
        sds, residual = self.sds if sds is None else sds, self.residual if residual is None else residual
        return likelihood_at(self.rows(), np.asarray(sds), residual, slopes=slopes, **more)

    def covariance(self, sds=None, residual=None):
        sds, residual = self.sds if sds is None else sds, self.residual if residual is None else residual
        own = self.known if self.known is not None else np.full(self.n, residual**2)
        return np.diag(own) + sum(sd**2 * (Z @ Z.T).toarray() for sd, Z in zip(sds, self.terms, strict=True))


def dense(y, X, S):
    """Restricted log-likelihood, coefficients and their covariance by inverses and determinants."""
    S_inv = np.linalg.inv(S)
    A = X.T @ S_inv @ X
    b = np.linalg.solve(A, X.T @ S_inv @ y)
    r = y - X @ b
    log_det = np.linalg.slogdet(S)[1] + np.linalg.slogdet(A)[1]
    return -0.5 * ((len(y) - X.shape[1]) * math.log(2 * math.pi) + log_det + r @ S_inv @ r), b, np.linalg.inv(A)


@pytest.fixture(params=[WHOLE, NOTHING], ids=["one dense core", "effects eliminated before it"])
def eliminating(request, monkeypatch):
    monkeypatch.setattr(elimination, "SMALL_CORE", request.param)
    return request.param == NOTHING


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", range(12))
def test_likelihood_coefficients_and_covariance_are_those_of_dense_matrices(eliminating, seed, known):
    case = Case(seed, known=known)
    assert (case.rows().plan.eliminated > 0) == eliminating
    wanted, b, covariance = dense(case.low, case.X, case.covariance())
    point = case.at()
    assert point.log_likelihood == pytest.approx(wanted, abs=1e-8)
    assert point.coefficients == pytest.approx(b, rel=1e-8, abs=1e-9)
    np.testing.assert_allclose(point.covariance, covariance, rtol=1e-7, atol=1e-10)


@settings(max_examples=60)
@given(SEEDS)
def test_over_random_designs_both_ways_are_those_of_dense_matrices(seed):
    case = Case(seed, known=bool(seed % 2))
    wanted, b, _ = dense(case.low, case.X, case.covariance())
    for threshold in (WHOLE, NOTHING):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(elimination, "SMALL_CORE", threshold)
            point = case.at()
        assert point.log_likelihood == pytest.approx(wanted, abs=1e-7)
        assert point.coefficients == pytest.approx(b, rel=1e-7, abs=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_a_standard_deviation_of_nothing_takes_its_term_out(eliminating, seed):
    case = Case(seed)
    sds = np.zeros(len(case.sds))
    wanted, b, _ = dense(case.low, case.X, case.covariance(sds))
    point = case.at(sds)
    assert point.log_likelihood == pytest.approx(wanted, abs=1e-8)
    assert point.coefficients == pytest.approx(b, rel=1e-9)


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_slopes_are_the_differences_of_the_dense_likelihood(eliminating, seed, known):
    case = Case(seed, known=known)
    slopes, K = case.at(slopes=True).slopes, len(case.sds)
    for k in range(K + (not known)):
        values = []
        for sign in (1, -1):
            sds, residual = case.sds.copy(), case.residual
            step = 1e-4 * (residual if k == K else sds[k])
            if k == K:
                residual += sign * step
            else:
                sds[k] += sign * step
            values.append(dense(case.low, case.X, case.covariance(sds, residual))[0])
        assert slopes[k] == pytest.approx((values[0] - values[1]) / (2 * step), rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("limited", [0, 3])
@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_average_information_is_that_of_dense_matrices(eliminating, seed, known, limited):
    """½ yᵀP(∂V/∂σₖ)P(∂V/∂σₗ)Py, the sites standing for limited responses."""
    case = Case(seed, limited=limited, known=known)
    rows, point = case.rows(), case.at(settled=1e-11)
    S, y, limits = case.covariance(), case.low - case.X @ rows.origin, case.low != case.high
    y[limits] = point.sites.shift / point.sites.precision
    S[limits, limits] += 1 / point.sites.precision
    S_inv = np.linalg.inv(S)
    P = S_inv - S_inv @ case.X @ np.linalg.solve(case.X.T @ S_inv @ case.X, case.X.T @ S_inv)
    moves = [2 * sd * (Z @ Z.T).toarray() for sd, Z in zip(case.sds, case.terms, strict=True)]
    moves += [] if known else [2 * case.residual * np.eye(case.n)]
    working = np.array([move @ P @ y for move in moves])
    found = average_information(rows, case.sds, case.residual, point)
    np.testing.assert_allclose(found, working @ P @ working.T / 2, rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("seed", range(8))
def test_sums_of_effects_and_coefficients_have_the_dense_conditional_mean_and_variance(eliminating, seed):
    """Given y, effects have mean ΛΛZᵀP y and, the coefficients flat, the covariance of Henderson's equations, here inverted whole."""
    case = Case(seed)
    W, q = np.hstack([*(Z.toarray() for Z in case.terms), case.X]), sum(Z.shape[1] for Z in case.terms)
    variances = np.repeat(case.sds**2, [Z.shape[1] for Z in case.terms])
    C = W.T @ W / case.residual**2 + np.diag(np.concatenate([1 / variances, np.zeros(case.p)]))
    T = np.random.default_rng(seed).normal(size=(5, q + case.p))
    wanted = T @ np.linalg.solve(C, W.T @ case.low / case.residual**2)
    rows = case.rows()
    means, spread = likelihood_at(rows, case.sds, case.residual).combined(T)
    assert means + T[:, q:] @ rows.origin == pytest.approx(wanted, rel=1e-7, abs=1e-8)
    assert spread == pytest.approx(np.einsum("ti,ij,tj->t", T, np.linalg.inv(C), T), rel=1e-7)


# ---- limits ------------------------------------------------------------------------------------------------------------------


def without(case, i):
    """Mean and variance of row i before its own response, from dense matrices: kriging with unknown coefficients."""
    S, rest = case.covariance(), np.arange(case.n) != i
    y, X, inverse = case.low[rest], case.X[rest], np.linalg.inv(S[np.ix_(rest, rest)])
    _, b, covariance = dense(y, X, S[np.ix_(rest, rest)])
    k = S[i, rest] @ inverse
    off = case.X[i] - k @ X
    return case.X[i] @ b + k @ (y - X @ b), S[i, i] - k @ S[rest, i] + off @ covariance @ off, dense(y, X, S[np.ix_(rest, rest)])


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("limits", [(-0.4, math.inf), (-math.inf, 0.3), (-0.1, 0.5), (1.5, math.inf), (0.2, 0.21)])
@pytest.mark.parametrize("seed", [0, 3])
def test_one_limited_response_has_the_likelihood_and_the_coefficient_of_an_integral(eliminating, seed, limits, known):
    """∫ p(all others, u) du over u between the limits, by quadrature of the dense formula; the mean of the coefficients likewise."""
    case = Case(seed, known=known)
    i = 2
    mean, variance, _ = without(case, i)
    sd = math.sqrt(variance)
    case.low[i], case.high[i] = mean + sd * np.array(limits)
    ends = [mean + sd * max(limits[0], -9.0), mean + sd * min(limits[1], 9.0)]

    def at(u):
        y = case.low.copy()
        y[i] = u
        value, b, _ = dense(y, case.X, case.covariance())
        return value, b

    top = max(at(u)[0] for u in (*ends, mean))
    total = quad(lambda u: math.exp(at(u)[0] - top), *ends, epsabs=0, epsrel=1e-9)[0]
    point = case.at(settled=1e-10)
    assert point.log_likelihood == pytest.approx(top + math.log(total), abs=1e-7)
    for j in range(case.p):
        wanted = quad(lambda u, j=j: math.exp(at(u)[0] - top) * (at(u)[1][j] - at(mean)[1][j]), *ends, epsabs=1e-12, epsrel=1e-9)[0] / total
        assert point.coefficients[j] - at(mean)[1][j] == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_limits_that_share_only_the_mean_have_the_likelihood_of_one_integral_over_it(seed):
    """Exact rows are 200 pairs, each on an effect of its own; given the mean every limit has its own probability."""
    rng, pairs, m = np.random.default_rng(seed), 200, 4
    low = np.concatenate([rng.normal(size=2 * pairs), rng.normal(size=m)])
    high = low.copy()
    high[2 * pairs :] = math.inf
    codes = np.concatenate([np.arange(2 * pairs) % pairs, pairs + np.arange(m)])
    rows = prepare_rows(low, high, np.ones((2 * pairs + m, 1)), [indicator(codes, pairs + m)], None)
    sd, residual = 0.6, 0.8
    S = np.array([[sd**2 + residual**2, sd**2], [sd**2, sd**2 + residual**2]])
    y = np.column_stack([low[:pairs], low[pairs : 2 * pairs]])
    b, error = y.mean(), math.sqrt((2 * sd**2 + residual**2) / 2 / pairs)
    exact = multivariate_normal([b, b], S).logpdf(y).sum() + 0.5 * math.log(2 * math.pi) + math.log(error)

    def beyond(mean):
        return norm.pdf(mean, b, error) * np.exp(norm.logsf(low[2 * pairs :], mean, math.hypot(sd, residual)).sum())

    wanted = exact + math.log(quad(beyond, b - 9 * error, b + 9 * error)[0])
    assert likelihood_at(rows, np.array([sd]), residual).log_likelihood == pytest.approx(wanted, abs=2e-4)


@settings(max_examples=40)
@given(SEEDS)
def test_with_limits_both_ways_of_elimination_agree(seed):
    case, found = Case(seed, limited=4), []
    for threshold in (WHOLE, NOTHING):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(elimination, "SMALL_CORE", threshold)
            found.append(case.at(slopes=True, settled=1e-9))
    if None in found:
        assert found == [None, None]
        return
    for name in ("log_likelihood", "coefficients", "covariance", "slopes"):
        assert getattr(found[0], name) == pytest.approx(getattr(found[1], name), rel=1e-5, abs=1e-6), name


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_with_limits_slopes_are_differences_of_the_likelihood_which_its_integral_has_judged(eliminating, seed, known):
    case = Case(seed, limited=4, known=known)
    point, K = case.at(slopes=True, settled=1e-11), len(case.sds)
    for k in range(K + (not known)):
        values = []
        for sign in (1, -1):
            sds, residual = case.sds.copy(), case.residual
            step = 1e-3 * (residual if k == K else sds[k])
            if k == K:
                residual += sign * step
            else:
                sds[k] += sign * step
            values.append(case.at(sds, residual, settled=1e-11).log_likelihood)
        assert point.slopes[k] == pytest.approx((values[0] - values[1]) / (2 * step), rel=1e-3, abs=1e-4)


@pytest.fixture(params=[0, 16], ids=["a factor a sweep", "sweeps over the limited rows alone"])
def sweeping(request, monkeypatch):
    monkeypatch.setattr(restricted_likelihood, "FEW", request.param)


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_at_settled_sites_coefficients_and_covariance_are_those_of_dense_matrices(sweeping, seed, known):
    """A site is a normal value with a variance of its own: the dense formula with these in place of the limits."""
    case = Case(seed, limited=5, known=known)
    point, y, S = case.at(settled=1e-11), case.low.copy(), case.covariance()
    limited = case.low != case.high
    y[limited] = point.sites.shift / point.sites.precision + (case.X @ case.rows().origin)[limited]
    S[limited, limited] += 1 / point.sites.precision
    _, b, covariance = dense(y, case.X, S)
    assert point.coefficients == pytest.approx(b, rel=1e-8, abs=1e-8)
    np.testing.assert_allclose(point.covariance, covariance, rtol=1e-7, atol=1e-10)


@settings(max_examples=40)
@given(SEEDS)
def test_sweeps_over_the_limited_rows_alone_settle_where_those_with_a_factor_each_do(seed):
    case, found = Case(seed, limited=5, known=bool(seed % 2)), []
    for few in (0, 16):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(restricted_likelihood, "FEW", few)
            found.append(case.at(slopes=True, settled=1e-9))
    if None in found:
        assert found == [None, None]
        return
    for name in ("log_likelihood", "coefficients", "covariance", "slopes"):
        assert getattr(found[0], name) == pytest.approx(getattr(found[1], name), rel=1e-8, abs=1e-8), name


def test_two_limits_and_an_exact_row_are_near_the_bivariate_normal_probability():
    """Expectation propagation is not exact with two limits that share an effect; here within 0.8 % of scipy's probability."""
    sd, residual, mean = 0.7, 0.5, 0.2
    n = 400  # rows of their own that make the mean known
    low = np.concatenate([np.full(n, mean), [0.1, 0.3]])
    high = low.copy()
    high[n:] = math.inf
    codes = np.concatenate([np.arange(n), [n, n]])
    rows = prepare_rows(low, high, np.ones((n + 2, 1)), [indicator(codes, n + 1)], None)
    alone = prepare_rows(low[:n], low[:n], np.ones((n, 1)), [indicator(codes[:n], n)], None)
    both, one = (likelihood_at(r, np.array([sd]), residual).log_likelihood for r in (rows, alone))
    S = np.full((2, 2), sd**2 + (sd**2 + residual**2) / n) + np.eye(2) * residual**2
    assert math.exp(both - one) == pytest.approx(multivariate_normal(np.full(2, -mean), S).cdf(-np.array([0.1, 0.3])), rel=8e-3)
