"""Life to a threshold: where it lies, and what is known of it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, isotonic_regression

from edgehold.endpoints.curve import Curve
from edgehold.endpoints.life import Undrawn, life, pass_fail_life, settled, undrawn_life

FIRST = 5.0
WORK = np.array([0, 5, 10, 20, 40, 80.0])


def curve(k, work=WORK, se=0.01, repeats=3, first=FIRST):
    k = np.asarray(k, float)
    n = len(k)
    return Curve(np.asarray(work, float)[:n], k, k.copy(), np.full(n, se), np.full(n, repeats), np.exp(-k), first)


def found(k, threshold=-1.0, from_work=0.0, seed=1, relative=False, **facts):
    return life(curve(k, **facts), threshold, from_work, (seed, 0), relative)


@given(st.lists(st.floats(-3, 0), min_size=6, max_size=6), st.floats(-2.5, -0.5))
def test_life_is_where_scipys_monotone_fit_crosses_the_threshold(k, threshold):
    value = life(curve(k, se=0.0), threshold, 0.0, (1, 0)).value
    fit = isotonic_regression(k, increasing=False).x
    if fit[-1] > threshold or fit[0] <= threshold or np.isclose(fit, threshold, atol=1e-9).any():
        return
    u = np.log(WORK + FIRST)
    j = int(np.argmax(fit <= threshold))
    crossing = math.exp(brentq(lambda x: np.interp(x, u, fit) - threshold, u[j - 1], u[j])) - FIRST
    if crossing > FIRST * 1.000001:
        assert value.low == value.high == pytest.approx(math.log(crossing), abs=1e-7)


def test_life_is_exact_between_two_clear_readings():
    value = found([0, -0.2, -0.5, -0.8, -1.2, -2.0]).value
    u = (math.log(25) + math.log(45)) / 2
    assert value.low == value.high == pytest.approx(math.log(math.exp(u) - 5))
    assert 0 < value.se < 0.1
    assert value.reason == ""


def test_a_reading_at_the_threshold_but_for_rounding_has_reached_it():
    for rounding in (-1e-15, 0, 1e-15):
        k = [0, -0.3, -0.6, -1.0 + rounding]
        assert found(k, se=0.0).value.low == found(k, se=0.0).value.high == pytest.approx(math.log(20))


def test_a_plateau_at_the_threshold_ends_at_its_left_end():
    assert found([0, -0.5, -1.0, -1.0, -1.0, -2.0], se=0.0).value.low == pytest.approx(math.log(10))


@pytest.mark.parametrize("first", [0.3, 5.0, 70.0])
def test_a_life_that_ends_on_a_checkpoint_is_exact_where_reading_has_no_error(first):
    value = found([0, -0.5, -1.0, -2.0], work=np.array([0, 80, 160, 320.0]), se=0.0, first=first).value
    assert value.low == value.high == pytest.approx(math.log(160))
    assert value.reason == ""


def test_life_is_right_censored_at_the_last_reading_when_never_reached():
    value = found([0, -0.1, -0.2, -0.3]).value
    assert (value.low, value.high) == (pytest.approx(math.log(20)), math.inf)
    assert "not reached" in value.reason


def test_life_is_left_censored_at_the_first_checkpoint_when_reached_before_it():
    result = found([0, -1.5, -1.7])
    assert (result.value.low, result.value.high) == (-math.inf, pytest.approx(math.log(5)))
    assert not result.failed_preparation


def test_an_edge_below_the_threshold_at_the_start_is_also_a_failed_preparation():
    result = found([-1.2, -1.5, -1.7])
    assert result.value.high == pytest.approx(math.log(5))
    assert result.failed_preparation


def test_an_edge_below_at_its_first_reading_later_on_is_left_censored_there():
    assert found([-1.2, -1.5], work=[20, 40]).value.high == pytest.approx(math.log(20))


def test_a_burr_that_reads_as_sharp_does_not_count_where_the_fit_begins_later():
    with_burr = [-1.3, -0.3, -0.6, -1.4, -1.8]
    assert found(with_burr, from_work=5.0).value.low == found(with_burr[1:], work=WORK[1:]).value.low


@pytest.mark.parametrize(("se", "exact"), [(0.02, True), (0.3, False)])
def test_life_is_an_interval_when_reading_error_can_move_it_past_a_checkpoint(se, exact):
    k = [0, -0.3, -0.6, -0.95, -1.6, -2.2]
    value = found(k, se=se).value
    assert (value.low == value.high) is exact
    point = found(k, se=0.0).value.low
    assert value.low <= point <= value.high


def test_the_interval_holds_the_true_life_about_as_often_as_it_says():
    truth, rng, hits = np.array([0, -0.3, -0.6, -0.95, -1.6, -2.2]), np.random.default_rng(8), 0
    at = found(truth, se=0.0).value.low
    for seed in range(300):
        value = found(truth + 0.25 * rng.standard_normal(6), se=0.25, seed=seed).value
        hits += value.low <= at <= value.high or value.low == value.high
    assert hits > 0.85 * 300  # the fit between checkpoints is biased a little by pooling; exact ones count as held


def test_the_same_seed_gives_the_same_life():
    k = [0, -0.3, -0.6, -0.95, -1.6, -2.2]
    once, again, other = (found(k, se=0.3, seed=seed).value for seed in (4, 4, 5))
    assert (once.low, once.high) == (again.low, again.high)
    assert (once.low, once.high) != (other.low, other.high)


def test_a_relative_threshold_is_known_less_well():
    k = [0, -0.2, -0.5, -0.8, -1.2, -2.0]
    assert found(k, se=0.03, relative=True).value.se > 1.1 * found(k, se=0.03).value.se


def test_a_reading_over_the_scale_leaves_life_between_its_neighbours():
    c = curve([0, -0.2, -0.5, -0.8, -1.2])
    c.low[4] = -np.inf
    value = life(c, -1.0, 0.0, (1, 0)).value
    assert (value.low, value.high) == (pytest.approx(math.log(20)), pytest.approx(math.log(40)))


def test_a_reading_off_the_scale_that_cannot_tell_is_left_out():
    c = curve([0, -0.2, -0.5, -0.8])
    c.low[3] = -np.inf  # at most -0.8: on which side of -1 is not known
    assert life(c, -1.0, 0.0, (1, 0)).value.low == pytest.approx(math.log(10))


PASS_FAIL = [  # outcomes at 0 1 2 4 8 16; lower and upper amount of work
    ("PPPFFF", 2, 4),
    ("PPFPFF", 1, 8),  # situations: "pass, fail, pass"
    ("PPPPPP", 16, math.inf),
    ("PPPPPF", 8, 16),
    ("PPFPPP", 1, math.inf),
    ("PFFFFF", 0, 1),
    ("FFFFFF", 0, 1),
    ("PPMFFF", 1, 4),  # M: some of the repeats failed
    ("PPPMMM", 2, math.inf),
]


@pytest.mark.parametrize(("outcomes", "low", "high"), PASS_FAIL)
def test_a_pass_fail_life_lies_between_the_last_pass_before_any_fail_and_the_first_lasting_fail(outcomes, low, high):
    work = np.array([0, 1, 2, 4, 8, 16.0])
    passed = np.array([o == "P" for o in outcomes])
    failed = np.array([o == "F" for o in outcomes])
    result = pass_fail_life(work, passed, failed, 1.0)
    expected = (math.log(low) if low else -math.inf, math.log(high))
    assert (result.value.low, result.value.high) == pytest.approx(expected)
    assert result.failed_preparation is (outcomes[0] == "F")


def test_lives_drawn_together_are_those_drawn_alone():
    rng = np.random.default_rng(4)
    asked = [
        (curve(-0.4 * np.arange(n) + rng.normal(0, 0.2, n), se=0.1), rng.uniform(-1.5, -0.3), 0.0, (seed, seed + 1), seed % 3 == 0)
        for seed, n in enumerate(rng.integers(4, 7, 60).tolist())
    ]
    together = settled([undrawn_life(*one) for one in asked])
    for one, alone in zip(together, [life(*some) for some in asked], strict=True):
        np.testing.assert_array_equal([one.value.low, one.value.high, one.value.se], [alone.value.low, alone.value.high, alone.value.se])
        assert (one.value.reason, one.failed_preparation) == (alone.value.reason, alone.failed_preparation)
    assert sum(isinstance(undrawn_life(*one), Undrawn) for one in asked) > 20
