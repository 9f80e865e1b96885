"""What an answer hangs on: leaving out, heavy tails and invented studies, against other programs' figures and plain sums."""

import importlib
import json
import math
from pathlib import Path

import numpy as np
import pytest
import scipy.sparse as sp
from pooling.designs import values_of
from pooling.test_headline import own_blades
from scipy import stats

from edgehold.numerics.attempt import SINGULAR, NotFitted
from edgehold.numerics.known_spreads import GivenSpreads, generalised_least_squares
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.headline import headline_of
from edgehold.pooling.left_out import (
    SCATTER,
    TAILS,
    Whose,
    hanging,
    heavy_tails,
    invented_to_reverse,
)
from edgehold.pooling.spread_priors import DEFAULT_PRIORS

module = importlib.import_module("edgehold.pooling.headline")  # the package has a function of that name
REFERENCE = Path(__file__).parents[1] / "reference"


def no_effects(n):
    return sp.csr_matrix((n, 0))


def studies(values, variances, extra=0.0):
    return GivenSpreads(np.array(values, float), np.ones((len(values), 1)), no_effects(len(values)), np.array(variances, float) + extra)


def bcg():
    rows = json.loads((REFERENCE / "bcg.json").read_text(encoding="utf-8"))["rows"]
    return [row["yi"] for row in rows], [row["vi"] for row in rows]


def test_the_whole_is_the_inverse_variance_mean():
    """BCG vaccine trials: the fixed-effect estimate −0.4303 (0.0405) of metafor's documentation of dat.bcg (log risk ratios)."""
    estimate, variance = generalised_least_squares(studies(*bcg())).difference(np.ones(1))
    assert (round(estimate, 4), round(math.sqrt(variance), 4)) == (-0.4303, 0.0405)


def test_without_each_is_a_fit_of_the_others():
    y, v = map(np.array, bcg())
    names = np.array([f"t{i % 5}" for i in range(len(y))])
    found = hanging(studies(y, v, 0.3), {"mean": np.ones(1)}, names, names)["mean"].by_sender
    whole = np.average(y, weights=1 / (v + 0.3))
    moves = [np.average(y[names != one], weights=1 / (v[names != one] + 0.3)) - whole for one in np.unique(names)]
    assert (found.low, found.high, found.groups, found.needed) == (pytest.approx(min(moves)), pytest.approx(max(moves)), 5, ())


def test_who_alone_holds_both_sides_is_needed():
    X = np.array([[1, 0], [1, 1], [1, 0], [1, 0]], float)
    runs = GivenSpreads(np.array([0.0, 1.0, 0.1, -0.1]), X, no_effects(4), np.ones(4))
    contrasts = {"second": np.array([0.0, 1.0])}
    found = hanging(runs, contrasts, np.array(["a", "a", "b", "c"]), np.array(["2026-01"] * 4))["second"]
    assert (found.by_sender.needed, found.by_month.needed, found.alone, found.tails) == (("a",), ("2026-01",), 1, None)
    others = runs.chosen(np.array([True, False, True, True]))
    assert hanging(others, contrasts, np.array(["a", "b", "c"]), np.array(["m"] * 3)) == {}


def test_heavy_tails_against_scipys_t_distribution():
    """The same posterior over 8,000 quantiles of scipy's t distribution instead of a mixture of normals."""
    found = [(0.20, 0.02), (0.31, 0.03), (0.12, 0.025), (1.60, 0.02), (0.25, 0.04)]

    drawn = stats.t.ppf((np.arange(8000) + 0.5) / 8000, TAILS)

    def likelihood(m, s):
        return math.prod(stats.norm.pdf((y - m - s * drawn) / math.sqrt(v)).mean() / math.sqrt(v) for y, v in found)

    places, scales = np.linspace(-0.6, 1.8, 61), SCATTER * np.linspace(0.02, 4.0, 21)
    table = np.array([[likelihood(m, s) * math.exp(-0.5 * (s / SCATTER) ** 2) for m in places] for s in scales])
    density = np.trapezoid(table, scales, axis=0) if hasattr(np, "trapezoid") else np.trapz(table, scales, axis=0)
    below = np.concatenate([[0], np.cumsum((density[1:] + density[:-1]) / 2)])
    low, middle, high = np.interp([0.025, 0.5, 0.975], below / below[-1], places)
    told = heavy_tails(found)
    assert (told.middle, told.interval.low, told.interval.high) == (
        pytest.approx(middle, abs=0.01), pytest.approx(low, abs=0.03), pytest.approx(high, abs=0.03),
    )  # fmt: skip
    mean = np.average([y for y, _ in found], weights=[1 / v for _, v in found])
    assert told.middle < 0.35 < mean  # the one that lies far off hardly counts
    assert heavy_tails(found[:3]) is None


@pytest.mark.parametrize(("ratio", "senders"), [(1.4, 10), (0.75, 19), (1.02, 3), (3.0, 6)])
def test_so_many_invented_studies_bring_an_answer_to_one_and_one_fewer_does_not(ratio, senders):
    k, d = invented_to_reverse(math.log(ratio), senders), math.log(ratio)

    def together(invented):
        return np.sign(d) * (senders * d - np.sign(d) * invented * math.log(2)) / (senders + invented)

    assert together(k) <= 1e-12 and (k == 1 or together(k - 1) > 0)


def test_within_the_worthwhile_ratio_they_push_it_beyond():
    step = math.log(1.25)
    k = invented_to_reverse(math.log(1.05), 12, step)
    together = [(12 * math.log(1.05) + n * math.log(2)) / (12 + n) for n in (k - 1, k)]
    assert together[0] < step <= together[1]


def test_where_its_numbers_fail_the_answers_stand(monkeypatch):
    labels = own_blades(people=6)
    y = values_of(labels, 0, {"sharpener": 0.1, "tester": 0.1, "blade": 0.1, "residual": 0.1}, {"s1": 0.3, "s2": 0.0})
    runs, whose = checked_runs(y, y, labels), Whose({}, {})
    asked = headline_of(runs, 1.25, DEFAULT_PRIORS, whose=whose)
    (answer,) = asked.pairs
    assert asked.hanging[answer.compared].by_sender.groups == 6 and headline_of(runs, 1.25, DEFAULT_PRIORS).hanging == {}

    def singular(*_):
        raise np.linalg.LinAlgError("planted")

    monkeypatch.setattr(module, "hanging", singular)
    failed = headline_of(runs, 1.25, DEFAULT_PRIORS, whose=whose)
    assert failed.hanging == NotFitted(SINGULAR) and failed.pairs[0].estimate == answer.estimate
