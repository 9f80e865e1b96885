"""Submissions within clusters: against published three-level fits, a dense second likelihood, and the limits it must meet."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize

from edgehold.errors import InputError
from edgehold.pooling.pairwise.random_effects import random_effects
from edgehold.pooling.pairwise.three_level import _log_likelihood, _slope, three_level

REFERENCE = Path(__file__).parents[1] / "reference"
PUBLISHED = (("konstantopoulos2011", "district", "school"), ("assink2016", "study", "effect"))


def load(name):
    data = json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))
    return data["columns"], next(one for one in data["fits"] if one["id"] == "reml")["values"], data["tolerances"]


@pytest.mark.parametrize(("name", "outer", "inner"), PUBLISHED)
def test_published_three_level_fits_come_out(name, outer, inner):
    # Konstantopoulos 2011 and Assink & Wibbelink 2016, REML by the library that the file names; its intervals are Wald's.
    columns, wanted, tolerance = load(name)
    found = three_level(columns["yi"], columns["vi"], columns[outer], interval="wald", predict=False)
    close = {"rel": tolerance["variances"]["relative"]}
    assert (found.fit.tau2, found.tau2_within) == pytest.approx((wanted["variances"][outer], wanted["variances"][inner]), **close)
    assert found.fit.coefficients == pytest.approx(wanted["coefficients"], rel=1e-6)
    assert found.fit.standard_errors == pytest.approx(wanted["standard_errors"], rel=1e-6)
    limits = (found.tau2_within_interval.low, found.tau2_within_interval.high)
    assert limits == pytest.approx(wanted["profile_limits"][inner], rel=1e-4)


def dense(y, v, cluster, within, between):
    """Restricted log-likelihood from whole matrices: a second implementation."""
    Z = (np.array(cluster)[:, None] == np.unique(cluster)).astype(float)
    S, one = np.diag(v + within) + between * Z @ Z.T, np.ones((len(y), 1))
    W = np.linalg.inv(S)
    information = one.T @ W @ one
    r = y - one[:, 0] * float((one.T @ W @ y).item() / information.item())
    return -0.5 * ((len(y) - 1) * np.log(2 * np.pi) + np.linalg.slogdet(S)[1] + np.log(information.item()) + r @ W @ r)


def drawn(seed, clusters=6):
    rng = np.random.default_rng(seed)
    cluster = np.repeat(np.arange(clusters), rng.integers(1, 5, clusters))
    v = rng.uniform(0.01, 0.05, len(cluster))
    return rng.normal(0, 0.3, clusters)[cluster] + rng.normal(0, 0.2, len(cluster)) + rng.normal(0, np.sqrt(v)), v, cluster


@pytest.mark.parametrize("seed", range(4))
def test_no_pair_of_variances_has_a_higher_likelihood(seed):
    y, v, cluster = drawn(seed)
    found = three_level(y, v, cluster, predict=False, profile=False)
    best = dense(y, v, cluster, found.tau2_within, found.fit.tau2)
    assert best == pytest.approx(_log_likelihood(y, v, cluster, found.tau2_within)[0], abs=1e-9)
    starts = ([-5.0, -5.0], [-2.0, -2.0], [-2.0, -9.0], [-9.0, -2.0])
    others = [-minimize(lambda t: -dense(y, v, cluster, *np.exp(t)), start, method="Nelder-Mead").fun for start in starts]
    assert max(others) <= best + 1e-7


def test_the_slope_is_that_of_the_likelihood():
    y, v, cluster = drawn(2)
    for at in (0.01, 0.1, 0.5):
        rise = (_log_likelihood(y, v, cluster, at + 1e-5)[0] - _log_likelihood(y, v, cluster, at - 1e-5)[0]) / 2e-5
        assert _slope(y, v, cluster, at) == pytest.approx(rise, rel=1e-4, abs=1e-4)


def test_with_one_submission_a_cluster_it_is_random_effects():
    y, v, _ = drawn(3)
    found, plain = three_level(y, v, np.arange(len(y))), random_effects(y, v)
    assert (found.tau2_within, found.tau2_within_interval) == (None, None)
    assert found.fit.coefficients.tolist() == plain.coefficients.tolist()
    assert found.fit.intervals == plain.intervals
    assert found.fit.prediction == plain.prediction


def test_where_clusters_agree_within_they_are_inverse_variance_means():
    y, v = np.array([0.1, 0.1, 0.5, 0.5, -0.2]), np.array([0.02, 0.01, 0.02, 0.04, 0.02])
    found = three_level(y, v, list("aabbc"))
    assert found.tau2_within == 0
    assert found.v == pytest.approx([1 / 150, 1 / 75, 0.02])
    assert found.shares == pytest.approx([1 / 3, 2 / 3, 2 / 3, 1 / 3, 1])
    assert found.fit.coefficients == pytest.approx(random_effects([0.1, 0.5, -0.2], found.v).coefficients)


def test_degrees_of_freedom_are_those_of_clusters():
    y, v, cluster = drawn(1)
    assert three_level(y, v, cluster).fit.df == len(set(cluster.tolist())) - 1


def test_ten_files_of_one_group_do_not_outvote_four_others():
    # Ten submissions of one cluster at 1, four alone at 0: ten independent ones would pull the mean to 10/14.
    y, v = np.array([1.0] * 10 + [0.0] * 4), np.full(14, 0.01)
    found = three_level(y, v, ["round"] * 10 + list("abcd"))
    assert found.fit.coefficients[0] == pytest.approx(0.2, abs=0.01)


def test_intervals_cover_the_truth_where_blades_go_round():
    # 6 clusters of 1 to 4 submissions, true spreads .3 between and .2 within: 95 % of 80 is 76, fewer than 70 happens once in
    # two hundred such tests of a true 95 %.
    held = [one.low <= 0 <= one.high for seed in range(80) for one in three_level(*drawn(seed), predict=False, profile=False).fit.intervals]
    assert sum(held) >= 70


def test_a_prediction_knows_that_submissions_of_one_cluster_differ():
    y, v, cluster = drawn(5)
    found = three_level(y, v, cluster)
    clusters = random_effects(found.y, found.v)
    assert found.tau2_within > 0
    assert found.fit.prediction.high - found.fit.prediction.low > clusters.prediction.high - clusters.prediction.low


def test_lengths_that_differ_are_refused():
    with pytest.raises(InputError, match=r"must agree in length, at least 1; got .*2 labels"):
        three_level([0.1, 0.2, 0.3], [0.1, 0.1, 0.1], ["a", "b"])
