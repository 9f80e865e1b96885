"""Two curves against each other: known answers, published quantiles, and a slow second way."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import interp1d
from scipy.optimize import brentq, isotonic_regression
from scipy.stats import multivariate_normal, norm

from edgehold.errors import InputError
from edgehold.pooling.curves.contrast import DrawnCurves, curve_contrast, max_t_critical, work_to
from edgehold.words import code_of

WORK = np.array([0.0, 5, 10, 20, 40, 80])


def falling(slope: float, start: float = 0.0) -> np.ndarray:
    return start - slope * np.log((WORK + 5) / 5)


def known(first: np.ndarray, second: np.ndarray, variance: float | np.ndarray = 1e-8, draws: int = 400, seed: int = 1) -> DrawnCurves:
    """Normal draws about two curves."""
    c = len(first)
    covariance = variance if isinstance(variance, np.ndarray) else variance * np.eye(2 * c)
    values, vectors = np.linalg.eigh(covariance)
    noise = np.random.default_rng(seed).standard_normal((draws, 2 * c)) @ (vectors * np.sqrt(values.clip(0))).T
    return DrawnCurves(first, second, np.stack([first, second]) + noise.reshape(draws, 2, c))


def test_the_pointwise_interval_is_that_of_a_normal_variable_at_every_checkpoint():
    found = curve_contrast(WORK, known(falling(0.4), falling(0.5), 0.01, 60_000), between=0).same_work
    half = norm.ppf(0.975) * math.sqrt(0.02)
    assert found.ln_ratio == pytest.approx(falling(0.4) - falling(0.5))
    assert found.pointwise_high - found.ln_ratio == pytest.approx(half, rel=0.02)
    assert found.ln_ratio - found.pointwise_low == pytest.approx(half, rel=0.02)


@pytest.mark.parametrize(("comparisons", "published"), [(2, 2.21), (3, 2.35), (4, 2.44), (5, 2.51)])
def test_the_simultaneous_quantile_is_that_of_dunnetts_table(comparisons, published):
    """Dunnett (1964), New tables for multiple comparisons with a control, Biometrics 20: two-sided 5 %, infinite df,
    correlation ½."""
    work = np.arange(comparisons) + 0.0
    steep = -100.0 * np.arange(comparisons)
    covariance = np.zeros((2 * comparisons, 2 * comparisons))
    covariance[:comparisons, :comparisons] = 0.5 + 0.5 * np.eye(comparisons)
    found = curve_contrast(work, known(steep, steep, covariance, 60_000), between=0).same_work
    assert found.critical == pytest.approx(published, abs=0.02)


def test_the_simultaneous_quantile_matches_the_multivariate_normal_probability():
    """Against scipy's numerical integration of the normal probability of a box."""
    lag = np.abs(np.subtract.outer(np.arange(4), np.arange(4)))
    covariance = np.zeros((8, 8))
    covariance[:4, :4] = 0.04 * 0.8**lag
    steep = -50.0 * np.arange(4)
    critical = curve_contrast(np.arange(4.0), known(steep, steep, covariance, 60_000), between=0).same_work.critical

    def outside(q):
        box = multivariate_normal(cov=0.8**lag, seed=1, abseps=1e-4, releps=1e-4)
        return box.cdf(np.full(4, q), lower_limit=np.full(4, -q)) - 0.95

    assert critical == pytest.approx(brentq(outside, 1.9, 2.8, xtol=1e-3), abs=0.02)


def test_independent_checkpoints_have_sidaks_quantile():
    """Šidák (1967): independent normal variables hold together at level^(1/c) each."""
    steep = -1000.0 * np.arange(3)
    found = curve_contrast(np.arange(3.0), known(steep, steep, np.eye(6), 60_000), between=0).same_work
    assert found.critical == pytest.approx(norm.ppf((1 + 0.95 ** (1 / 3)) / 2), abs=0.02)


def test_the_quantile_of_one_place_is_that_of_a_normal_variable():
    z = np.random.default_rng(1).standard_normal((200_000, 1))
    assert max_t_critical(z, 0.95) == pytest.approx(1.95996, abs=0.012)


def test_the_simultaneous_band_holds_the_pointwise_one():
    found = curve_contrast(WORK, known(falling(0.2), falling(0.25), 0.003, 2000))
    for band in (found.same_work, found.same_sharpness, found.same_sharpness_from_common_start):
        assert (band.low <= band.pointwise_low).all() and (band.high >= band.pointwise_high).all()
        assert (band.low < band.pointwise_low).any()
        assert (band.pointwise_low <= band.ln_ratio).all() and (band.ln_ratio <= band.pointwise_high).all()


def test_work_to_a_sharpness_of_two_curves_known_without_error():
    """k = −b ln((w + 5)/5) is down to s at w = 5(exp(−s/b) − 1)."""
    found = curve_contrast(WORK, known(falling(0.4), falling(0.5), draws=400))
    band = found.same_sharpness
    s = band.at
    assert s[0] == pytest.approx(-0.5 * math.log(2)) and s[-1] == pytest.approx(-0.4 * math.log(17))
    truth = np.log(np.exp(-s / 0.4) - 1) - np.log(np.exp(-s / 0.5) - 1)
    assert band.ln_ratio == pytest.approx(truth, abs=1e-9)
    from_start = found.same_sharpness_from_common_start
    truth = np.log((np.exp(-s / 0.4) - np.exp(-s[0] / 0.4))[1:]) - np.log((np.exp(-s / 0.5) - np.exp(-s[0] / 0.5))[1:])
    assert from_start.ln_ratio == pytest.approx(truth, abs=1e-9)


def test_a_head_start_counts_in_total_work_but_not_from_a_common_start():
    """The first curve is the second with 10 more units of work to go: in total it lasts longer, from a common start no
    longer."""
    work = np.linspace(0, 80, 401)
    second, first = -0.01 * work, -0.01 * np.maximum(work - 10, 0)
    found = curve_contrast(work, known(first, second, 1e-12, draws=200), between=0)
    assert (found.same_sharpness.ln_ratio > 0.1).all()
    assert found.same_sharpness_from_common_start.ln_ratio == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("unit", [0.3048, 1000.0])
def test_ratios_do_not_change_with_the_unit_of_work(unit):
    curves = known(falling(0.4), falling(0.5), 0.01)
    one, other = curve_contrast(WORK, curves), curve_contrast(WORK * unit, curves)
    assert other.same_work.at == pytest.approx(one.same_work.at * unit)
    for name in ("same_work", "same_sharpness", "same_sharpness_from_common_start"):
        for part in ("ln_ratio", "pointwise_low", "pointwise_high", "low", "high"):
            assert getattr(getattr(other, name), part) == pytest.approx(getattr(getattr(one, name), part), abs=1e-9)


def test_swapping_the_curves_turns_the_sign():
    c = len(WORK)
    covariance = np.diag(np.r_[np.full(c, 0.01), np.full(c, 0.02)])
    swapped = np.roll(np.roll(covariance, c, 0), c, 1)
    one = curve_contrast(WORK, known(falling(0.4), falling(0.5), covariance, draws=20_000))
    other = curve_contrast(WORK, known(falling(0.5), falling(0.4), swapped, draws=20_000))
    assert other.same_work.ln_ratio == pytest.approx(-one.same_work.ln_ratio)
    assert other.same_work.high == pytest.approx(-one.same_work.low, abs=0.02)
    assert other.same_sharpness.pointwise_high[5] == pytest.approx(-one.same_sharpness.pointwise_low[5], abs=0.05)


def test_early_better_late_worse_crosses_once_and_is_overtaken():
    first, second = falling(0.5, 0.4), falling(0.2)
    found = curve_contrast(WORK, known(first, second, 1e-4, draws=4000))
    assert found.overtakes == "second"
    ((start, end),) = found.crossover
    truth = 5 * (math.exp(0.4 / 0.3) - 1)
    assert start < truth < end and end - start < 0.3 * truth
    assert curve_contrast(WORK, known(second, first, 1e-4, draws=4000)).overtakes == "first"


def test_a_crossing_between_two_places_is_not_missed():
    found = curve_contrast(WORK, known(falling(0.5, 0.4), falling(0.2), 1e-12, draws=400), between=0)
    ((start, end),) = found.crossover
    assert 10 < start < end < 20


def test_curves_far_apart_have_no_crossover_and_nobody_overtakes():
    found = curve_contrast(WORK, known(falling(0.3, 3.0), falling(0.3), 1e-4, draws=400))
    assert found.crossover == () and found.overtakes == ""
    assert found.same_sharpness is None and "no common sharpness" in found.sharpness_reason


def test_curves_that_meet_twice_have_a_split_crossover():
    first = np.array([0.0, -0.5, -0.6, -1.4, -1.5, -2.4])
    second = np.array([-0.3, -0.3, -0.9, -1.1, -1.8, -2.0])
    found = curve_contrast(WORK, known(first, second, 1e-5, draws=400))
    assert len(found.crossover) > 1


def test_wide_bands_cross_everywhere_and_claim_nothing():
    found = curve_contrast(WORK, known(falling(0.5, 0.4), falling(0.2), 1.0, draws=2000))
    assert found.crossover == ((0.0, 80.0),)
    assert found.overtakes == ""


def test_overtaking_needs_the_simultaneous_band_where_the_pointwise_interval_would_do():
    first, second = falling(0.6, 0.4), falling(0.2)
    spread = 0.4 / 2.05 / math.sqrt(2)  # at work 0 the difference is 2.05 standard errors
    found = curve_contrast(WORK, known(first, second, spread**2, draws=20_000))
    assert found.same_work.pointwise_low[0] > 0 > found.same_work.low[0]
    assert found.same_work.high[-1] < 0
    assert found.overtakes == ""


def test_work_that_the_runs_do_not_bound_is_unbounded_above():
    flat = np.array([0.0, -0.2, -0.25, -0.28, -0.30, -0.42])
    found = curve_contrast(WORK, known(flat, falling(0.3), 0.02, draws=2000))
    assert found.same_sharpness.pointwise_high[-1] == math.inf
    assert math.isfinite(found.same_sharpness.pointwise_low[-1])


def slow_work_to(curve: np.ndarray, s: float) -> tuple[float, float]:
    """Bounds of the work to one sharpness, by a root search on an interpolating function."""
    if curve[1] <= s:
        return 0.0, 5.0
    if curve[-1] > s:
        return 80.0, math.inf
    u = np.log(WORK + 5)
    line = interp1d(u, curve)
    grid = next(i for i in range(len(u)) if curve[i] <= s)
    root = u[grid] if curve[grid] == s else brentq(lambda x: line(x) - s, u[grid - 1], u[grid], xtol=1e-13)
    return (math.exp(root) - 5,) * 2


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6))
def test_a_slow_second_way_agrees_on_random_curves(seed):
    """Same draws, then scipy's isotonic regression, interpolation and root searches one draw and one place at a time."""
    rng = np.random.default_rng(seed)
    c, n = len(WORK), 200
    first, second = falling(rng.uniform(0.2, 0.5)), falling(rng.uniform(0.2, 0.5), rng.normal(0, 0.1))
    root = 0.1 * rng.standard_normal((2 * c, 2 * c)) / math.sqrt(2 * c)
    covariance = root @ root.T + 1e-3 * np.eye(2 * c)
    curves = known(first, second, covariance, n, seed)
    found = curve_contrast(WORK, curves, between=1)
    smooth = [[isotonic_regression(part, increasing=False).x for part in pair] for pair in curves.drawn]
    u = np.log(WORK + 5)
    middle = np.sort(np.r_[u, (u[1:] + u[:-1]) / 2])
    difference = np.array([np.interp(middle, u, a - b) for a, b in curves.drawn])
    center = np.interp(middle, u, first - second)
    half = np.quantile(np.abs(difference - center), 0.95, axis=0)
    assert found.same_work.pointwise_high == pytest.approx(center + half, abs=1e-10)
    errors = np.sqrt(((difference - center) ** 2).mean(axis=0))
    q = np.quantile((np.abs(difference - center) / errors).max(axis=1), 0.95)
    assert found.same_work.critical == pytest.approx(q, rel=1e-9)
    band = found.same_sharpness
    if band is None:
        return
    for i in (0, 7, len(band.at) - 1):
        bounds = [[slow_work_to(curve, band.at[i]) for curve in pair] for pair in smooth]
        with np.errstate(divide="ignore"):
            least = sorted(np.log(a[0]) - np.log(b[1]) for a, b in bounds)
            most = sorted(np.log(a[1]) - np.log(b[0]) for a, b in bounds)
        assert band.pointwise_low[i] == pytest.approx(min(least[5], band.ln_ratio[i]), abs=1e-6)
        assert band.pointwise_high[i] == pytest.approx(max(most[-6], band.ln_ratio[i]), abs=1e-6)


def test_the_joint_band_of_work_holds_its_share_of_draws_and_no_more_than_it_must():
    from edgehold.pooling.curves.contrast import _joint_cut, _order_statistics

    rng = np.random.default_rng(2)
    least = np.cumsum(rng.standard_normal((1000, 8)), axis=1)
    most = least + rng.random((1000, 8))
    most[rng.random((1000, 8)) < 0.01] = math.inf

    def held(cut):
        low, high = _order_statistics(least, most, cut)
        return ((least >= low) & (most <= high)).all(axis=1).mean()

    cut = _joint_cut(least, most, 0.95)
    assert held(cut) >= 0.95 > held(cut + 1)


def test_a_reason_in_place_of_curves_comes_back():
    found = curve_contrast(WORK, "they never met")
    assert (found.same_work, found.reason) == (None, "they never met")


def test_curves_known_without_error_give_a_band_of_no_width_and_no_nan():
    found = curve_contrast(WORK, known(falling(0.3), falling(0.3), 0.0, 200))
    assert found.same_work.low == pytest.approx(np.zeros(len(found.same_work.at)), abs=1e-12)
    assert found.same_sharpness.ln_ratio == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("work", "curves", "settings", "message"),
    [
        ([0, 5, 5, 20, 40, 80], known(falling(0.4), falling(0.5)), {}, "work must be"),
        (WORK[:5], known(falling(0.4), falling(0.5)), {}, "need shapes"),
        (WORK, DrawnCurves(falling(0.4), falling(0.5), np.zeros((400, 12))), {}, "need shapes"),
        (WORK, known(falling(0.4) * np.nan, falling(0.5)), {}, "must be finite"),
        (WORK, known(falling(0.4), falling(0.5)), {"level": 1.0}, "level must lie"),
        (WORK, known(falling(0.4), falling(0.5), draws=10), {}, "at least 200 draws"),
        (WORK, known(falling(0.4), falling(0.5)), {"between": -1}, "between must not"),
    ],
)
def test_a_callers_mistake_is_named(work, curves, settings, message):
    with pytest.raises(InputError, match=message):
        curve_contrast(work, curves, **settings)


def test_work_to_a_keenness_is_what_solving_both_curves_gives_and_stands_on_the_band():
    """Of two straight lines along ln(w + w₁), whose works can be solved for by hand."""
    found = curve_contrast(WORK, known(falling(0.4), falling(0.5)))
    for keenness in (-0.4, -0.71, -1.0):
        told = work_to(found, keenness)
        assert told.ln_ratio == pytest.approx(math.log((math.exp(-keenness / 0.4) - 1) / (math.exp(-keenness / 0.5) - 1)), abs=2e-3)
        assert told.interval.low <= told.ln_ratio <= told.interval.high
    band = found.same_sharpness
    there = work_to(found, band.at[7])
    assert (there.ln_ratio, there.interval.low, there.interval.high) == pytest.approx(
        (band.ln_ratio[7], band.pointwise_low[7], band.pointwise_high[7])
    )


def test_work_to_a_keenness_that_draws_never_come_down_to_is_open_and_outside_both_curves_there_is_none():
    found = curve_contrast(WORK, known(falling(0.3), falling(0.5), 0.02))
    told = work_to(found, falling(0.3)[-1] + 0.01)
    assert told.interval.high == math.inf and math.isfinite(told.interval.low) and math.isfinite(told.ln_ratio)
    assert code_of(work_to(found, falling(0.3)[-1] - 0.2)) == "headline.curves_end_above"
    assert code_of(work_to(found, 1.0)) == "headline.curves_begin_below"
    assert work_to(curve_contrast(WORK, "no curves here"), -0.5) == "no curves here"
