"""One model of all runs: known truth comes back, what cannot be told has no number, and published fits are reproduced."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pooling.designs import STEELS, TRUTH, labels_of_exchange, values_of
from scipy.stats import t as student_t

from edgehold.errors import InputError
from edgehold.pooling.crossed.censored import Centre, crossed_censored
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.new_hands import RUNS
from edgehold.pooling.crossed.results import NothingFitted
from edgehold.pooling.crossed.runs_design import OWN, checked_runs, fixed_part
from edgehold.pooling.crossed.runs_fit import fit_runs
from edgehold.pooling.crossed.runs_model import (
    RunsModelFitted,
    RunsModelNotFitted,
    SteelsEstimated,
    SteelsNotEstimated,
    VarianceBounded,
    VarianceEstimated,
    VarianceNotEstimable,
    runs_model,
)
from edgehold.pooling.crossed.working_values import fit_working, working_values
from edgehold.pooling.random_terms import terms_held

REFERENCE = Path(__file__).parents[1] / "reference"


def pair(model, first, second):
    return next(one for one in model.steels if (one.first, one.second) == (first, second))


def test_known_truth_comes_back_over_many_draws():
    labels, found, variances = labels_of_exchange(blades=8), [], {"sharpener": [], "residual": [], "tester": []}
    for seed in range(30):
        y = values_of(labels, seed)
        model = runs_model(y, y, labels, profile=False)
        one = pair(model, "s1", "s2").result
        found.append((one.estimate, one.interval.low < -0.3 < one.interval.high))
        for name in variances:
            variances[name].append(model.fit.variances[name])
        variances["tester"][-1] += model.fit.variances["submission"]  # two testers share one: part of them is taken for it
    estimates, covered = np.array(found).T
    assert estimates.mean() == pytest.approx(STEELS["s1"] - STEELS["s2"], abs=3 * estimates.std() / np.sqrt(30))
    assert covered.sum() >= 26  # P(fewer than 26 of 30 | .95) is under 1 %
    for name, drawn in variances.items():
        assert np.mean(drawn) == pytest.approx(TRUTH[name] ** 2, abs=3.5 * np.std(drawn) / np.sqrt(30))


def test_variances_of_people_are_given_with_intervals_that_hold_them_where_the_split_is_told():
    labels = labels_of_exchange(people=40, partners=4, blades=20)
    y = values_of(labels, 3)
    model = runs_model(y, y, labels)
    assert model.apart.split.verdict == "yes"
    for name in ("sharpener", "tester", "residual"):
        told = model.variances[name]
        assert told.interval.low <= told.variance <= told.interval.high
        assert told.interval.low <= TRUTH[name] ** 2 <= told.interval.high
    assert sum(one.share for one in model.variances.values() if isinstance(one, VarianceEstimated)) <= 1 + 1e-12


def test_everybody_sharpens_only_their_own_no_number_for_people_and_the_reason():
    labels = labels_of_exchange(people=10, partners=1, blades=6)
    y = values_of(labels, 0)
    model = runs_model(y, y, labels)
    for name in ("sharpener", "tester"):
        told = model.variances[name]
        assert isinstance(told, VarianceNotEstimable) and "cannot be told apart" in told.reason
    assert model.not_held[OWN] == "every edge was sharpened by its tester"
    assert model.own is None
    assert "tester" in model.variances["sharpener"].holds
    assert isinstance(pair(model, "s1", "s2"), SteelsEstimated)  # steels are met by the same hands all the same


def test_nobody_sharpens_their_own_is_a_reason_too():
    labels = labels_of_exchange(people=6, partners=3)
    rows = [i for i, (a, b) in enumerate(zip(labels["sharpener"], labels["tester"], strict=True)) if a != b]
    labels = {name: [column[i] for i in rows] for name, column in labels.items()}
    y = values_of(labels, 0)
    assert runs_model(y, y, labels, profile=False).not_held[OWN] == "no edge was sharpened by its tester"


def test_own_sharpening_planted_comes_back_where_it_can_be_told():
    labels = labels_of_exchange(people=20, partners=4, blades=8)
    own = np.array(labels["sharpener"]) == np.array(labels["tester"])
    y = values_of(labels, 5) + 0.4 * own
    told = runs_model(y, y, labels, profile=False).own
    assert told.interval.low < 0.4 < told.interval.high
    assert told.interval.low > 0


def test_steels_that_never_share_a_person_have_no_ratio():
    one, other = labels_of_exchange(4, steels=("s1",)), labels_of_exchange(4, steels=("s2",))
    labels = {name: one[name] + [f"{v}b" if name in ("sharpener", "tester", "submission") else v for v in other[name]] for name in one}
    y = values_of(labels, 1)
    told = pair(runs_model(y, y, labels), "s1", "s2")
    assert isinstance(told, SteelsNotEstimated) and told.told == "no"
    assert "no run links the two" in told.reason


def test_a_steel_cut_only_under_one_version_has_no_ratio():
    labels = labels_of_exchange(6, steels=("s1", "s2"))
    labels["version"] = ["1.1" if steel == "s2" else "1.0" for steel in labels["steel"]]
    y = values_of(labels, 1)
    model = runs_model(y, y, labels, profile=False)
    assert pair(model, "s1", "s2").told == "no"
    assert "steel s2" in model.not_held


def test_weak_split_gives_upper_limits_and_nothing_else():
    labels = labels_of_exchange(people=6, partners=2, blades=4)
    y = values_of(labels, 2)
    model = runs_model(y, y, labels)
    assert model.apart.split.verdict == "weak"
    for name in ("sharpener", "tester"):
        told = model.variances[name]
        assert isinstance(told, VarianceBounded) and told.upper > 0


def test_labels_alone_decide_whether_a_variance_is_given_whatever_was_read():
    """Chosen by the estimate, the intervals shown would be those of estimates that came out large."""
    labels = labels_of_exchange(people=24, partners=4, blades=8)
    runs = checked_runs(values_of(labels, 2), values_of(labels, 2), labels)
    cv = terms_held(runs.groups(), X=fixed_part(runs).X).cv
    assert cv["blade"] < 1 < cv["submission"]
    for seed in (2, 3):
        y = values_of(labels, seed, TRUTH | {"submission": 0.5 * seed})
        told = runs_model(y, y, labels, profile=False).variances
        for name in ("blade", "submission", "steel × tester", "steel × sharpener", "residual"):
            assert isinstance(told[name], VarianceBounded if cv[name] > 1 else VarianceEstimated)


def test_a_variance_at_zero_is_zero_with_its_upper_limit():
    labels = labels_of_exchange(people=40, partners=4, blades=20)
    y = values_of(labels, 8, TRUTH | {"tester": 0.0})
    told = runs_model(y, y, labels).variances["tester"]
    assert (told.variance, told.interval.low) == (0.0, 0.0)
    assert 0 < told.interval.high < 0.02


def test_two_fifths_known_to_one_side_only_is_not_fitted_and_says_how_many():
    labels = labels_of_exchange(people=10, partners=1)
    y = values_of(labels, 0)
    high = np.where(np.arange(len(y)) < 12, np.inf, y)
    model = runs_model(y, high, labels)
    assert isinstance(model, RunsModelNotFitted) and (model.runs, model.one_sided) == (30, 12)
    assert model.reason.startswith("known to one side only: 12 of 30 runs")
    assert all(isinstance(one, SteelsNotEstimated) for one in model.steels)


def test_a_few_known_to_one_side_only_stay_near_the_fit_of_all():
    labels = labels_of_exchange(people=8, partners=3, blades=6)
    y = values_of(labels, 4)
    cut = np.quantile(y, 0.9)
    low, high = np.minimum(y, cut), np.where(y > cut, np.inf, y)
    model, whole = runs_model(low, high, labels), runs_model(y, y, labels)
    assert (model.one_sided, model.fit.criterion) == (int((y > cut).sum()), "reml")
    a, b = pair(model, "s1", "s2").result, pair(whole, "s1", "s2").result
    assert a.estimate == pytest.approx(b.estimate, abs=0.5 * b.standard_error)
    assert model.variances["residual"].interval.low < 0.04 < model.variances["residual"].interval.high


def test_limits_by_normal_values_are_those_of_the_censored_likelihood():
    """Against the profile of the censored likelihood itself, which costs a hundred times as much; with 4 of 32 runs one-sided."""
    labels = labels_of_exchange(people=8, partners=2, blades=4, steels=("s1", "s2"))
    y = values_of(labels, 4, TRUTH | {"tester": 0.4})
    cut = np.quantile(y, 0.88)
    runs = checked_runs(np.minimum(y, cut), np.where(y > cut, np.inf, y), labels)
    X, groups = fixed_part(runs).X, {"tester": runs.tester}
    slow = crossed_censored(runs.low, runs.high, X, groups, criterion="ml").fit
    quick = fit_working(working_values(runs, X, groups, slow), X, groups, criterion="ml", profile=True)
    for name, interval in slow.variance_intervals.items():
        assert quick.variances[name] == pytest.approx(slow.variances[name], rel=0.01)
        assert quick.variance_intervals[name].low == pytest.approx(interval.low, rel=0.03)
        assert quick.variance_intervals[name].high == pytest.approx(interval.high, rel=0.03)
    np.testing.assert_allclose(quick.coefficients, slow.coefficients, atol=0.02 * slow.standard_errors.min())


def test_one_sided_runs_settle_where_the_censored_likelihood_has_its_maximum():
    """Coefficients against those of the censored likelihood itself, by quadrature; variances are larger, as restricted ones are."""
    labels = labels_of_exchange(people=8, partners=2, blades=4, steels=("s1", "s2"))
    y = values_of(labels, 4, TRUTH | {"tester": 0.4})
    cut = np.quantile(y, 0.88)
    runs = checked_runs(np.minimum(y, cut), np.where(y > cut, np.inf, y), labels)
    X = fixed_part(runs).X
    slow = crossed_censored(runs.low, runs.high, X, {"tester": runs.tester}, criterion="ml", profile=False).fit
    settled = fit_runs(runs, X, ("tester",))
    assert settled.fit.criterion == "reml" and settled.values.extra is not None
    np.testing.assert_allclose(settled.fit.coefficients, slow.coefficients, atol=0.1 * slow.standard_errors.min())
    n, p = X.shape
    assert settled.fit.variances["residual"] == pytest.approx(slow.variances["residual"] * n / (n - p), rel=0.1)
    assert settled.fit.variances["tester"] > slow.variances["tester"]


def test_a_column_that_no_chosen_run_has_leaves_the_others_told():
    """As where an endpoint has values of some runs only, of a pool whose readings stand in one model."""
    labels = labels_of_exchange(people=8, partners=3, blades=6)
    runs = checked_runs(np.zeros(len(labels["steel"])), np.zeros(len(labels["steel"])), labels)
    whole = fixed_part(runs)
    kept = runs.steel != "s3"
    some = replace(whole, X=whole.X[kept], full=whole.full[kept])
    assert whole.steel_contrast("s1", "s3") is not None
    assert some.steel_contrast("s1", "s3") is None and some.steel_contrast("s1", "s2") is not None


@pytest.mark.parametrize("seed", range(3))
def test_sites_of_many_one_sided_runs_are_those_found_one_after_the_other(seed, monkeypatch):
    labels = labels_of_exchange(people=12, partners=3, blades=6)
    y = values_of(labels, seed)
    cut, least = np.quantile(y, [0.75, 0.05])
    low, high = np.where(y < least, -np.inf, np.minimum(y, cut)), np.where(y > cut, np.inf, np.maximum(y, least))
    high[:9] = np.where(np.isfinite(high[:9]) & np.isfinite(low[:9]), high[:9] + 0.05, high[:9])  # intervals, too
    runs = checked_runs(low, high, labels)
    X, groups = fixed_part(runs).X, {name: runs.groups()[name] for name in ("tester", "sharpener", "blade")}
    fit = Centre(np.linalg.lstsq(X, y, rcond=None)[0], {"tester": 0.05, "sharpener": 0.0, "blade": 0.02, "residual": 0.06})
    one_by_one = working_values(runs, X, groups, fit)
    monkeypatch.setattr(sys.modules[working_values.__module__], "MANY", 0)
    together = working_values(runs, X, groups, fit)
    np.testing.assert_allclose(together.y, one_by_one.y, atol=1e-3)
    np.testing.assert_allclose(together.extra, one_by_one.extra, rtol=1e-3)


def test_a_coefficient_that_one_sided_runs_alone_tell_is_not_fitted():
    labels = labels_of_exchange(people=10, partners=2, steels=("s1", "s2"))
    y, of_first = values_of(labels, 4), np.array(labels["steel"]) == "s1"
    few = np.flatnonzero(of_first)[: len(y) // 5]
    keep = np.concatenate([np.flatnonzero(~of_first), few])
    chosen = {name: np.array(column, dtype=object)[keep].tolist() for name, column in labels.items()}
    runs = checked_runs(y[keep], np.where(of_first[keep], np.inf, y[keep]), chosen)
    found = fit_runs(runs, fixed_part(runs).X, ("tester",))
    assert found.values is None and isinstance(found.fit, NothingFitted)
    assert "every life that tells one of the coefficients is censored" in found.fit.reason


def test_intervals_stand_as_midpoints_and_a_narrow_one_changes_next_to_nothing():
    labels = labels_of_exchange(people=8, partners=2)
    y = values_of(labels, 4)
    exact, close = runs_model(y, y, labels, profile=False), runs_model(y - 0.001, y + 0.001, labels, profile=False)
    assert close.fit.criterion == "reml"
    assert pair(close, "s1", "s2").result.estimate == pytest.approx(pair(exact, "s1", "s2").result.estimate, abs=1e-4)


def test_the_unit_of_work_changes_no_ratio_and_no_spread():
    labels = labels_of_exchange(people=8, partners=2)
    y = values_of(labels, 6)
    plain, moved = (runs_model(y + shift, y + shift, labels) for shift in (0.0, np.log(304.8)))
    for a, b in zip(plain.steels, moved.steels, strict=True):
        assert a.result.estimate == pytest.approx(b.result.estimate, abs=1e-7)
        assert a.result.standard_error == pytest.approx(b.result.standard_error, rel=1e-6)
        assert a.new_hands.standard_error == pytest.approx(b.new_hands.standard_error, rel=1e-6)
    for name, told in plain.variances.items():
        other = moved.variances[name]
        assert type(told) is type(other)
        if isinstance(told, VarianceEstimated):
            assert told.interval.high == pytest.approx(other.interval.high, rel=1e-4)
        if isinstance(told, VarianceBounded):
            assert told.upper == pytest.approx(other.upper, rel=1e-4)


def test_relabelling_people_and_shuffling_runs_changes_nothing():
    labels = labels_of_exchange(people=8, partners=2)
    y = values_of(labels, 6)
    order = np.random.default_rng(1).permutation(len(y))
    other = {name: [f"x{v}" if name in ("sharpener", "tester") else v for v in np.array(column, dtype=object)[order]]
             for name, column in labels.items()}  # fmt: skip
    plain, moved = runs_model(y, y, labels, profile=False), runs_model(y[order], y[order], other, profile=False)
    assert pair(plain, "s1", "s3").result.estimate == pytest.approx(pair(moved, "s1", "s3").result.estimate, abs=1e-7)


def test_penicillin_with_plates_as_testers_and_samples_as_sharpeners():
    """Davies & Goldsmith 1972, 6.6, as fitted by lme4; one steel, one blade, one submission, which all drop out with a reason."""
    data = json.loads((REFERENCE / "penicillin.json").read_text())
    wanted = next(fit for fit in data["fits"] if fit["id"] == "reml")["values"]
    y, n = data["columns"]["diameter"], len(data["columns"]["diameter"])
    labels = {"steel": ["s"] * n, "blade": ["b"] * n, "submission": ["u"] * n}
    labels |= {"sharpener": data["columns"]["sample"], "tester": data["columns"]["plate"]}
    model = runs_model(y, y, labels)
    assert model.terms == ("sharpener", "tester")
    assert {"blade", "submission", "steel × sharpener", "steel × tester"} <= set(model.not_held)
    for ours, theirs in (("tester", "plate"), ("sharpener", "sample"), ("residual", "residual")):
        assert model.fit.variances[ours] == pytest.approx(wanted["variances"][theirs], rel=1e-5)
        assert isinstance(model.variances[ours], VarianceEstimated)
    assert model.fit.log_likelihood == pytest.approx(wanted["log_likelihood"], abs=1e-6)


def test_machines_with_workers_who_sharpen_and_test():
    """Milliken & Johnson 1992, ch. 23, as fitted by lme4; df (3 − 1)(6 − 1) of the balanced table.

    The machines stand for steels; their blades are named so that the partition of runs by blade is that of machine × worker.
    """
    data = json.loads((REFERENCE / "machines_gauge_rr.json").read_text())
    wanted = next(fit for fit in data["fits"] if fit["id"] == "mixed")["values"]
    columns, n = data["columns"], len(data["columns"]["score"])
    labels = {"steel": columns["Machine"], "submission": ["u"] * n}
    labels |= {"sharpener": columns["Worker"], "tester": columns["Worker"]}
    labels |= {"blade": [f"{machine} {worker}" for machine, worker in zip(columns["Machine"], columns["Worker"], strict=True)]}
    model = runs_model(columns["score"], columns["score"], labels)
    assert len(model.terms) == 2 and model.terms[0] == "sharpener"
    (cell,) = model.terms[1:]
    assert model.fit.variances["sharpener"] == pytest.approx(wanted["variances"]["worker"], rel=1e-5)
    assert model.fit.variances[cell] == pytest.approx(wanted["variances"]["cell"], rel=1e-5)
    assert isinstance(model.variances["sharpener"], VarianceNotEstimable)
    assert model.variances[cell].holds.count("suit each other") == 2
    told = pair(model, "A", "B").result
    assert -told.estimate == pytest.approx(wanted["coefficients"][1], rel=1e-6)
    assert told.standard_error == pytest.approx(wanted["standard_errors"][1], rel=1e-6)
    assert told.df == pytest.approx(10, rel=1e-6)


def test_new_hands_add_what_is_drawn_anew_and_measuring_adds_the_runs():
    labels = labels_of_exchange(people=12, blades=3)
    y = values_of(labels, 2)
    model = runs_model(y, y, labels, profile=False)
    one, v = pair(model, "s1", "s2"), model.fit.variances
    anew = 2 * (v["blade"] + v["steel × tester"] + v["steel × sharpener"])
    assert one.new_hands.standard_error**2 == pytest.approx(one.result.standard_error**2 + anew, rel=1e-9)
    read = one.new_hands.standard_error**2 + 2 * v["residual"] / RUNS
    assert one.new_hands_measured.standard_error**2 == pytest.approx(read, rel=1e-9)
    widths = [x.high - x.low for x in (one.result.interval, one.new_hands.interval, one.new_hands_measured.interval)]
    assert widths == sorted(widths)
    assert 1 <= one.new_hands.df <= model.runs - 3


def test_one_blade_a_steel_tells_no_steels_apart_and_nothing_for_new_hands():
    labels = labels_of_exchange(people=12, blades=1)
    y = values_of(labels, 2)
    model = runs_model(y, y, labels, profile=False)
    assert "blade" in model.not_held
    assert isinstance(model, RunsModelFitted) and len(model.steels) == 3
    for one in model.steels:
        assert isinstance(one, SteelsNotEstimated) and one.told == "no" and "single blade" in one.reason


def test_one_steel_with_a_single_blade_loses_its_own_pairs_and_no_other():
    labels = labels_of_exchange(people=12, blades=3)
    labels["blade"] = ["s3.0" if blade.startswith("s3") else blade for blade in labels["blade"]]
    y = values_of(labels, 2)
    model = runs_model(y, y, labels, profile=False)
    assert {(one.first, one.second): isinstance(one, SteelsEstimated) for one in model.steels} == {
        ("s1", "s2"): True,
        ("s1", "s3"): False,
        ("s2", "s3"): False,
    }


def test_simultaneous_intervals_are_wider_and_one_pair_alone_keeps_its_own():
    labels = labels_of_exchange(people=8, blades=3)
    y = values_of(labels, 2)
    for one in runs_model(y, y, labels, profile=False).steels:
        assert one.simultaneous.low < one.result.interval.low < one.result.interval.high < one.simultaneous.high
    two = labels_of_exchange(people=8, blades=3, steels=("s1", "s2"))
    y = values_of(two, 2)
    alone = runs_model(y, y, two, profile=False).steels[0]
    half = alone.result.standard_error * student_t.ppf(0.975, alone.result.df)
    assert alone.simultaneous.high - alone.result.estimate == pytest.approx(half, rel=0.01)


def test_steels_typical_takes_the_sampling_variance_out():
    labels = labels_of_exchange(people=20, partners=4, blades=10)
    same = dict.fromkeys(STEELS, 0.0)
    drawn = [runs_model(y, y, labels, profile=False).steels_typical for y in (values_of(labels, seed, steels=same) for seed in range(12))]
    assert np.median(drawn) < 0.05  # without, it would be about the standard error of a difference, 0.09
    far = {"s1": 0.0, "s2": 0.5, "s3": 1.0}
    y = values_of(labels, 0, steels=far)
    assert runs_model(y, y, labels, profile=False).steels_typical == pytest.approx(0.5, abs=0.2)
    two = labels_of_exchange(steels=("s1", "s2"))
    y = values_of(two, 0)
    assert runs_model(y, y, two, profile=False).steels_typical is None


def test_unknown_steels_stand_in_the_fit_but_in_no_pair():
    labels = labels_of_exchange(people=8)
    labels["steel"] = [None if blade == "s3.1" else steel for steel, blade in zip(labels["steel"], labels["blade"], strict=True)]
    y = np.random.default_rng(0).normal(size=len(labels["blade"]))
    model = runs_model(y, y, labels, profile=False)
    assert [(one.first, one.second) for one in model.steels] == [("s1", "s2"), ("s1", "s3"), ("s2", "s3")]
    assert model.runs == len(y)


@pytest.mark.parametrize("n", [1, 2, 3])
def test_a_handful_of_runs_has_a_reason_and_no_crash(n):
    labels = {name: column[:n] for name, column in labels_of_exchange().items()}
    y = values_of(labels, 0)
    model = runs_model(y, y, labels)
    assert isinstance(model, RunsModelNotFitted) and model.reason


def test_no_runs_and_runs_all_alike_have_reasons():
    labels = labels_of_exchange(people=4)
    nothing = runs_model([], [], {name: [] for name in labels})
    assert isinstance(nothing, RunsModelNotFitted) and nothing.reason == "there are no runs with a value"
    flat = np.ones(len(labels["steel"]))
    assert "exactly" in runs_model(flat, flat, labels).reason


def test_a_mistake_of_the_caller_is_told_with_what_was_got():
    labels = labels_of_exchange(people=4)
    y = values_of(labels, 0)
    with pytest.raises(InputError, match=r"labels must hold .*; got"):
        runs_model(y, y, {name: column for name, column in labels.items() if name != "blade"})
    with pytest.raises(InputError, match="low must not exceed high"):
        runs_model(y + 1, y, labels)
    with pytest.raises(InputError, match="one entry a run"):
        runs_model(y, y, labels | {"tester": labels["tester"][1:]})
    with pytest.raises(InputError, match="every run needs a tester"):
        runs_model(y, y, labels | {"tester": [None, *labels["tester"][1:]]})


def test_uncertainty_of_variances_keeps_its_digits_beside_small_known_variances():
    """A residual as a term of its own beside a known V a fifth of it, 200 unknowns and more: against dense matrices."""
    labels = labels_of_exchange(people=30, partners=3, blades=12)
    y = values_of(labels, 1, TRUTH | {"blade": 0.0, "steel × tester": 0.0})
    runs = checked_runs(y, y, labels)
    groups, X = runs.groups(), fixed_part(runs).X
    groups = {name: groups[name] for name in ("sharpener", "tester", "blade", "steel × tester")} | {"residual": np.arange(len(y))}
    V = np.full(len(y), 0.008)
    fit = crossed(y, X, groups, V=V, profile=False)
    Z = [(np.unique(v, return_inverse=True)[1][:, None] == np.arange(len(np.unique(v)))).astype(float) for v in groups.values()]
    S = np.diag(V) + sum(s * z @ z.T for s, z in zip(fit.variances.values(), Z, strict=True))
    inverse = np.linalg.inv(S)
    P = inverse - inverse @ X @ np.linalg.solve(X.T @ inverse @ X, X.T @ inverse)
    W = np.linalg.inv([[0.5 * ((a.T @ P @ b) ** 2).sum() for b in Z] for a in Z])
    np.testing.assert_allclose(np.sqrt(np.diag(fit.variance_covariance)), np.sqrt(np.diag(W)), rtol=0.05)


def test_fit_runs_takes_the_uncertainty_of_variances_at_zero_into_the_degrees_of_freedom():
    """The censored likelihood alone keeps no uncertainty for a variance at zero; the fit of all runs does."""
    labels = labels_of_exchange(people=10, partners=2, blades=4)
    y = values_of(labels, 3, TRUTH | {"blade": 0.0})
    cut = np.quantile(y, 0.9)
    runs = checked_runs(np.minimum(y, cut), np.where(y > cut, np.inf, y), labels)
    fit = fit_runs(runs, fixed_part(runs).X, ("sharpener", "tester", "blade")).fit
    assert (np.diag(fit.variance_covariance) > 0).all()
