"""Two blades of one sharpener cut in turn: the comparison within pairs, against a published one and against another library."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

from edgehold.estimates import RepeatabilityTable, estimate_submissions
from edgehold.estimates.repeatability import ASSUMED, Repeatability
from edgehold.planning.precision import cuts_of, precision
from tests.planning.boatyard_plans import drawn, protocol, roomy, steels

from .rows import POOL, make_protocols, make_row
from .test_pairs import FIRST, HIGH, LOW, MEAN, NOTHING_LENT, SECOND, T

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # statsmodels decorates with what pandas will take away
    from statsmodels.regression.linear_model import OLS

TURNS = protocol("steels-exchanged-rope", "3.0.0")


def blade_rows(values, pairs, sharpeners=("wren",), steel_of=None):
    """Rows from (first, second) values and blades of each pair; sharpeners take turns from pair to pair."""
    rows = []
    for number, (both, blades) in enumerate(zip(values, pairs, strict=True)):
        for side, (value, blade) in enumerate(zip(both, blades, strict=True)):
            facts = {"blade": blade, "sharpener": sharpeners[number % len(sharpeners)], "tester": "fid", "pair": f"pair {number}"}
            steel = None if steel_of is None else steel_of[blade]
            rows.append(make_row(float(value), 2 * number + side + 1, steel=steel, **facts))
    return rows


def contrasts(rows, factor="blade", entry=NOTHING_LENT):
    table = RepeatabilityTable({(POOL, "early"): entry}, {(POOL, "early"): ()}, {(POOL, "early"): (1.0, entry.prior_df)})
    return [
        {(c.first, c.second): c for c in one.contrasts if c.factor == factor} for one in estimate_submissions(rows, table, make_protocols())
    ]


def test_two_blades_in_pairs_are_the_published_paired_t_test():
    # Student (1908), as in test_pairs: a patient is a pair, a drug a blade; two sharpeners take nothing from it, the same in a pair.
    both = list(zip(FIRST, SECOND, strict=True))
    for sharpeners in (("wren",), ("wren", "tern")):
        (found,) = contrasts(blade_rows(both, [("wren.a", "wren.b")] * 10, sharpeners))
        one = found["wren.a", "wren.b"]
        assert one.estimate == pytest.approx(MEAN, abs=1e-12)
        assert one.estimate / one.standard_error == pytest.approx(T, abs=5e-5)
        assert (one.interval.low, one.interval.high) == (pytest.approx(LOW, abs=1e-6), pytest.approx(HIGH, abs=1e-6))


@pytest.mark.parametrize("blades", [3, 4, 5])
def test_a_ring_of_blades_is_least_squares_on_pairs_and_blades_of_another_library(blades):
    rng = np.random.default_rng(blades)
    names = [f"wren.{letter}" for letter in "abcde"[:blades]]
    pairs = [(names[i], names[(i + 1) % blades]) for i in range(blades)] * 2
    values = rng.normal(size=(len(pairs), 2)) + rng.normal(size=(len(pairs), 1))
    (found,) = contrasts(blade_rows(values, pairs))
    cut = [blade for pair in pairs for blade in pair]
    design = np.column_stack(
        [np.kron(np.eye(len(pairs)), np.ones((2, 1))), *([float(blade == name) for blade in cut] for name in names[1:])]
    )
    fit = OLS(values.ravel(), design).fit()
    for number, name in enumerate(names[1:], len(pairs)):
        assert found[names[0], name].estimate == pytest.approx(-fit.params[number], abs=1e-10)
        assert found[names[0], name].standard_error == pytest.approx(fit.bse[number], rel=1e-8)


@pytest.mark.parametrize(("blades", "rounds"), [(2, 3), (3, 1), (4, 2)])
def test_the_plan_promises_the_precision_that_the_estimate_has(blades, rounds):
    names = tuple(f"wren.{letter}" for letter in "abcd"[:blades])
    runs = rounds * 2 * (blades if blades > 2 else 1)
    asked = replace(steels(roomy(runs) | {"minutes": 9000}, blades=names), protocol=TURNS)
    plan = drawn(asked, 3)
    pairs = [(one.blade, other.blade) for one, other in zip(plan.runs[::2], plan.runs[1::2], strict=True)]
    (found,) = contrasts(blade_rows(np.random.default_rng(1).normal(size=(len(pairs), 2)), pairs))
    for (first, second), contrast in found.items():
        assert precision(cuts_of(plan), "blade", first, second).unscaled == pytest.approx(contrast.unscaled_variance, rel=1e-8)


@pytest.mark.parametrize(
    ("pairs", "true_ratio"),
    [(2, 1.5), (3, 1.0), (4, 1.5), *(pytest.param(*both, marks=pytest.mark.long) for both in ((2, 1.0), (3, 1.5), (4, 1.0)))],
)
def test_intervals_of_two_blades_cover_beside_planted_drift_rope_and_pairs(pairs, true_ratio):
    """4,000 evenings whose spread is drawn from the protocol's own assumption (0.2, worth 4 degrees of freedom), a hand that loses 0.1 a
    pair, pairs that differ by an SD of 0.5, and whatever A B B A leaves to the blade that began: 0.02. Nominal 95 %."""
    evenings, effect, rng = 4000, math.log(true_ratio), np.random.default_rng([pairs, int(10 * true_ratio), 3])
    (rule,) = [one for one in TURNS.endpoints if one.primary]
    assumed = rule.assumed_repeatability
    entry = Repeatability(math.nan, 0.0, assumed.prior_df, assumed.ln_sd**2, ASSUMED, 0)
    sigma = assumed.ln_sd * np.sqrt(assumed.prior_df / rng.chisquare(assumed.prior_df, evenings))
    begins = np.where(np.arange(pairs) % 2, -0.5, 0.5)
    rows = []
    for number in range(evenings):
        shared = 0.5 * rng.standard_normal(pairs) - 0.1 * np.arange(pairs)
        own = sigma[number] * rng.standard_normal((pairs, 2))
        values = shared[:, None] + own + np.column_stack([effect / 2 + 0.02 * begins, -effect / 2 - 0.02 * begins])
        rows += [replace(row, submission=f"evening-{number}") for row in blade_rows(values, [("wren.a", "wren.b")] * pairs)]
    found = [one["wren.a", "wren.b"].interval for one in contrasts(rows, entry=entry)]
    covered = np.mean([interval.low <= effect <= interval.high for interval in found])
    assert len(found) == evenings and covered == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / evenings))
