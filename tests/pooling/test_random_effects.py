"""Behaviour of random_effects: what is withheld and why, what is refused, extremes, and a slow dense second implementation."""

import itertools
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import chi2
from scipy.stats import f as f_distribution
from scipy.stats import t as student_t

from edgehold.errors import InputError
from edgehold.pooling.pairwise.heterogeneity import ESTIMATORS
from edgehold.pooling.pairwise.random_effects import PredictionInterval, StudiesListed, StudiesNotPooled, StudiesPooled, random_effects
from edgehold.words import arguments_of, code_of

# ---- a second implementation: dense matrices, a general optimiser, nothing shared with the package --------------------------


def dense_restricted(tau2, y, v, X):
    S = np.diag(v + tau2)
    S_inv = np.linalg.inv(S)
    A = X.T @ S_inv @ X
    r = y - X @ np.linalg.solve(A, X.T @ S_inv @ y)
    terms = np.linalg.slogdet(S)[1] + np.linalg.slogdet(A)[1] + r @ S_inv @ r
    return -0.5 * ((len(y) - X.shape[1]) * np.log(2 * np.pi) + terms)


def dense_ordinary(tau2, y, v, X):
    S = np.diag(v + tau2)
    S_inv = np.linalg.inv(S)
    r = y - X @ np.linalg.solve(X.T @ S_inv @ X, X.T @ S_inv @ y)
    return -0.5 * (len(y) * np.log(2 * np.pi) + np.linalg.slogdet(S)[1] + r @ S_inv @ r)


def dense_maximum(criterion, y, v, X):
    """Best of many bounded searches over ln tau2, and of zero."""
    top = np.log(10 * (np.var(y) + v.max()) + 1)
    pieces = np.linspace(np.log(v.min()) - 6, top, 25)
    best = 0.0
    for low, high in itertools.pairwise(pieces):
        found = minimize_scalar(lambda x: -criterion(np.exp(x), y, v, X), bounds=(low, high), method="bounded", options={"xatol": 1e-10})
        if criterion(np.exp(found.x), y, v, X) > criterion(best, y, v, X):
            best = float(np.exp(found.x))
    return best


@st.composite
def studies(draw, least=3, most=9, columns=(1, 2)):
    p = draw(st.sampled_from(columns))
    k = draw(st.integers(max(least, p + 2), most))
    y = draw(st.lists(st.floats(-3, 3), min_size=k, max_size=k))
    v = draw(st.lists(st.floats(0.01, 2), min_size=k, max_size=k))
    X = np.column_stack([np.ones(k), np.arange(k) % 3 + 0.1 * np.arange(k)])[:, :p]
    return np.array(y), np.array(v), X


@settings(max_examples=30, deadline=None)
@given(studies())
def test_reml_and_ml_reach_the_maximum_that_a_dense_optimiser_finds(case):
    y, v, X = case
    for method, criterion in (("reml", dense_restricted), ("ml", dense_ordinary)):
        fit = random_effects(y, v, X=X, tau2_method=method)
        theirs = criterion(dense_maximum(criterion, y, v, X), y, v, X)
        assert fit.log_likelihood == pytest.approx(criterion(fit.tau2, y, v, X), abs=1e-9)
        assert fit.log_likelihood >= theirs - 1e-9


@settings(max_examples=30, deadline=None)
@given(studies())
def test_the_dense_criterion_is_flat_at_the_optimum(case):
    y, v, X = case
    for method, criterion in (("reml", dense_restricted), ("ml", dense_ordinary)):
        tau2 = random_effects(y, v, X=X, tau2_method=method).tau2
        step = 1e-5 * (tau2 + v.min())
        if tau2 > step:
            slope = (criterion(tau2 + step, y, v, X) - criterion(tau2 - step, y, v, X)) / (2 * step)
            assert abs(slope) * (tau2 + v.min()) < 1e-6
        else:
            assert criterion(0.0, y, v, X) >= criterion(step, y, v, X) - 1e-12


@settings(max_examples=30, deadline=None)
@given(studies())
def test_coefficients_and_q_profile_agree_with_dense_matrices(case):
    y, v, X = case
    fit = random_effects(y, v, X=X, interval="wald")
    S_inv = np.diag(1 / (v + fit.tau2))
    covariance = np.linalg.inv(X.T @ S_inv @ X)
    np.testing.assert_allclose(fit.covariance, covariance, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(fit.coefficients, covariance @ X.T @ S_inv @ y, rtol=1e-8, atol=1e-10)
    df = len(y) - X.shape[1]
    for limit, tail in ((fit.tau2_interval.low, 0.975), (fit.tau2_interval.high, 0.025)):
        S_inv = np.diag(1 / (v + limit))
        P = S_inv - S_inv @ X @ np.linalg.inv(X.T @ S_inv @ X) @ X.T @ S_inv
        target = chi2.ppf(tail, df)
        assert y @ P @ y == pytest.approx(target, rel=1e-7) or (limit == 0 and y @ P @ y <= target * (1 + 1e-9))


@settings(max_examples=50, deadline=None)
@given(studies(columns=(1,)), st.floats(-1e3, 1e3), st.floats(-6, 6), st.sampled_from(sorted(ESTIMATORS)))
def test_shifting_and_scaling_the_estimates_shifts_and_scales_the_answer(case, shift, ln_scale, method):
    y, v, _ = case
    scale = np.exp(ln_scale)
    one, two = random_effects(y, v, tau2_method=method), random_effects(scale * y + shift, scale**2 * v, tau2_method=method)
    size = scale * (1 + np.abs(y).max()) + abs(shift)
    assert two.coefficients[0] == pytest.approx(scale * one.coefficients[0] + shift, abs=1e-7 * size)
    assert two.tau2 == pytest.approx(scale**2 * one.tau2, rel=1e-6, abs=1e-7 * scale**2 + 1e-9 * scale * abs(shift))
    assert two.i2 == pytest.approx(one.i2, abs=1e-5)
    if isinstance(one.prediction, PredictionInterval):
        assert two.prediction.low == pytest.approx(scale * one.prediction.low + shift, abs=1e-4 * size)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-2, 2), min_size=3, max_size=12), st.floats(0.01, 1))
def test_equal_variances_make_the_estimators_coincide_and_knapp_hartung_the_t_interval(y, variance):
    y = np.array(y)
    v = np.full(len(y), variance)
    moment = max(0.0, y.var(ddof=1) - variance)
    for method in ("reml", "dl", "pm", "he"):
        fit = random_effects(y, v, tau2_method=method, interval="knapp-hartung")
        assert fit.tau2 == pytest.approx(moment, rel=1e-7, abs=1e-9)
        half = student_t.ppf(0.975, len(y) - 1) * y.std(ddof=1) / np.sqrt(len(y))
        assert fit.intervals[0].high - fit.coefficients[0] == pytest.approx(half, rel=1e-7, abs=1e-9)


# ---- guards ------------------------------------------------------------------------------------------------------------------


def test_the_guard_keeps_agreement_by_luck_from_looking_like_knowledge():
    """Plain Knapp–Hartung is absurdly narrow here; figures computed by hand from the definition."""
    y, v = [0.10, 0.11, 0.105], [0.01] * 3
    limits = {
        method: [random_effects(y, v, interval=method).intervals[0].low, random_effects(y, v, interval=method).intervals[0].high]
        for method in ("wald", "knapp-hartung", "guarded-knapp-hartung")
    }
    assert limits["wald"] == pytest.approx([-0.008, 0.218], abs=5e-4)
    assert limits["knapp-hartung"] == pytest.approx([0.0926, 0.1174], abs=5e-5)
    assert limits["guarded-knapp-hartung"] == pytest.approx([-0.1434, 0.3534], abs=5e-5)


def test_the_guarded_prediction_is_not_narrower_than_the_guarded_interval():
    fit = random_effects([0.10, 0.11, 0.105], [0.01] * 3)
    low, high = fit.intervals[0].low, fit.intervals[0].high
    assert fit.prediction.low <= low + 0.02 * (high - low)
    assert fit.prediction.high >= high - 0.02 * (high - low)


@pytest.mark.parametrize(
    ("y", "v", "near"),
    [
        ([0.17, -0.27, -1.07, 11.76], [0.01, 0.01, 10, 10], 24.153),  # a lower maximum near 0.04 or at zero
        ([0.09, -0.07, -0.02, 0.84, -0.1], [0.01, 0.001, 0.1, 0.1, 0.001], 0.010643),  # zero is the lower maximum
        ([0.07, -10.52, 0.11, 0.21], [0.01, 10, 0.001, 0.01], 0.0),  # zero is the higher one
    ],
)
def test_of_several_local_maxima_the_highest_is_taken(y, v, near):
    fit = random_effects(y, v)
    y, v, X = np.array(y), np.array(v), np.ones((len(y), 1))
    assert fit.convergence.local_maxima == 2
    assert fit.tau2 == pytest.approx(near, rel=1e-3)
    points = np.concatenate([[0.0], np.geomspace(1e-5, 1e3, 2000)])
    heights = np.array([dense_restricted(t, y, v, X) for t in points])
    peaks = np.sum((heights[1:-1] > heights[:-2]) & (heights[1:-1] > heights[2:])) + (heights[0] > heights[1])
    assert peaks == 2
    assert fit.log_likelihood >= heights.max() - 1e-9


# ---- what is withheld ---------------------------------------------------------------------------------------------------------


def test_one_study_is_not_pooled():
    fit = random_effects([0.3], [0.04])
    assert isinstance(fit, StudiesNotPooled)
    assert fit.coefficients[0] == pytest.approx(0.3)
    assert fit.standard_errors[0] == pytest.approx(0.2)
    assert fit.reason == "1 study, 1 coefficient: estimates nothing but itself: not pooled"


def test_two_studies_are_listed_without_interval_or_prediction():
    fit = random_effects([0.3, 0.5], [0.04, 0.02])
    assert isinstance(fit, StudiesListed) and fit.intervals is None
    assert code_of(fit.interval_reason) == "pairwise.without_interval"
    assert (code_of(fit.prediction), arguments_of(fit.prediction)["least"]) == ("pairwise.prediction_few", 3)
    assert random_effects([0.3, 0.5], [0.04, 0.02], interval="wald").intervals is not None


@pytest.mark.parametrize(("k", "caveat"), [(3, True), (4, True), (5, False), (8, False)])
def test_a_prediction_from_fewer_than_five_studies_carries_its_caveat(k, caveat):
    fit = random_effects(np.linspace(-0.3, 0.4, k), np.full(k, 0.02))
    assert isinstance(fit, StudiesPooled)
    assert bool(fit.prediction.caveat) is caveat


def test_a_common_effect_has_no_prediction_and_no_interval_of_tau2():
    fit = random_effects([0.3, 0.5, 0.9], [0.04, 0.02, 0.03], tau2_method="common")
    assert fit.tau2 == 0 and fit.tau2_interval is None
    assert fit.prediction == "a common effect leaves nothing to predict"


def test_with_moderators_a_prediction_needs_a_design_row():
    X = np.column_stack([np.ones(6), np.arange(6)])
    y, v = np.array([0.1, 0.4, 0.2, 0.9, 0.6, 1.3]), np.full(6, 0.02)
    assert code_of(random_effects(y, v, X=X).prediction) == "pairwise.prediction_no_row"
    fit = random_effects(y, v, X=X, predict_at=[1, 7])
    assert fit.prediction.low < fit.coefficients @ [1, 7] < fit.prediction.high
    assert fit.prediction.df == 4


def test_pooled_s2_widens_the_q_profile_and_softens_q():
    y, v = np.array([0.1, 0.5, -0.2, 0.3, 0.9, 0.2]), np.array([0.03, 0.05, 0.02, 0.04, 0.06, 0.03])
    known, pooled = random_effects(y, v), random_effects(y, v, v_df=8)
    assert pooled.tau2_interval.low <= known.tau2_interval.low and pooled.tau2_interval.high > known.tau2_interval.high
    assert pooled.q_p == pytest.approx(f_distribution.sf(known.q / 5, 5, 8))
    w = 1 / (v + pooled.tau2_interval.high)
    mean = w @ y / w.sum()
    assert w @ (y - mean) ** 2 == pytest.approx(5 * f_distribution.ppf(0.025, 5, 8), rel=1e-9)
    assert random_effects(y, v, v_df=1e9).tau2_interval.high == pytest.approx(known.tau2_interval.high, rel=1e-6)


# ---- extremes -------------------------------------------------------------------------------------------------------------------


def everything_finite(fit):
    values = [fit.coefficients, fit.covariance, fit.standard_errors, fit.tau2, fit.tau2_standard_error or 0.0, fit.q, fit.q_p]
    values += [fit.i2, fit.h2, fit.log_likelihood]
    return all(np.isfinite(value).all() for value in values)


@pytest.mark.parametrize("method", sorted(ESTIMATORS))
@pytest.mark.parametrize(
    ("y", "v"),
    [
        pytest.param([0.3] * 5, [0.1, 0.2, 0.1, 0.3, 0.2], id="constant estimates"),
        pytest.param(1e9 + np.array([0.0, 1, 2, 3]), [0.1] * 4, id="huge offset"),
        pytest.param([0.1, 0.2, 0.4, -0.1], [1e-12] * 4, id="tiny variances"),
        pytest.param([0.1, 0.2, 0.4, -0.1], [1e-12, 1.0, 0.5, 1e3], id="one exact study"),
        pytest.param([0.1, 0.2, 0.4, -0.1], [1e-12, 1e-12, 1e12, 1e12], id="two exact studies"),
        pytest.param(np.array([1.0, 2, 4, -1]) * 1e12, [1e-12, 1.0, 1.0, 1.0], id="huge spread"),
    ],
)
def test_extreme_studies_give_numbers_and_no_warning(method, y, v):
    fit = random_effects(y, v, tau2_method=method)
    assert everything_finite(fit)
    assert fit.tau2 >= 0 and 0 <= fit.i2 <= 1
    if isinstance(fit.prediction, PredictionInterval):
        assert np.isfinite([fit.prediction.low, fit.prediction.high]).all()


def test_a_huge_offset_costs_no_digits():
    y, v = np.array([0.25, 1.5, 2.125, 3.0]), np.array([0.1, 0.2, 0.3, 0.1])
    near, far = random_effects(y, v), random_effects(y + 2.0**40, v)
    assert far.tau2 == pytest.approx(near.tau2, rel=1e-9)
    assert far.coefficients[0] - 2.0**40 == pytest.approx(near.coefficients[0], abs=2.0**-12)


def test_one_very_precise_study_does_not_drown_the_others():
    """As one variance goes to zero, y'Py keeps the others' deviations from it: P tends to [[6, −2, −4], [−2, 2, 0], [−4, 0, 4]]."""
    y, v = np.array([0.1, 1.7, -0.9]), np.array([1e-13, 0.5, 0.25])
    fit = random_effects(y, v, tau2_method="dl")
    P = np.array([[6.0, -2, -4], [-2, 2, 0], [-4, 0, 4]])
    tau2 = (y @ P @ y - 2) / 12
    assert fit.tau2 == pytest.approx(tau2, rel=1e-9)
    assert fit.tau2_standard_error == pytest.approx(np.sqrt(2 * (2 + 2 * tau2 * 12 + tau2**2 * np.sum(P**2))) / 12, rel=1e-9)


def test_time_grows_with_the_number_of_studies_not_with_its_square():
    rng = np.random.default_rng(2)
    v = 0.02 + rng.gamma(1.5, 0.04, 100_000)
    y = 0.3 + rng.normal(0, 0.25, len(v)) + rng.normal(0, np.sqrt(v))
    start = time.perf_counter()
    fit = random_effects(y, v)
    assert time.perf_counter() - start < 3  # measured 0.15 s on one core; the bound allows for a busy machine
    assert fit.tau2 == pytest.approx(0.0625, rel=0.05)
    assert fit.tau2_interval.low < 0.0625 < fit.tau2_interval.high


# ---- misuse ---------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"y": [], "v": []}, r"same length, at least 1; got shapes \(0,\)"),
        ({"y": [1, 2], "v": [1]}, r"same length, at least 1; got shapes \(2,\) and \(1,\)"),
        ({"y": [1, np.nan], "v": [1, 1]}, r"y must be numbers no larger than 1e\+70; got nan at \[1\]"),
        ({"y": [1, 2], "v": [1, 0]}, r"v must be positive variances, .*; got 0\.0 at \[1\]"),
        ({"y": [1, 2], "v": [-1, 1]}, r"got -1\.0 at \[0\]"),
        ({"y": [1, 2], "v": [np.inf, 1]}, r"got inf at \[0\]"),
        ({"y": [1, 2, 3], "v": [1, 1, 1], "X": [[1, 2]] * 3}, r"full column rank 2; got rank 1"),
        ({"y": [1, 2], "v": [1, 1], "X": np.ones((2, 3))}, r"2 rows and 1 to 2 columns; got shape \(2, 3\)"),
        ({"y": [1, 2], "v": [1, 1], "X": [[np.nan], [1]]}, r"X must be finite numbers; got nan at \[0, 0\]"),
        ({"y": [1, 2], "v": [1, 1], "tau2_method": "remel"}, r"one of reml, ml, .*; got 'remel'"),
        ({"y": [1, 2], "v": [1, 1], "interval": "t"}, r"one of wald, .*; got 't'"),
        ({"y": [1, 2], "v": [1, 1], "level": 95}, r"strictly between 0 and 1; got 95"),
        ({"y": [1, 2], "v": [1, 1], "v_df": 0}, r"v_df must be positive, .*; got 0"),
        ({"y": [1, 2], "v": [1, 1], "predict_at": [1, 2]}, r"predict_at must be 1 finite numbers; got \[1, 2\]"),
        ({"y": [1, 2, 3], "v": [1e-20, 1e-20, 1], "X": [[1, 0], [1, 0], [1, 1]]}, r"too many orders of magnitude"),
    ],
)
def test_a_callers_mistake_is_answered_with_the_value_got_and_wanted(arguments, message):
    with pytest.raises(ValueError, match=message):
        random_effects(**arguments)


def test_results_hold_no_writable_arrays():
    fit = random_effects([0.1, 0.2, 0.5], [0.1, 0.1, 0.1])
    for array in (fit.coefficients, fit.standard_errors, fit.covariance):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0


def test_a_moderator_that_is_nearly_another_is_refused_by_its_number():
    x = np.linspace(0, 1, 9)
    X = np.column_stack([np.ones(9), x, x + 3e-9 * np.sin(9 * x)])
    with pytest.raises(InputError, match=r"no column of X may be nearly a combination of the others; got one in column [12]"):
        random_effects(np.sin(x), np.full(9, 0.1), X=X)
