"""Behaviour of crossed: a slow dense second implementation, edges that must give a reason, what is refused, invariances."""

import itertools
import re

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import chi2

from edgehold.errors import InputError
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import CrossedFitted, NothingFitted, OnlyVariancesFitted
from edgehold.pooling.pairwise.random_effects import random_effects

# ---- a second implementation: dense n × n matrices, a general optimiser, nothing shared with the package --------------------


def dense_log_likelihood(variances, y, X, terms, V, restricted):
    n, p = X.shape
    S = sum(s * Z @ Z.T for s, Z in zip(variances, terms, strict=False)) + (variances[-1] * np.eye(n) if V is None else V)
    S_inverse = np.linalg.inv(S)
    A = X.T @ S_inverse @ X
    r = y - X @ np.linalg.solve(A, X.T @ S_inverse @ y)
    value = np.linalg.slogdet(S)[1] + r @ S_inverse @ r + (n - p * restricted) * np.log(2 * np.pi)
    return -0.5 * (value + (np.linalg.slogdet(A)[1] if restricted else 0.0))


def dense_maximum(y, X, terms, V, restricted, held=()):
    """The best of several searches over standard deviations, ``held`` fixing some variances."""
    count = len(terms) + (V is None)
    held = dict(held)
    free = [k for k in range(count) if k not in held]

    def variances(x):
        full = np.zeros(count)
        full[free] = x**2
        for k, value in held.items():
            full[k] = value
        return full

    def cost(x):
        x = np.maximum(np.abs(x), 1e-7) if V is None and count - 1 in free else x
        return -dense_log_likelihood(variances(x), y, X, terms, V, restricted)

    best = None
    for start in [(0.8,) * len(free), *itertools.product((0.05, 1.0), repeat=len(free))][: 1 + 2 * len(free)]:
        found = minimize(cost, np.array(start), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-11})
        if best is None or found.fun < best.fun:
            best = found
    return -best.fun, variances(best.x)


def labelled(labels):
    return (np.asarray(labels)[:, None] == np.unique(labels)).astype(float)


@st.composite
def designs(draw, known):
    n = draw(st.integers(14, 24))
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    a, b = rng.integers(0, draw(st.integers(3, 5)), n), rng.integers(0, draw(st.integers(3, 6)), n)
    X = np.column_stack([np.ones(n), rng.normal(size=n)])[:, : draw(st.integers(1, 2))]
    root = np.tril(rng.normal(size=(n, n)), -1) * (np.arange(n)[:, None] // 2 == np.arange(n) // 2) + np.diag(rng.uniform(0.3, 1, n))
    V = root @ root.T if known else None
    spread = draw(st.sampled_from([0.0, 0.5, 2.0]))
    noise = root @ rng.normal(size=n) if known else rng.normal(size=n)
    y = noise + spread * rng.normal(size=9)[a] + rng.normal(size=9)[b]
    return y, X, a, b, V


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize("known", [True, False])
def test_small_fits_agree_with_the_dense_implementation(known, restricted):
    @settings(max_examples=8, deadline=None)
    @given(designs(known))
    def check(design):
        y, X, a, b, V = design
        terms = [labelled(a), labelled(b)]
        fit = crossed(y, X, {"a": a, "b": b}, V=V, criterion="reml" if restricted else "ml", profile=False)
        best, variances = dense_maximum(y, X, terms, V, restricted)
        assert fit.convergence.converged
        assert fit.log_likelihood >= best - 1e-7
        assert fit.log_likelihood == pytest.approx(dense_log_likelihood(list(fit.variances.values()), y, X, terms, V, restricted), abs=1e-8)
        if fit.log_likelihood <= best + 1e-7:
            np.testing.assert_allclose(list(fit.variances.values()), variances, rtol=1e-2, atol=2e-3 * sum(variances) + 1e-9)

    check()


@pytest.mark.parametrize("known", [True, False])
def test_coefficients_errors_and_effects_agree_with_dense_formulas(known):
    @settings(max_examples=20, deadline=None)
    @given(designs(known))
    def check(design):
        y, X, a, b, V = design
        fit = crossed(y, X, {"a": a, "b": b}, V=V, profile=False)
        variances, terms = list(fit.variances.values()), [labelled(a), labelled(b)]
        S = sum(s * Z @ Z.T for s, Z in zip(variances, terms, strict=False)) + (variances[-1] * np.eye(len(y)) if V is None else V)
        S_inverse = np.linalg.inv(S)
        phi = np.linalg.inv(X.T @ S_inverse @ X)
        beta = phi @ X.T @ S_inverse @ y
        P = S_inverse - S_inverse @ X @ phi @ X.T @ S_inverse
        np.testing.assert_allclose(fit.coefficients, beta, rtol=1e-6, atol=1e-8)
        np.testing.assert_allclose(fit.covariance, phi, rtol=1e-6, atol=1e-10)
        for (_, effects), variance, Z in zip(fit.effects.items(), variances, terms, strict=False):
            np.testing.assert_allclose(effects.values, variance * Z.T @ P @ y, rtol=1e-5, atol=1e-7)
            error = variance * np.eye(Z.shape[1]) - variance**2 * Z.T @ P @ Z
            np.testing.assert_allclose(effects.standard_errors**2, np.diag(error), rtol=1e-5, atol=1e-9)

    check()


def test_profile_limits_agree_with_the_dense_implementation():
    rng = np.random.default_rng(3)
    a, b = np.arange(24) % 6, np.arange(24) // 6
    y = rng.normal(size=6)[a] + 0.7 * rng.normal(size=4)[b] + 0.5 * rng.normal(size=24)
    X, terms = np.ones((24, 1)), [labelled(a), labelled(b)]
    fit = crossed(y, X, {"a": a, "b": b})
    best, _ = dense_maximum(y, X, terms, None, True)
    rise = chi2.ppf(0.95, 1) / 2

    def gap(value, k):
        return best - dense_maximum(y, X, terms, None, True, held={k: value}.items())[0] - rise

    for k, interval in enumerate(fit.variance_intervals.values()):
        for limit in (interval.low, interval.high):
            if limit == 0:
                assert gap(0.0, k) <= 0
            else:
                assert gap(limit, k) == pytest.approx(0.0, abs=1e-6)


# ---- edges: a result with its reason, no crash, no NaN -----------------------------------------------------------------------


def everything_finite(fit):
    arrays = [fit.log_likelihood, *fit.variances.values()]
    arrays += [part for one in fit.effects.values() if one for part in (one.values, one.standard_errors, one.conditional_standard_errors)]
    if isinstance(fit, CrossedFitted):
        arrays += [fit.coefficients, fit.standard_errors, fit.covariance, fit.adjusted_covariance]
        assert not np.isnan(fit.df).any()
    return all(np.isfinite(array).all() for array in arrays if array is not None)


def a_study(n=40, seed=1):
    rng = np.random.default_rng(seed)
    blade, tester = np.arange(n) % 8, rng.integers(0, 6, n)
    y = 1 + rng.normal(size=8)[blade] + 0.5 * rng.normal(size=6)[tester] + 0.3 * rng.normal(size=n)
    return y, np.ones((n, 1)), blade, tester


def test_two_names_for_the_same_groups_have_no_variance_of_their_own():
    y, X, blade, tester = a_study()
    fit = crossed(y, X, {"blade": blade, "edge": blade + 100, "tester": tester})
    assert fit.variances["blade"] is None and fit.variances["edge"] is None and fit.effects["blade"] is None
    assert "cannot tell it from 'edge'" in fit.reasons["variances.blade"] and fit.variance_intervals["edge"] is None
    alone = crossed(y, X, {"blade": blade, "tester": tester})
    assert fit.variances["tester"] == pytest.approx(alone.variances["tester"], rel=1e-5)
    np.testing.assert_allclose(fit.standard_errors, alone.standard_errors, rtol=1e-6)
    np.testing.assert_allclose(fit.df, alone.df, rtol=1e-4)
    assert everything_finite(fit)


def test_a_level_for_every_row_is_not_told_from_the_residual():
    y, X, blade, _ = a_study()
    fit = crossed(y, X, {"blade": blade, "row": np.arange(len(y))})
    assert fit.variances["residual"] is None and "'row'" in fit.reasons["variances.residual"]
    assert fit.variances["blade"] == pytest.approx(crossed(y, X, {"blade": blade}).variances["blade"], rel=1e-4)


def test_a_single_level_has_no_variance_and_changes_nothing_else():
    y, X, blade, _ = a_study()
    fit = crossed(y, X, {"blade": blade, "place": ["harbour"] * len(y)})
    assert fit.variances["place"] is None and "already explain" in fit.reasons["variances.place"]
    assert fit.log_likelihood == pytest.approx(crossed(y, X, {"blade": blade}).log_likelihood, abs=1e-9)


def test_a_term_that_the_coefficients_explain_wholly_has_no_variance():
    y, _, blade, tester = a_study()
    fit = crossed(y, labelled(blade), {"blade": blade, "tester": tester})
    assert fit.variances["blade"] is None and fit.variances["tester"] is not None and everything_finite(fit)


def test_dependent_columns_have_no_coefficients_but_the_variances_stand():
    y, X, blade, tester = a_study()
    double = np.column_stack([X, np.arange(len(y)), 2 * X[:, 0]])
    fit = crossed(y, double, {"blade": blade, "tester": tester})
    assert isinstance(fit, OnlyVariancesFitted)
    assert "counted from 0" in fit.reason and fit.reason.endswith("2")
    whole = crossed(y, double[:, :2], {"blade": blade, "tester": tester})
    assert fit.variances == pytest.approx(whole.variances, rel=1e-6) and everything_finite(fit)


@pytest.mark.parametrize(
    ("y", "X", "reason"),
    [
        ([], np.ones((0, 1)), "no rows"),
        ([2.0, 2.0, 2.0, 2.0], np.ones((4, 1)), "reproduce every row exactly"),
        ([1e9, 1e9, 1e9, 1e9], np.ones((4, 1)), "reproduce every row exactly"),
        ([1.0, 2.0, 3.0, 4.0], np.arange(4)[:, None] + 1.0, "reproduce every row exactly"),
        ([1.0, 3.0], np.eye(2), "leave nothing"),
        ([1.0], np.ones((1, 1)), "leave nothing"),
    ],
)
def test_rows_that_cannot_be_fitted_give_a_reason_and_no_number(y, X, reason):
    fit = crossed(y, X, {"blade": list(range(len(y)))})
    assert isinstance(fit, NothingFitted) and reason in fit.reason


def test_levels_that_reproduce_every_row_leave_no_residual_and_no_fit():
    fit = crossed(np.repeat([1.0, 5.0, 2.0], 4), np.ones((12, 1)), {"blade": np.repeat([0, 1, 2], 4)})
    assert isinstance(fit, NothingFitted) and "residual variance vanishes" in fit.reason


def test_a_constant_response_with_known_variances_has_zero_variance_and_an_upper_limit():
    fit = crossed(np.full(12, 3.0), np.ones((12, 1)), {"blade": np.repeat([0, 1, 2, 3], 3)}, V=np.full(12, 0.2))
    assert fit.variances["blade"] == 0.0 and fit.coefficients[0] == pytest.approx(3.0)
    assert fit.variance_intervals["blade"].low == 0.0 and 0 < fit.variance_intervals["blade"].high < 1
    assert not fit.effects["blade"].values.any() and not fit.effects["blade"].standard_errors.any()


def test_a_variance_at_zero_is_zero_with_its_upper_limit():
    y, X, _, tester = a_study()
    fit = crossed(y - y, X, {"tester": tester}, V=np.full(len(y), 1.0))
    alternating = np.tile([1.0, -1.0], 20)
    fit = crossed(alternating, X, {"pair": np.arange(40) // 2})
    assert fit.variances["pair"] == 0.0
    assert fit.variance_intervals["pair"].low == 0.0 and fit.variance_intervals["pair"].high > 0
    assert np.isfinite(fit.df).all() and fit.df[0] <= 39


@pytest.mark.parametrize("offset", [1e6, 1e9])
def test_a_huge_offset_changes_only_the_constant(offset):
    y, X, blade, tester = a_study()
    plain, moved = (crossed(z, X, {"blade": blade, "tester": tester}) for z in (y, y + offset))
    assert moved.variances == pytest.approx(plain.variances, rel=1e-16 * offset * 1e3)
    assert moved.coefficients[0] - offset == pytest.approx(plain.coefficients[0], abs=1e-15 * offset)


@pytest.mark.parametrize("scale", [1e-12, 1e-6, 1e6, 1e20])
def test_the_unit_of_the_response_cancels(scale):
    y, X, blade, tester = a_study()
    plain, scaled = (crossed(z, X, {"blade": blade, "tester": tester}) for z in (y, y * scale))
    assert {k: v / scale**2 for k, v in scaled.variances.items()} == pytest.approx(plain.variances, rel=1e-7)
    for name, interval in plain.variance_intervals.items():
        assert scaled.variance_intervals[name].high / scale**2 == pytest.approx(interval.high, rel=1e-6)
    np.testing.assert_allclose(scaled.df, plain.df, rtol=1e-6)


@pytest.mark.parametrize("tiny", [1e-12, 1e-60])
def test_one_nearly_exact_known_row_leads_and_nothing_breaks(tiny):
    y, X, blade, _ = a_study()
    v = np.full(len(y), 0.1)
    v[3] = tiny
    fit = crossed(y, X, {"blade": blade, "row": np.arange(len(y))}, V=v)
    assert fit.convergence.converged and everything_finite(fit)
    fit = crossed(y, X, {}, V=v)
    assert fit.coefficients[0] == pytest.approx(y[3], abs=1e-5) and everything_finite(fit)


def test_without_random_terms_it_is_least_squares():
    y, _, blade, _ = a_study()
    X = np.column_stack([np.ones(len(y)), blade])
    fit = crossed(y, X, {})
    coefficients, rss, *_ = np.linalg.lstsq(X, y, rcond=None)
    np.testing.assert_allclose(fit.coefficients, coefficients, rtol=1e-10)
    assert fit.variances["residual"] == pytest.approx(rss[0] / (len(y) - 2))
    np.testing.assert_allclose(fit.df, len(y) - 2, rtol=1e-9)


def test_no_coefficients_at_all_is_a_model_of_variances_only():
    y, _, blade, _ = a_study()
    fit = crossed(y - y.mean(), np.zeros((len(y), 0)), {"blade": blade})
    assert fit.coefficients.shape == (0,) and fit.variances["blade"] > 0 and everything_finite(fit)


def test_search_that_runs_out_of_steps_is_a_result_that_says_so(monkeypatch):
    monkeypatch.setattr("edgehold.numerics.variance_search.MOST_STEPS", 1)
    y, X, blade, tester = a_study()
    fit = crossed(y, X, {"blade": blade, "tester": tester})
    assert not fit.convergence.converged and "stopped after 1 steps" in fit.reasons["convergence"]
    assert fit.variance_intervals["blade"] is None and everything_finite(fit)


# ---- what the parts mean ------------------------------------------------------------------------------------------------------


def test_labels_matrices_and_weighted_labels_say_the_same():
    y, X, blade, tester = a_study()
    names = np.array([f"blade-{b}" for b in blade])
    as_labels = crossed(y, X, {"blade": names, "tester": tester}, profile=False)
    as_matrix = crossed(y, X, {"blade": sp.csr_matrix(labelled(blade)), "tester": (tester, np.ones(len(y)))}, profile=False)
    assert as_labels.variances == pytest.approx(as_matrix.variances, rel=1e-9)
    assert as_labels.effects["blade"].levels[0] == "blade-0" and as_matrix.effects["blade"].levels == tuple(range(8))


def test_twice_the_weight_is_a_quarter_of_the_variance():
    y, X, blade, tester = a_study()
    once, twice = (crossed(y, X, {"blade": (blade, np.full(len(y), w)), "t": tester}, profile=False) for w in (1.0, 2.0))
    assert twice.variances["blade"] == pytest.approx(once.variances["blade"] / 4, rel=1e-8)


def test_columns_without_rows_are_no_levels():
    y, X, blade, _ = a_study()
    wide = sp.hstack([sp.csr_matrix((len(y), 1)), sp.csr_matrix(labelled(blade))])
    fit = crossed(y, X, {"blade": wide}, profile=False)
    assert fit.effects["blade"].levels == tuple(range(1, 9))


def test_a_contrast_has_its_own_degrees_of_freedom_and_interval():
    y, _, blade, tester = a_study()
    steel = labelled(blade % 2)
    fit = crossed(y, steel, {"blade": blade, "tester": tester})
    contrast = fit.contrast([1, -1])
    assert contrast.estimate == pytest.approx(fit.coefficients[0] - fit.coefficients[1])
    assert contrast.standard_error**2 == pytest.approx(fit.covariance[0, 0] + fit.covariance[1, 1] - 2 * fit.covariance[0, 1])
    assert 4 < contrast.df < 9, "eight blades of two steels: about six"
    assert contrast.interval.low < contrast.estimate < contrast.interval.high


def test_degrees_of_freedom_never_exceed_rows_minus_rank():
    for seed in range(5):
        y, X, blade, tester = a_study(seed=seed)
        fit = crossed(y, X, {"blade": blade, "tester": tester}, V=np.full(len(y), 5.0), profile=False)
        assert (fit.df <= len(y) - 1).all()


def test_known_variances_reduce_it_to_random_effects():
    rng = np.random.default_rng(8)
    v = rng.uniform(0.05, 0.3, 15)
    y = 0.3 + rng.normal(size=15) * np.sqrt(v + 0.2)
    fit, other = crossed(y, np.ones((15, 1)), {"study": np.arange(15)}, V=v, profile=False), random_effects(y, v, interval="wald")
    assert fit.variances["study"] == pytest.approx(other.tau2, rel=1e-8)
    assert fit.standard_errors[0] == pytest.approx(other.standard_errors[0], rel=1e-8)


@pytest.mark.parametrize("limit", ["EXACT_INFORMATION", "DENSE_INFORMATION"])
def test_the_ways_for_large_and_small_systems_end_in_the_same_place(monkeypatch, limit):
    y, X, blade, tester = a_study()
    small = crossed(y, X, {"blade": blade, "tester": tester})
    monkeypatch.setattr(f"edgehold.numerics.variance_search.{limit}", 0)
    large = crossed(y, X, {"blade": blade, "tester": tester})
    assert large.variances == pytest.approx(small.variances, rel=1e-4)
    np.testing.assert_allclose(large.df, small.df, rtol=1e-3)
    assert large.log_likelihood == pytest.approx(small.log_likelihood, abs=1e-8)


def test_results_are_read_only():
    y, X, blade, _ = a_study()
    with pytest.raises(ValueError, match="read-only"):
        crossed(y, X, {"blade": blade}).coefficients[0] = 1.0


# ---- a caller's mistakes ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"criterion": "bayes"}, "criterion must be one of reml, ml; got 'bayes'"),
        ({"level": 1.0}, "level must lie strictly between 0 and 1; got 1.0"),
        ({"y": [1.0, np.nan, 2.0, 3.0]}, "y must hold finite numbers"),
        ({"X": np.ones((3, 1))}, "X must have 4 rows"),
        ({"groups": {"blade": [1, 2, 3]}}, "groups\\['blade'\\] must hold 4 labels"),
        ({"groups": {"blade": [1, 2, None, 3]}}, "groups\\['blade'\\] needs a label in every row; got none in row 2"),
        ({"groups": {"residual": [1, 1, 2, 2]}}, "'residual' is the name of the variance"),
        ({"groups": [1, 2]}, "groups must be a mapping"),
        ({"groups": {"blade": sp.csr_matrix((4, 2))}}, "got zero for every weight"),
        ({"groups": {"blade": sp.identity(3)}}, "groups\\['blade'\\] must have 4 rows"),
        ({"V": [1.0, 1.0, 0.0, 1.0]}, "variances in V must lie between"),
        ({"V": np.ones(3)}, "V must hold 4 variances"),
        ({"V": np.ones((4, 4))}, "V must be positive definite"),
        ({"V": np.eye(4) + np.eye(4, k=1)}, "V must be symmetric"),
    ],
)
def test_a_callers_mistake_says_what_was_got_and_what_was_wanted(change, message):
    call = {"y": [1.0, 2.0, 4.0, 3.0], "X": np.ones((4, 1)), "groups": {"blade": [1, 1, 2, 2]}} | change
    with pytest.raises(InputError, match=message):
        crossed(call.pop("y"), call.pop("X"), call.pop("groups"), **call)


def test_a_contrast_of_the_wrong_length_is_refused():
    y, X, blade, _ = a_study()
    with pytest.raises(InputError, match="needs 1 finite numbers, not all zero"):
        crossed(y, X, {"blade": blade}, profile=False).contrast([1, -1])


# ---- profiles that end early, and people who met everybody -------------------------------------------------------------------


def test_profile_intervals_not_asked_for_are_none_and_say_so():
    y, X, blade, _ = a_study()
    fit = crossed(y, X, {"blade": blade}, profile=False)
    assert set(fit.variance_intervals.values()) == {None} and fit.reasons["variance_intervals"] == "not asked for"


def test_random_little_tables_never_crash_and_never_hold_a_number_that_is_none():
    """Few rows, many levels, dependent columns, offsets and units from 1e-6 to 1e6: numbers are finite or None with a reason."""
    for seed in range(60):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(1, 20))
        groups = {f"term {k}": rng.integers(0, rng.integers(1, n + 2), n) for k in range(rng.integers(0, 4))}
        X = np.column_stack([np.ones(n), rng.integers(0, 2, n), rng.integers(0, 3, n)])[:, : rng.integers(1, 4)]
        y = rng.normal(size=n) * 10.0 ** rng.integers(-6, 7) + rng.choice([0, 1e3])
        V = np.exp(rng.normal(size=n)) * y.var() if seed % 2 and n > 1 else None
        fit = crossed(y, X, groups, V=V)
        if isinstance(fit, NothingFitted):
            assert fit.reason
            continue
        assert everything_finite(fit)
        for name, variance in fit.variances.items():
            assert variance is not None or fit.reasons.get(f"variances.{name}")
            if fit.variance_intervals[name] is None:
                assert any(fit.reasons.get(key) for key in (f"variance_intervals.{name}", f"variances.{name}"))
            else:
                assert fit.variance_intervals[name].low <= variance <= fit.variance_intervals[name].high


@pytest.mark.parametrize(("apart", "refused"), [(1e-7, False), (3e-9, True)])
def test_a_column_that_is_nearly_a_combination_of_others_is_refused_by_its_number(apart, refused):
    rng = np.random.default_rng(12)
    x, other, odd = rng.normal(size=(3, 40))
    X = np.column_stack([np.ones(40), x, other, x + 3 * apart * odd])
    fit = crossed(rng.normal(size=40), X, {"person": np.repeat(np.arange(8), 5)}, profile=False)
    assert isinstance(fit, NothingFitted if refused else CrossedFitted)
    if refused:
        assert re.match(r"column [13] of X \(counted from 0\) is so nearly a combination", fit.reason)
