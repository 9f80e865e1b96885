"""The half-t prior and its normal coordinate, against scipy's distributions and differences."""

import math

import numpy as np
import pytest
from scipy.stats import halfnorm, norm
from scipy.stats import t as student_t

from edgehold.numerics.half_t import HalfT, from_score, log_density, log_slope

DFS = [1.0, 3.0, 4.0, 12.0, math.inf]
SCALES = [0.1, 1.0, 7.0]


def quantile(df, p):
    """Of |t|, by scipy: for p near 1 from the upper tail, so that it keeps its digits."""
    p = np.asarray(p)
    return halfnorm.ppf(p) if math.isinf(df) else student_t.isf((1 - p) / 2, df)


def density(df, x):
    return halfnorm.logpdf(x) if math.isinf(df) else math.log(2) + student_t.logpdf(x, df)


@pytest.mark.parametrize("df", DFS)
@pytest.mark.parametrize("scale", SCALES)
def test_quantiles_are_those_of_scipy(df, scale):
    p = np.array([0.01, 0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975, 0.999])
    assert from_score(HalfT(df, scale), norm.ppf(p)) == pytest.approx(scale * quantile(df, p), rel=1e-9)


@pytest.mark.parametrize("df", DFS)
def test_far_out_the_upper_tail_is_that_of_scipy_and_near_zero_the_distribution_is_its_density_times_the_value(df):
    z = np.array([3.0, 5.0, 8.0])
    upper = halfnorm.isf(norm.sf(z)) if math.isinf(df) else student_t.isf(norm.sf(z) / 2, df)
    assert from_score(HalfT(df, 0.3), z) == pytest.approx(0.3 * upper, rel=1e-9)
    for z in (-4.0, -6.0, -8.0, -12.0):
        sd = float(from_score(HalfT(df, 0.3), np.array(z)))
        assert 0 < sd == pytest.approx(0.3 * norm.cdf(z) / math.exp(density(df, 0.0)), rel=2e-9)


@pytest.mark.parametrize("df", DFS)
def test_where_the_formula_near_zero_gives_way_to_the_quantile_nothing_jumps(df):
    """The formula is used below a probability of 1e-3: on either side it is scipy's quantile to ten digits."""
    for p in (0.9e-3, 0.9999999e-3, 1.0000001e-3, 1.1e-3):
        wanted = halfnorm.ppf(p) if math.isinf(df) else student_t.ppf(0.5 + p / 2, df)
        assert float(from_score(HalfT(df, 1.0), np.array(norm.ppf(p)))) == pytest.approx(wanted, rel=1e-10)


@pytest.mark.parametrize("df", DFS)
@pytest.mark.parametrize("scale", SCALES)
def test_over_the_whole_range_the_value_is_as_likely_to_be_passed_as_the_score(df, scale):
    z = np.linspace(-8, 8, 161)
    sd = from_score(HalfT(df, scale), z) / scale
    above, below = (halfnorm.sf(sd), halfnorm.cdf(sd)) if math.isinf(df) else (2 * student_t.sf(sd, df), 1 - 2 * student_t.sf(sd, df))
    assert above[z > 0] == pytest.approx(norm.sf(z[z > 0]), rel=1e-6)
    assert below[z <= 0] == pytest.approx(norm.cdf(z[z <= 0]), rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("df", DFS)
def test_the_log_density_is_that_of_scipy(df):
    sd = np.array([0.0, 1e-8, 0.01, 0.3, 2.0, 50.0])
    assert log_density(HalfT(df, 0.4), sd) == pytest.approx(density(df, sd / 0.4) - math.log(0.4), rel=1e-12)


@pytest.mark.parametrize("df", DFS)
def test_the_slope_of_the_value_is_its_difference_quotient(df):
    prior, step = HalfT(df, 0.4), 1e-4
    for z in (-6.0, -3.2, -3.0, -1.0, -0.3, 0.3, 1.0, 3.0, 6.0):
        ends = from_score(prior, np.array([z - step, z + step]))
        sd = from_score(prior, np.array(z))
        assert math.exp(log_slope(prior, z, sd)) == pytest.approx((ends[1] - ends[0]) / (2 * step), rel=1e-6)


def test_the_median_is_the_named_share_of_the_scale():
    assert HalfT(4, 1.0).median == pytest.approx(0.741, abs=5e-4)
    assert HalfT(math.inf, 2.0).median == pytest.approx(2 * halfnorm.median(), rel=1e-12)


def test_a_multiple_has_its_scale_multiplied_and_keeps_its_source():
    assert HalfT(3, 0.2, "a paper").times(2.5) == HalfT(3, 0.5, "a paper")


@pytest.mark.parametrize(("df", "scale"), [(0, 1), (-1, 1), (4, 0), (4, -0.1), (math.nan, 1), (4, math.nan)])
def test_degrees_of_freedom_and_scale_that_are_not_positive_are_refused(df, scale):
    with pytest.raises(ValueError, match=f"must be positive; got df {df!r}, scale {scale!r}"):
        HalfT(df, scale)
