"""Levels and windows read off a curve."""

import numpy as np
import pytest

from edgehold.endpoints.curve import Curve, held_after_dull, level_weights, linear, window_weights


def curve(work, k, se=0.05, first=5.0):
    k = np.asarray(k, float)
    n = len(k)
    return Curve(np.asarray(work, float), k, k.copy(), np.full(n, se), np.full(n, 3), np.exp(-k), first)


WORK = [0, 5, 10, 20, 40, 80]
K = [0.0, -0.2, -0.5, -0.6, -1.0, -1.3]


@pytest.mark.parametrize("at", [0, 3, 5, 7.5, 22, 79.9, 80])
def test_a_level_is_interpolated_on_ln_of_work_plus_the_first_checkpoint(at):
    expected = np.interp(np.log(at + 5), np.log(np.array(WORK) + 5), K)  # numpy's own linear interpolation
    assert linear(curve(WORK, K), level_weights(curve(WORK, K), at)).low == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("work", "at"), [([5, 10, 20], 2), ([5, 10, 20], 21), ([], 5)])
def test_nothing_is_extrapolated(work, at):
    assert level_weights(curve(work, [-1.0] * len(work)), at) is None


def test_an_interpolated_level_is_known_better_than_a_reading_but_not_than_both_together():
    c = curve([0, 10], [0.0, -1.0], se=0.1)
    value = linear(c, level_weights(c, 3.660254))  # midway on the work axis: sqrt(5 * 15) - 5
    assert value.se == pytest.approx(0.1 / np.sqrt(2), rel=1e-6)


@pytest.mark.parametrize(("start", "end"), [(10, 80), (7, 33), (0, 80)])
def test_a_window_is_the_trapezoid_mean_on_the_work_axis(start, end):
    c = curve(WORK, K)
    u = np.log(np.array(WORK) + 5)
    fine = np.linspace(np.log(start + 5), np.log(end + 5), 200_001)
    expected = np.trapezoid(np.interp(fine, u, K), fine) / (fine[-1] - fine[0])
    assert linear(c, window_weights(c, start, end)).low == pytest.approx(expected, abs=1e-8)


def test_a_loss_takes_limits_from_the_right_sides():
    c = curve([0, 5, 10], [0.0, -0.5, -1.0])
    c.high[2] = np.inf  # at least this keen at 10
    value = linear(c, level_weights(c, 10) - level_weights(c, 0))
    assert (value.low, value.high) == (-1.0, np.inf)


def test_after_a_dull_end_keenness_is_at_most_the_last_reading():
    held = held_after_dull(curve([0, 5, 10], [0.0, -0.5, -1.0]), 80)
    value = linear(held, level_weights(held, 40))
    assert (value.low, value.high) == (-np.inf, -1.0)
