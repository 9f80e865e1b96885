"""Verdicts against the worthwhile ratio."""

import math

import pytest
from scipy.stats import t as t_distribution

from edgehold.estimates.verdict import one_sided, verdict, verdict_of

M = 1.25
CASES = [  # estimate, standard error, kind, with 20 degrees of freedom: t .975 is 2.086, t .95 is 1.725
    (0.60, 0.10, "better"),
    (-0.60, 0.10, "worse"),
    (0.30, 0.10, "different, size undecided"),
    (-0.30, 0.10, "different, size undecided"),
    (0.10, 0.10, "undecided"),
    (0.02, 0.05, "no difference worth having"),
    (0.12, 0.04, "no difference worth having"),  # real, and not worth having
    (0.02, 0.12, "undecided"),
    (0.60, 0.20, "different, size undecided"),  # beyond it by estimate, not by interval
]


@pytest.mark.parametrize(("estimate", "se", "kind"), CASES)
def test_the_verdict_follows_the_intervals(estimate, se, kind):
    assert verdict_of(estimate, se, 20, M).kind == kind


@pytest.mark.parametrize(("estimate", "se", "kind"), CASES)
def test_no_difference_worth_having_is_two_one_sided_tests(estimate, se, kind):
    """Schuirmann's procedure written as its two t tests (Schuirmann 1987)."""
    p_low = t_distribution.sf((estimate + math.log(M)) / se, 20)
    p_high = t_distribution.cdf((estimate - math.log(M)) / se, 20)
    assert bool(max(p_low, p_high) < 0.05) is (kind == "no difference worth having")


def test_every_verdict_says_what_is_ruled_out_either_way():
    assert verdict(-0.1, 0.5, False, M).excludes == pytest.approx(math.exp(0.5))
    assert verdict(-0.7, 0.5, False, M).excludes == pytest.approx(math.exp(0.7))
    assert one_sided(M).excludes == math.inf


def test_an_interval_open_on_both_sides_has_no_verdict():
    assert verdict(-math.inf, math.inf, False, M).kind == "none"


# run-to-run SD .30, two arms of 2, 4 and 8 runs: the widths the planner must not outdo
@pytest.mark.parametrize(("runs", "ratio"), [(4, 3.6), (8, 1.7), (16, 1.4)])
def test_a_run_to_run_sd_of_30_percent_rules_out_no_more_than_it_can(runs, ratio):
    se = 0.30 * math.sqrt(2 / (runs / 2))
    assert round(verdict_of(0.0, se, runs - 2, M).excludes, 1) == ratio
