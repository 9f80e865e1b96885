"""The network of steels as the path gathers it: studies, their covariance, what is direct, what is indirect, what is not linked."""

import json
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from edgehold.estimates import estimate_submissions
from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable, repeatability_table
from edgehold.estimates.results import ContrastEstimated, ContrastNotEstimable, SubmissionEstimate
from edgehold.estimates.verdict import verdict_of
from edgehold.numerics.interval import Interval
from edgehold.pooling.network.steel_network import NoNetwork, UnlinkedPair, shortest_path, steel_networks, study_contrasts
from edgehold.pooling.pairwise.studies import cluster_numbers
from edgehold.records.canonical import PoolKey
from edgehold.words import code_of
from tests.estimates.rows import make_protocols, make_rows

REFERENCE = Path(__file__).parents[1] / "reference"
POOL = PoolKey("steels-exchanged-rope", 2, "measured")
KEY = (POOL, "late")
TRUTH = {"a": 0.0, "b": 0.3, "c": -0.2, "d": 0.5}


def table(s2=1.0) -> RepeatabilityTable:
    entry = Repeatability(s2_pooled=s2, df_pooled=50, prior_df=np.inf, prior_s2=s2, source="pooled", submissions=9)
    return RepeatabilityTable(entries={KEY: entry}, contributions={KEY: ()}, assumed={KEY: (0.2, 4.0)})


def estimate(name, testers, pairs, y, covariance) -> SubmissionEstimate:
    """A submission's contrasts; one without a value is not estimable and has no row in the covariance."""
    told = iter(np.diag(covariance))
    contrasts = []
    for (a, b), value in zip(pairs, y, strict=True):
        arms = ("steel", a, b, None, 2, 2, 1, 1)
        if value is None:
            contrasts.append(ContrastNotEstimable(*arms, "why"))
        else:
            limits, verdict = Interval(value, value, 0.95, "t"), verdict_of(value, 0.1, 9.0, 1.25)
            contrasts.append(ContrastEstimated(*arms, value, 0.1, 9.0, limits, float(next(told)), verdict))
    return SubmissionEstimate(
        POOL, name, "2.0.0", "2026-05", "late", "late", 4, 4, 0, 0, tuple(testers), (), (), tuple(contrasts), np.array(covariance), 1.0,
        9.0, 1.0, 9.0, "least squares",
    )  # fmt: skip


def pair(network, first, second):
    return next(one for one in network.pairs if {one.first, one.second} == {first, second})


def senn():
    """Every trial of Senn et al. (2013) as a submission with all contrasts of its arms, sums among them."""
    data = json.loads((REFERENCE / "senn2013_network.json").read_text(encoding="utf-8"))
    rows, V = data["contrasts"], np.diag([row["vi"] for row in data["contrasts"]])
    for i, j, value in data["covariances"]:
        V[i, j] = V[j, i] = value
    found = []
    for study in dict.fromkeys(row["study"] for row in rows):
        own = [i for i, row in enumerate(rows) if row["study"] == study]
        arms = sorted({rows[i][end] for i in own for end in ("first", "second")})
        tree = np.array([[(arm == rows[i]["first"]) - (arm == rows[i]["second"]) for arm in arms] for i in own], dtype=float)
        pairs = list(combinations(arms, 2))
        every = np.array([[(arm == a) - (arm == b) for arm in arms] for a, b in pairs], dtype=float) @ np.linalg.pinv(tree)
        y = every @ np.array([rows[i]["yi"] for i in own])
        found.append(estimate(study, [study], pairs, y.tolist(), every @ V[np.ix_(own, own)] @ every.T))
    return data, found


def test_senn_2013_comes_out_of_the_gathering_as_published():
    # Senn, Gavini, Magrez & Scheen 2013; values of a general-purpose library, tests/reference/senn2013_network.json.
    data, estimates = senn()
    fit = steel_networks(estimates, table())[KEY].fit
    wanted = data.get("polished") or data["fit"]
    found = [fit.contrast(one, data["reference"]).estimate for one in wanted["treatments"]]
    assert found == pytest.approx(wanted["effects"], rel=1e-5)
    assert fit.tau2 == pytest.approx(wanted["tau2"], rel=1e-5)
    assert fit.studies == len({row["study"] for row in data["contrasts"]})


def test_the_common_variance_replaces_a_submissions_own():
    pairs = [("a", "b"), ("a", "c")]
    own = estimate("one", ["t"], pairs, [0.1, 0.2], 0.5 * np.array([[1.0, 0.5], [0.5, 1.0]]))
    contrasts = tuple(replace(c, unscaled_variance=1.0) for c in own.contrasts)
    own = own.__class__(**{**vars(own), "contrasts": contrasts})
    data = study_contrasts([own], {"one": 1}, s2=0.04)
    assert pytest.approx(0.04 * np.array([[1.0, 0.5], [0.5, 1.0]])) == data.V


def runs_of(rng, name, steels, tester, count=3, truth=TRUTH, shift=0.0, sd=0.2, between=0.0):
    """Runs of one tester on one blade of each steel."""
    level = {steel: truth[steel] + rng.normal(0, between / np.sqrt(2)) for steel in steels}
    who, blades = rng.normal(0, 0.3) + shift, [steel for steel in steels for _ in range(count)]
    values = [level[steel] + who + rng.normal(0, sd) for steel in blades]
    return make_rows(
        values, name, "late", role="late", blade=[f"{name}.{s}" for s in blades], steel=blades, tester=tester, sharpener=tester
    )


def network_of(rows):
    protocols = make_protocols()
    made = repeatability_table(rows, protocols)
    estimates = estimate_submissions(rows, made, protocols)
    return steel_networks(estimates, made), estimates, made


def test_the_contrasts_of_one_submission_share_the_runs_of_their_common_steel():
    # By hand: with n runs on one blade of each steel, Var(a − b) = s²(1/n + 1/n) and Cov(a − b, a − c) = s²/n.
    rows = runs_of(np.random.default_rng(1), "one", "abc", "wren", count=4)
    estimates = network_of(rows)[1]
    data = study_contrasts(estimates, cluster_numbers(estimates), 0.09)
    assert list(zip(data.first, data.second, strict=True)) == [("a", "b"), ("a", "c")]
    assert pytest.approx(0.09 / 4 * np.array([[2.0, 1.0], [1.0, 2.0]])) == data.V


def test_planted_differences_are_recovered_along_a_chain_and_covered():
    # a–b, b–c, c–d by three testers each; a–d is known through b and c only. 40 data sets, true between-study spread 0.1.
    errors, covered, lines = [], 0, (("ab", 3), ("bc", 3), ("cd", 3))
    for seed in range(40):
        rng = np.random.default_rng(seed)
        rows = [row for steels, n in lines for i in range(n) for row in runs_of(rng, f"{steels}-{i}", steels, f"{steels}{i}", between=0.1)]
        found = pair(network_of(rows)[0][KEY], "a", "d")
        assert (found.path, found.direct_studies, found.split_p) == (("a", "b", "c", "d"), 0, None)
        truth = TRUTH["a"] - TRUTH["d"]
        errors.append(found.contrast.estimate - truth)
        covered += found.contrast.interval.low <= truth <= found.contrast.interval.high
    assert abs(np.mean(errors)) < 3 * np.std(errors) / np.sqrt(len(errors))
    assert covered >= 34, "95 % of 40 is 38; 33 or fewer happens once in 300 such tests of a true 95 %"


def test_a_change_of_unit_changes_nothing():
    # A unit multiplies readings, so that every ln reading of the pool moves by one constant.
    rng, other = np.random.default_rng(3), np.random.default_rng(3)
    plan = (("ab", "wren"), ("bc", "tern"), ("ca", "gull"), ("ab", "rook"))
    rows, moved = (
        [row for n, (steels, who) in enumerate(plan) for row in runs_of(source, f"s{n}", steels, who, shift=shift)]
        for source, shift in ((rng, 0.0), (other, np.log(453.59237)))
    )
    one, two = network_of(rows)[0][KEY], network_of(moved)[0][KEY]
    for a, b in zip(one.pairs, two.pairs, strict=True):
        assert a.contrast.estimate == pytest.approx(b.contrast.estimate, abs=1e-9)
        assert a.contrast.standard_error == pytest.approx(b.contrast.standard_error, rel=1e-6)


def test_submissions_that_share_a_tester_speak_once_and_their_steels_are_not_called_side_by_side():
    # By hand: two contrasts of one pair with variances 1 and ½ combine with weights ⅓ and ⅔ to variance ⅓.
    estimates = [
        estimate("one", ["tern"], [("a", "b")], [0.3], [[1.0]]),
        estimate("two", ["tern"], [("a", "b")], [0.6], [[0.5]]),
        estimate("three", ["tern"], [("b", "c")], [0.2], [[1.0]]),
        *(estimate(f"s{i}", [f"t{i}"], [("a", "b")], [0.4], [[1.0]]) for i in range(4)),
    ]
    data = study_contrasts(estimates, cluster_numbers(estimates), 1.0)
    assert (data.y[0], data.V[0, 0]) == pytest.approx((0.5, 1 / 3))
    network = steel_networks(estimates, table())[KEY]
    assert network.fit.studies == 5
    assert (pair(network, "a", "b").direct_studies, pair(network, "b", "c").direct_studies) == (5, 1)
    assert pair(network, "a", "c").direct_studies == 0, "one tester held both, but never in one submission"


def test_a_study_of_several_submissions_agrees_with_least_squares_over_all_its_contrasts():
    # Independent solution: weighted least squares by the pseudo-inverse of the root of V, over steels' effects.
    rng = np.random.default_rng(8)
    estimates, ys, blocks, signs = [], [], [], []
    for name, pairs in (("one", [("a", "b"), ("a", "c")]), ("two", [("b", "c"), ("c", "d")]), ("three", [("a", "d")])):
        root = rng.normal(size=(len(pairs), len(pairs) + 2))
        V, y = root @ root.T, rng.normal(size=len(pairs))
        estimates.append(estimate(name, ["tern"], pairs, y.tolist(), V))
        ys.append(y), blocks.append(np.linalg.inv(np.linalg.cholesky(V)))
        signs.append(np.array([[(s == a) - (s == b) for s in "abcd"] for a, b in pairs], dtype=float))
    whitened = np.vstack([w @ s for w, s in zip(blocks, signs, strict=True)])
    effects = np.linalg.pinv(whitened) @ np.concatenate([w @ y for w, y in zip(blocks, ys, strict=True)])
    data = study_contrasts(estimates, cluster_numbers(estimates), 1.0)
    index = {steel: i for i, steel in enumerate("abcd")}
    wanted = [effects[index[a]] - effects[index[b]] for a, b in zip(data.first, data.second, strict=True)]
    assert data.y == pytest.approx(np.array(wanted), abs=1e-10)
    assert len(data.y) == 3


def test_a_network_that_falls_apart_says_so_and_gives_no_ratio_across():
    estimates = [estimate(f"s{i}", [f"t{i}"], [pair], [0.2 + 0.1 * i], [[0.1]]) for i, pair in enumerate([("a", "b"), ("c", "d")] * 3)]
    network = steel_networks(estimates, table())[KEY]
    assert pair(network, "a", "c") == UnlinkedPair("a", "c", "no chain of comparisons joins a and c")
    assert network.apart == "the comparisons fall into 2 groups that no comparison joins: a, b; c, d"
    assert pair(network, "a", "b").contrast.interval is not None


def test_a_steel_that_no_submission_can_tell_apart_stands_alone():
    told = [estimate(f"s{i}", [f"t{i}"], [("a", "b"), ("a", "c")], [0.2, 0.1 * i], np.eye(2) + 1) for i in range(4)]
    network = steel_networks([*told, estimate("mixed", ["z"], [("a", "d")], [None], np.zeros((0, 0)))], table())[KEY]
    assert network.steels == ("a", "b", "c", "d")
    assert network.apart == "the comparisons fall into 2 groups that no comparison joins: a, b, c; d"
    assert isinstance(pair(network, "a", "d"), UnlinkedPair)


def test_two_steels_are_no_network():
    assert steel_networks([estimate(f"s{i}", [f"t{i}"], [("a", "b")], [0.1], [[1.0]]) for i in range(5)], table()) == {}


def test_where_nothing_can_be_told_there_is_a_reason_and_no_fit():
    pairs = [("a", "b"), ("a", "c"), ("b", "c")]
    network = steel_networks([estimate("one", ["t"], pairs, [None] * 3, np.zeros((0, 0)))], table())[KEY]
    assert network == NoNetwork(*KEY, ("a", "b", "c"), "no submission can tell two steels apart")


@pytest.mark.parametrize(("studies", "looked"), [(9, False), (12, True)])
def test_direct_is_set_against_indirect_from_ten_studies(studies, looked):
    rng, loop = np.random.default_rng(5), [("a", "b"), ("a", "c"), ("b", "c")]
    estimates = [estimate(f"s{i}", [f"t{i}"], [loop[i % 3]], [rng.normal(0, 0.2)], [[0.04]]) for i in range(studies)]
    network = steel_networks(estimates, table())[KEY]
    assert all((one.split_p is not None) == looked for one in network.pairs)


def test_one_contrast_a_pair_leaves_the_ratio_without_an_interval():
    network = steel_networks([estimate("one", ["t"], [("a", "b"), ("a", "c")], [0.1, 0.3], np.eye(2) + 1)], table())[KEY]
    found = pair(network, "b", "c")
    assert found.contrast.interval is None
    assert code_of(found.contrast.reason) == "network.none_left_over"


def test_the_shortest_path_is_found_and_ties_go_by_name():
    links = [("a", "c"), ("a", "b"), ("b", "d"), ("c", "d"), ("d", "e"), ("x", "y")]
    assert shortest_path(links, "a", "e") == ("a", "b", "d", "e")
    assert shortest_path(links, "a", "x") == ()
