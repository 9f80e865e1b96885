"""Further runs: every step against refitting with each run in turn."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.errors import InputError
from edgehold.pooling.exchanges import best_exchanges
from edgehold.pooling.separability import separability

VARIANCES = {"sharpener": 0.04, "tester": 0.06, "blade": 0.015, "steel × sharpener": 0.01, "steel × tester": 0.02, "residual": 0.09}


def random_runs(seed: int, n: int = 14, people: int = 4) -> dict[str, list[str]]:
    rng = np.random.default_rng(seed)
    blade = rng.integers(0, 5, n)
    blade[:2] = 0, 1
    return {
        "blade": [f"b{b}" for b in blade],
        "steel": [f"s{b % 2}" for b in blade],
        "sharpener": [f"p{i}" for i in rng.integers(0, people, n)],
        "tester": [f"p{i}" for i in rng.integers(0, people, n)],
    }


def dense_covariance(labels, variances) -> np.ndarray:
    """The covariance of the runs, written out."""
    columns = dict(labels)
    for who in ("sharpener", "tester"):
        columns[f"steel × {who}"] = [f"{a}/{b}" for a, b in zip(labels["steel"], labels[who], strict=True)]
    v = variances["residual"] * np.eye(len(labels["steel"]))
    for name in variances.keys() - {"residual"}:
        column = np.array(columns[name])
        v += variances[name] * (column[:, None] == column[None, :])
    return v


def steels(labels) -> np.ndarray:
    return (np.array(labels["steel"])[:, None] == np.unique(labels["steel"])).astype(float)


def dense_steel_variance(labels, variances) -> float:
    """Generalised least squares."""
    x, c = steels(labels), np.array([1.0, -1.0])
    return float(c @ np.linalg.inv(x.T @ np.linalg.solve(dense_covariance(labels, variances), x)) @ c)


def dense_prediction_variance(labels, variances, who, first, second) -> float:
    """Var(u₁ − u₂ | y) with the steels estimated: Λ − ΛZᵀPZΛ."""
    x, vi = steels(labels), np.linalg.inv(dense_covariance(labels, variances))
    p = vi - vi @ x @ np.linalg.inv(x.T @ vi @ x) @ x.T @ vi
    z = (np.array(labels[who]) == first).astype(float) - (np.array(labels[who]) == second)
    return float(2 * variances[who] - variances[who] ** 2 * z @ p @ z)


def with_run(labels, run):
    steel = dict(zip(labels["blade"], labels["steel"], strict=True))
    blade, sharpener, tester = run
    more = {"blade": blade, "sharpener": sharpener, "tester": tester, "steel": steel[blade]}
    return {name: [*labels[name], more[name]] for name in labels}


def all_runs(labels):
    return list(product(*(sorted(set(labels[name])) for name in ("blade", "sharpener", "tester"))))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6))
def test_each_chosen_run_is_the_best_of_all_refits(seed):
    labels = random_runs(seed)
    plan = best_exchanges(labels, ("steel", "s0", "s1"), VARIANCES, 3)
    assert plan.criterion == pytest.approx(dense_steel_variance(labels, VARIANCES), rel=1e-9)
    for run in plan.runs:
        best = min(dense_steel_variance(with_run(labels, other), VARIANCES) for other in all_runs(labels))
        before = dense_steel_variance(labels, VARIANCES)
        labels = with_run(labels, (run.blade, run.sharpener, run.tester))
        after = dense_steel_variance(labels, VARIANCES)
        assert run.criterion == pytest.approx(after, rel=1e-9)
        assert after == pytest.approx(best, rel=1e-8)
        assert run.gain == pytest.approx(1 - after / before, abs=1e-9)


def test_a_difference_of_two_sharpeners_is_that_of_their_predictions():
    labels = random_runs(3)
    plan = best_exchanges(labels, ("sharpener", "p0", "p1"), VARIANCES, 1)
    assert plan.criterion == pytest.approx(dense_prediction_variance(labels, VARIANCES, "sharpener", "p0", "p1"), rel=1e-9)
    refits = [dense_prediction_variance(with_run(labels, run), VARIANCES, "sharpener", "p0", "p1") for run in all_runs(labels)]
    assert plan.runs[0].criterion == pytest.approx(min(refits), rel=1e-9)


def dense_split(labels) -> tuple[int, float]:
    """Rank and Σ1/e as separability has them, from the labels with the steels left out."""
    found = separability({name: labels[name] for name in ("sharpener", "tester")}).contrasts["sharpener"]
    e = found.efficiencies[found.efficiencies > 0]
    return found.rank, float((1 / e).sum())


@pytest.mark.parametrize("seed", [*range(2), *(pytest.param(seed, marks=pytest.mark.long) for seed in range(2, 12))])
@pytest.mark.parametrize("scattered", [False, True])
def test_each_run_for_the_split_raises_the_rank_first_and_then_the_efficiencies(seed, scattered):
    labels = random_runs(seed, n=7 if scattered else 16)
    plan = best_exchanges(labels, ("split",), count=3)
    assert (plan.rank, plan.criterion) == (dense_split(labels)[0], pytest.approx(dense_split(labels)[1], rel=1e-8))
    for run in plan.runs:
        refits = [dense_split(with_run(labels, other)) for other in all_runs(labels)]
        rank = max(rank for rank, _ in refits)
        best = min(total for found, total in refits if found == rank)
        labels = with_run(labels, (run.blade, run.sharpener, run.tester))
        assert run.rank == rank
        assert run.criterion == pytest.approx(best, rel=1e-7)


def test_four_people_who_only_test_their_own_edges_are_joined_by_three_runs():
    labels = {"blade": list("abcd") * 3, "sharpener": list("wxyz") * 3, "tester": list("wxyz") * 3}
    plan = best_exchanges(labels, ("split",), count=4)
    assert [plan.rank, *[run.rank for run in plan.runs]] == [0, 1, 2, 3, 3]
    assert [run.gain is None for run in plan.runs] == [True, True, True, False]
    assert all(run.sharpener != run.tester for run in plan.runs[:3])
    assert all(run.blade == dict(zip("wxyz", "abcd", strict=True))[run.sharpener] for run in plan.runs)


def test_the_assumed_variances_stand_in_the_result():
    labels = random_runs(1)
    plan = best_exchanges(labels, ("steel", "s0", "s1"), {"sharpener": 0.5, "steel × tester": 0}, 1)
    assert plan.variances["sharpener"] == 0.5 and plan.variances["residual"] == 0.09
    assert "steel × tester" not in plan.variances


def test_only_runs_that_can_be_had_are_chosen():
    labels = random_runs(2)
    possible = [("b0", "p1", "p2"), ("b1", "p3", "p0")]
    for target in (("steel", "s0", "s1"), ("split",)):
        plan = best_exchanges(labels, target, count=4, candidates=possible)
        assert {(run.blade, run.sharpener, run.tester) for run in plan.runs} <= set(possible)
        assert plan.candidates == 2


def test_one_person_in_a_role_and_runs_that_join_nobody_are_reasons():
    alone = {"blade": list("aabb"), "sharpener": list("wwww"), "tester": list("wxyz")}
    plan = best_exchanges(alone, ("split",))
    assert plan.runs == () and "only one sharpener" in plan.reason
    own = {"blade": list("abc"), "sharpener": list("xyz"), "tester": list("xyz")}
    plan = best_exchanges(own, ("split",), candidates=[("a", "x", "x")])
    assert plan.runs == () and "none of these runs would join" in plan.reason


def test_forty_people_are_searched_in_seconds():
    people = np.arange(40).repeat(4).astype(str)
    plan = best_exchanges({"blade": people, "sharpener": people, "tester": people}, ("split",), count=1)
    assert plan.runs[0].rank == 1
    assert "joining pairs" in plan.method


@pytest.mark.parametrize(
    ("change", "target", "count", "message"),
    [
        ({}, ("steel", "s0", "s9"), 1, "a steel must be one of .*; got 's9'"),
        ({}, ("angle", "a", "b"), 1, "target must be"),
        ({}, ("steel", "s0", "s0"), 1, "target must be"),
        ({}, ("split",), 0, "count must be at least 1"),
        ({"lot": ["x"] * 14}, ("split",), 1, "labels must name"),
        ({"steel": [f"s{i % 2}" for i in range(14)], "blade": ["b0"] * 14}, ("split",), 1, "a blade has one steel"),
    ],
)
def test_a_callers_mistake_is_named(change, target, count, message):
    with pytest.raises(InputError, match=message):
        best_exchanges(random_runs(5) | change, target, count=count)


def test_a_candidate_nobody_has_seen_is_refused():
    with pytest.raises(InputError, match="seen in the runs"):
        best_exchanges(random_runs(5), ("split",), candidates=[("b0", "p0", "stranger")])
