"""Edges cut in turn: what two runs share is taken out of their comparison, and so is what heel and tip differ by."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import ttest_rel

from edgehold.endpoints.collect import pair_of
from edgehold.estimates import ContrastNotEstimable, RepeatabilityTable, estimate_submissions
from edgehold.estimates.repeatability import ASSUMED, Repeatability
from edgehold.words import code_of
from tests.endpoints.repositories import make_run
from tests.planning.boatyard_plans import protocol

from .rows import POOL, make_protocols, make_row

# Cushny & Peebles (1905), J. Physiol. 32:501, as Student (1908) has them: hours of sleep gained by ten patients with either of two drugs.
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)
# As the manual of R's t.test prints it for "sleep", paired: mean difference, t on 9 df, 95 % limits (from memory; scipy below).
MEAN, T, LOW, HIGH = -1.58, -4.0621, -2.4598858, -0.7001142
NOTHING_LENT = Repeatability(math.nan, 0.0, 1e-9, 1.0, ASSUMED, 0)


def in_pairs(values, parts=("whole", "whole"), swapped=False):
    """Rows from (first, second) of each pair; the parts change hands from pair to pair where they are swapped."""
    rows = []
    for number, both in enumerate(values):
        names = parts[::-1] if swapped and number % 2 else parts
        for side, (value, part) in enumerate(zip(both, names, strict=True)):
            rows.append(
                make_row(
                    value, 2 * number + side + 1, sharpener=("tern", "wren")[side], tester="fid", edge_part=part, pair=f"pair {number}"
                )
            )
    return rows


def contrast(rows, entry=NOTHING_LENT):
    table = RepeatabilityTable({(POOL, "early"): entry}, {(POOL, "early"): ()}, {(POOL, "early"): (1.0, entry.prior_df)})
    (result,) = estimate_submissions(rows, table, make_protocols())
    (found,) = [c for c in result.contrasts if c.factor == "sharpener"]
    return result, found


def test_pairs_without_halves_are_the_published_paired_t_test():
    result, found = contrast(in_pairs(zip(FIRST, SECOND, strict=True)))
    assert result.df_own == 9
    assert found.estimate == pytest.approx(MEAN, abs=1e-12)
    assert found.estimate / found.standard_error == pytest.approx(T, abs=5e-5)
    assert (found.interval.low, found.interval.high) == (pytest.approx(LOW, abs=1e-6), pytest.approx(HIGH, abs=1e-6))
    scipys = ttest_rel(FIRST, SECOND)
    assert found.estimate / found.standard_error == pytest.approx(scipys.statistic, rel=1e-8)


@pytest.mark.parametrize("pairs", [3, 4, 5, 8])
def test_halves_that_change_hands_are_numpys_least_squares_on_the_differences(pairs):
    rng = np.random.default_rng(pairs)
    values = rng.normal(size=(pairs, 2))
    result, found = contrast(in_pairs(values, ("heel", "tip"), swapped=True))
    sign = np.where(np.arange(pairs) % 2, -1.0, 1.0)
    design, differences = np.column_stack([np.ones(pairs), sign]), values[:, 0] - values[:, 1]
    coefficients, residual, *_ = np.linalg.lstsq(design, differences, rcond=None)
    error = math.sqrt(residual[0] / (pairs - 2) * np.linalg.inv(design.T @ design)[0, 0])
    assert result.df_own == pairs - 2
    assert found.estimate == pytest.approx(coefficients[0], abs=1e-12)
    assert found.standard_error == pytest.approx(error, rel=1e-8)


def test_halves_that_never_change_hands_tell_nothing_and_say_why():
    _, found = contrast(in_pairs([(0.1, 0.3), (0.2, 0.5), (0.0, 0.4)], ("heel", "tip")))
    assert isinstance(found, ContrastNotEstimable) and code_of(found.reason) == "contrasts.together"
    assert "part of the edge" in found.reason


def test_a_run_cut_alone_takes_no_part_in_the_comparison():
    rows = in_pairs([(0.1, 0.3), (0.2, 0.5)])
    _, without = contrast(rows)
    _, beside = contrast([*rows, make_row(9.0, 5, sharpener="tern", tester="fid", pair="r5")])
    assert beside.estimate == pytest.approx(without.estimate, abs=1e-12)
    assert beside.standard_error == pytest.approx(without.standard_error, rel=1e-9)


def test_pairs_are_read_only_where_the_protocol_cuts_in_turn():
    halves, whole = protocol("two-sharpeners-rope", "2.0.0"), protocol()
    one, other = (make_run(halves, {0: [1.0]}, id=f"run-{n}", partner=f"run-{3 - n}") for n in (1, 2))
    assert pair_of(one, halves) == pair_of(other, halves) == "run-1 and run-2"
    assert pair_of(make_run(halves, {0: [1.0]}, id="run-3"), halves) == "run-3"
    assert pair_of(one, whole) is None


@pytest.mark.parametrize(
    ("pairs", "true_ratio"),
    [(2, 1.0), (3, 1.5), (4, 1.0), *(pytest.param(*both, marks=pytest.mark.long) for both in ((2, 1.5), (3, 1.0), (4, 1.5)))],
)
def test_intervals_of_halves_cover_beside_planted_halves_drift_rope_and_pairs(pairs, true_ratio):
    """4,000 evenings whose spread is drawn from the protocol's own assumption (0.2, worth 4 degrees of freedom), with a tip half that is
    keener by 0.2, a hand that loses 0.1 a pair and pairs that differ by an SD of 0.5: nominal 95 %."""
    evenings, effect, rng = 4000, math.log(true_ratio), np.random.default_rng([pairs, int(10 * true_ratio)])
    record = protocol("two-sharpeners-rope", "2.0.0")
    (rule,) = [one for one in record.endpoints if one.primary]
    assumed = rule.assumed_repeatability
    entry = Repeatability(math.nan, 0.0, assumed.prior_df, assumed.ln_sd**2, ASSUMED, 0)
    sigma = assumed.ln_sd * np.sqrt(assumed.prior_df / rng.chisquare(assumed.prior_df, evenings))
    rows = []
    for number in range(evenings):
        shared = 0.5 * rng.standard_normal(pairs) - 0.1 * np.arange(pairs)
        own = sigma[number] * rng.standard_normal((pairs, 2))
        tip_second = np.where(np.arange(pairs) % 2, -0.5, 0.5)  # the second sharpener has the tip in the first pair
        values = shared[:, None] + own + np.column_stack([effect / 2 - 0.2 * tip_second, -effect / 2 + 0.2 * tip_second])
        for row in in_pairs(values, ("heel", "tip"), swapped=True):
            rows.append(replace(row, submission=f"evening-{number}"))
    table = RepeatabilityTable({(POOL, "early"): entry}, {(POOL, "early"): ()}, {(POOL, "early"): (assumed.ln_sd, assumed.prior_df)})
    found = [
        next(c for c in one.contrasts if c.factor == "sharpener").interval for one in estimate_submissions(rows, table, make_protocols())
    ]
    covered = np.mean([interval.low <= effect <= interval.high for interval in found])
    assert len(found) == evenings and covered == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / evenings))
