"""Moments of normal values between limits, against scipy's truncated normal, integrals and expansions."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm, truncnorm

from edgehold.numerics.truncated_moments import NARROW, between


def moments(mean, variance, low, high):
    return tuple(float(one[0]) for one in between(*(np.array([float(x)]) for x in (mean, variance, low, high))))


def integrated(a, b):
    """Of the standard normal between a and b by adaptive quadrature, the density's top taken out."""
    if a + b < 0:
        log_p, centre, spread = integrated(-b, -a)
        return log_p, -centre, spread
    top = max(a, 0.0)
    end = min(b, top + 60 / max(top, 1.0) + 9)
    parts = [a] + [x for x in (0.0, top + 1 / max(top, 1.0)) if a < x < end] + [end]

    def integral(power, centre=0.0):
        def integrand(x):
            return (x - centre) ** power * math.exp(0.5 * (top - x) * (top + x))

        return sum(quad(integrand, *ends, epsabs=0, epsrel=1e-12, limit=200)[0] for ends in itertools.pairwise(parts))

    total = integral(0)
    off = integral(1, a if math.isfinite(a) else 0.0) / total + (a if math.isfinite(a) else 0.0)
    return math.log(total) - 0.5 * top**2 - 0.5 * math.log(2 * math.pi), off, integral(2, off) / total


LIMITS = [
    (-1, 1),
    (0, 0.5),
    (-0.3, 2),
    (1, 6),
    (-6, -1),
    (-3, 3),
    (2, 2.5),
    (-0.01, 5),
    (0, 4.001),
    (0, 3.999),
    (1, 5.001),
    (-9, 9),
    (3, 8),
]


@pytest.mark.parametrize(("a", "b"), LIMITS)
def test_between_two_limits_it_is_the_truncated_normal_of_scipy(a, b):
    m, sd = 0.7, 0.3
    log_p, mean, variance = moments(m, sd**2, m + sd * a, m + sd * b)
    known = truncnorm(a, b, loc=m, scale=sd)
    assert log_p == pytest.approx(math.log(norm.cdf(b) - norm.cdf(a)) if a < 0 else math.log(norm.sf(a) - norm.sf(b)), abs=1e-9)
    assert mean == pytest.approx(known.mean(), rel=1e-8)
    assert variance == pytest.approx(known.var(), rel=1e-6)


@pytest.mark.parametrize("a", [-30.0, -8.0, -2.0, -0.5, 0.0, 0.5, 2.0, 5.0, 8.0])
def test_with_one_limit_it_is_the_truncated_normal_of_scipy_on_either_side(a):
    known = truncnorm(a, np.inf)
    for sign, low, high in ((1, a, np.inf), (-1, -np.inf, -a)):
        log_p, mean, variance = moments(0, 1, low, high)
        assert log_p == pytest.approx(norm.logsf(a), rel=1e-10, abs=1e-14)
        assert mean == pytest.approx(sign * known.mean(), rel=1e-9, abs=1e-12)
        assert variance == pytest.approx(known.var(), rel=1e-7)


@pytest.mark.parametrize("a", [5.0, 12.0, 20.0, 37.0, 60.0])
def test_far_out_in_the_tail_all_three_agree_with_an_integral(a):
    for b in (a + 0.001, a + 0.1, a + 1, a + 5, a + 100):
        wanted = integrated(a, b)
        log_p, mean, variance = moments(0, 1, a, b)
        assert log_p == pytest.approx(wanted[0], rel=1e-10)
        assert mean == pytest.approx(wanted[1], rel=1e-10)
        assert variance == pytest.approx(wanted[2], rel=1e-5)


@pytest.mark.parametrize("d", [100.0, 1e3])
def test_far_beyond_an_open_limit_the_variance_is_that_of_the_exponential_tail(d):
    """Mean d + 1/d − 2/d³, variance 1/d² − 6/d⁴ + 50/d⁶."""
    _, mean, variance = moments(0, 1, d, math.inf)
    assert mean - d == pytest.approx((1 - 2 / d**2) / d, rel=1e-5)
    assert variance == pytest.approx((1 - 6 / d**2 + 50 / d**4) / d**2, rel=1e-3)


@pytest.mark.parametrize("width", [1e-10, 1e-6, 1e-3])
@pytest.mark.parametrize("middle", [-40.0, -3.0, 0.0, 0.1, 6.0, 40.0])
def test_in_a_narrow_interval_the_value_is_nearly_uniform(width, middle):
    """ln P = ln width + ln density, mean shifted by −middle·width²/12, variance width²/12, each up to the square of width × middle."""
    low, high = middle - width / 2, middle + width / 2
    log_p, mean, variance = moments(0, 1, low, high)
    small = (width * abs(middle)) ** 2 + width**2 + 1e-15 * abs(middle) / width
    assert log_p == pytest.approx(math.log(high - low) + norm.logpdf(middle), abs=small + 1e-12)
    assert low <= mean <= high
    assert variance == pytest.approx((high - low) ** 2 / 12, rel=small + 1e-9)


@given(st.integers(-1200, 1200), st.integers(1, 2000))
def test_anywhere_the_moments_are_those_of_an_integral(hundredths, wide):
    a, width = hundredths / 100, wide / 100
    wanted = integrated(a, a + width)
    log_p, mean, variance = moments(0, 1, a, a + width)
    assert log_p == pytest.approx(wanted[0], rel=1e-8, abs=1e-10)
    assert mean == pytest.approx(wanted[1], rel=1e-8, abs=1e-8)
    assert variance == pytest.approx(wanted[2], rel=1e-5)


def test_where_nodes_give_way_to_tails_nothing_jumps():
    for a in (-3.0, -2.0, 0.0, 1.0, 5.0):
        below, above = moments(0, 1, a, a + NARROW - 1e-9), moments(0, 1, a, a + NARROW + 1e-9)
        assert below == pytest.approx(above, rel=1e-6, abs=1e-8)


def test_each_value_is_alone():
    mean, variance = np.array([0.0, 1.0, -1.0]), np.array([1.0, 4.0, 0.25])
    low, high = np.array([-np.inf, 0.0, -1.1]), np.array([0.2, np.inf, -1.0])
    together = np.array(between(mean, variance, low, high))
    alone = np.array([moments(*one) for one in zip(mean, variance, low, high, strict=True)]).T
    np.testing.assert_array_equal(together, alone)
