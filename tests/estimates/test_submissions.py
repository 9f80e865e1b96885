"""One submission: which contrasts it can tell, how sure they are, and what it says when it cannot."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from edgehold.errors import InputError
from edgehold.estimates import ContrastBounded, ContrastEstimated, ContrastNotEstimable, estimate_submissions, repeatability_table
from edgehold.estimates.least_squares import reml_variance

from .rows import make_protocols, make_rows


def estimated(rows, protocols=None):
    protocols = protocols or make_protocols()
    return estimate_submissions(rows, repeatability_table(rows, protocols), protocols)


def contrast(estimate, factor, first, second):
    found = [c for c in estimate.contrasts if (c.factor, c.first, c.second) == (factor, first, second)]
    assert len(found) == 1
    return found[0]


# NIST Statistical Reference Datasets, analysis of variance, SiRstv: resistivity of silicon, 5 instruments, 5 times
SILICON = {
    "inst-1": (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    "inst-2": (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    "inst-3": (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    "inst-4": (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    "inst-5": (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
}
CERTIFIED_RESIDUAL_SD, CERTIFIED_F = 0.104076068334656, 1.18046237440255


def test_one_factor_gives_the_certified_residual_sd_and_f_of_nist():
    values = [value for row in SILICON.values() for value in row]
    rows = make_rows(values, sharpener=[name for name in SILICON for _ in range(5)])
    result = estimated(rows)[0]
    assert result.df_own == 20
    assert math.sqrt(result.s2_own) == pytest.approx(CERTIFIED_RESIDUAL_SD, rel=1e-10)
    against_last = [c for c in result.contrasts if c.factor == "sharpener" and c.second == "inst-5"]
    at = [[c for c in result.contrasts if isinstance(c, ContrastEstimated)].index(c) for c in against_last]
    d, v = np.array([c.estimate for c in against_last]), result.covariance[np.ix_(at, at)]
    assert d @ np.linalg.solve(v, d) / 4 == pytest.approx(CERTIFIED_F, rel=1e-9)


# Two factors without replication, 6 x 4: the worked example of the Igor Pro manual (StatsANOVA2NRTest).
TWO_WAY = [
    (4.04, 5.08, 2.83, 3.06), (4.91, 4.68, 3.17, 2.71), (2.94, 1.90, 1.61, 2.02),
    (5.95, 5.26, 4.85, 4.45), (3.90, 4.85, 2.69, 2.93), (5.72, 5.14, 4.39, 3.29),
]  # fmt: skip


def test_two_factors_give_the_printed_remainder_and_plain_differences_of_means():
    cells = [(f"b{i}", f"p{j}", x) for i, row in enumerate(TWO_WAY) for j, x in enumerate(row)]
    blades, sharpeners, values = (list(column) for column in zip(*cells, strict=True))
    result = estimated(make_rows(values, blade=blades, sharpener=sharpeners))[0]
    assert (result.df_own, result.s2_own) == (15, pytest.approx(0.260811, abs=5e-7))
    found = contrast(result, "sharpener", "p0", "p3")
    means = np.mean(TWO_WAY, axis=0)
    assert found.estimate == pytest.approx(means[0] - means[3])
    assert found.standard_error == pytest.approx(math.sqrt(0.260811 * 2 / 6), rel=1e-5)


def unbalanced():
    """Three blades of two steels, three sharpeners, two testers, two evenings, not balanced."""
    blade = "aabbccabcabc"
    sharpener = "ppqqrrqrpppq"
    tester = "xyxyxyxyyxxy"
    values = np.random.default_rng(6).normal(size=12)
    steel = {"a": "demo-one", "b": "demo-one", "c": "demo-two"}
    return make_rows(
        values.tolist(), blade=list(blade), sharpener=list(sharpener), tester=list(tester),
        steel=[steel[b] for b in blade], evening=[1] * 6 + [2] * 6,
        sharpening=[{"p": "novice", "q": "practised", "r": "professional"}[s] for s in sharpener],
    )  # fmt: skip


def by_numpy(rows, columns, weights):
    """Contrast, unscaled variance, s² and df by numpy's least squares on full-rank columns made by hand."""
    x = [np.ones(len(rows))]
    for name in columns:
        labels = [getattr(row, name) for row in rows]
        x += [np.array([label == level for label in labels], float) for level in sorted(set(labels))[1:]]
    x = np.column_stack(x)
    y = np.array([row.low for row in rows])
    b, rss, _, _ = np.linalg.lstsq(x, y, rcond=None)
    c = np.array(weights)
    return c @ b, c @ np.linalg.inv(x.T @ x) @ c, rss[0] / (len(y) - x.shape[1]), len(y) - x.shape[1]


def test_an_unbalanced_submission_agrees_with_numpy_least_squares():
    rows = unbalanced()
    result = estimated(rows)[0]
    columns = ("blade", "sharpener", "tester", "evening")
    cases = {  # intercept, blade b c, sharpener q r, tester y, evening 2
        ("steel", "demo-one", "demo-two"): [0, 0.5, -1, 0, 0, 0, 0],
        ("blade", "a", "c"): [0, 0, -1, 0, 0, 0, 0],
        ("sharpener", "q", "r"): [0, 0, 0, 1, -1, 0, 0],
        ("practice", "practised", "novice"): [0, 0, 0, 0.5, 0.5, 0, 0],
    }
    for key, weights in cases.items():
        estimate, unscaled, s2, df = by_numpy(rows, columns, weights)
        found = contrast(result, *key)
        assert found.estimate == pytest.approx(estimate, abs=1e-10)
        assert found.unscaled_variance == pytest.approx(unscaled, rel=1e-10)
        assert (result.s2_own, result.df_own) == (pytest.approx(s2), df)
        assert found.standard_error == pytest.approx(math.sqrt(result.s2 * unscaled))
        half = t_distribution.ppf(0.975, result.df) * found.standard_error
        assert found.interval.low == pytest.approx(estimate - half)
        assert found.interval.high == pytest.approx(estimate + half)
    assert contrast(result, "practice", "practised", "novice").sharpener_loading == pytest.approx(1.5)
    steel = contrast(result, "steel", "demo-one", "demo-two")
    assert (steel.blades_first, steel.blades_second, steel.runs_first, steel.runs_second) == (2, 1, 8, 4)


def test_the_covariance_is_that_of_the_estimates():
    """Var(a − c) = Var((a − b) + (b − c)), read off the matrix."""
    result = estimated(unbalanced())[0]
    names = [(c.factor, c.first, c.second) for c in result.contrasts if isinstance(c, ContrastEstimated)]
    at = [names.index(("blade", *pair)) for pair in ("ab", "bc", "ac")]
    v = result.covariance
    assert v.shape == (len(names), len(names))
    assert v[at[2], at[2]] == pytest.approx(v[at[0], at[0]] + v[at[1], at[1]] + 2 * v[at[0], at[1]])
    for i, c in enumerate(c for c in result.contrasts if isinstance(c, ContrastEstimated)):
        assert c.standard_error == pytest.approx(math.sqrt(v[i, i]))


def test_the_order_of_rows_changes_nothing():
    rows = unbalanced()
    one, other = estimated(rows)[0], estimated(rows[::-1])[0]
    for a, b in zip(one.contrasts, other.contrasts, strict=True):
        assert (a.factor, a.first, a.second) == (b.factor, b.first, b.second)
        assert a.estimate == pytest.approx(b.estimate, abs=1e-12)


def test_the_sharpener_who_always_tests_cannot_be_told_from_the_tester():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("abab"), sharpener=list("ppqq"), tester=list("ppqq"))
    found = contrast(estimated(rows)[0], "sharpener", "p", "q")
    assert found.reason == "who sharpened and who tested change together in these runs and cannot be told apart"
    assert isinstance(found, ContrastNotEstimable)
    assert isinstance(contrast(estimated(rows)[0], "blade", "a", "b"), ContrastEstimated)


def test_everything_that_changes_together_is_named():
    people = {"sharpener": list("ppqq"), "tester": list("xxyy"), "evening": [1, 1, 2, 2]}
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("aabb"), **people)
    reason = contrast(estimated(rows)[0], "blade", "a", "b").reason
    assert reason == ("the blade and who sharpened and who tested and the evening change together in these runs and cannot be told apart")


# situations: "steel and angle move together"
def test_steel_and_angle_that_move_together_give_no_ratio_where_the_angle_is_held_equal():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("aabb"), steel=list("sstt"))
    rows = [replace(row, angle_deg=15.0 if row.blade == "a" else 20.0) for row in rows]
    held = estimated(rows, make_protocols(estimand="same stone and angle"))[0]
    found = contrast(held, "steel", "s", "t")
    assert isinstance(found, ContrastNotEstimable)
    assert found.reason == "the steel and the edge angle change together in these runs and cannot be told apart"
    assert isinstance(contrast(estimated(rows)[0], "steel", "s", "t"), ContrastEstimated), "angle is part of a total difference"


# situations: "heel sharpened by one, tip by the other"
def test_two_people_on_two_parts_of_an_edge_cannot_be_told_apart_unless_swapped():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], sharpener=list("ppqq"), edge_part=["heel", "heel", "tip", "tip"])
    assert "the part of the edge" in contrast(estimated(rows)[0], "sharpener", "p", "q").reason
    swapped = make_rows([0.1, 0.2, 0.5, 0.4], sharpener=list("ppqq"), edge_part=["heel", "tip", "heel", "tip"])
    assert isinstance(contrast(estimated(swapped)[0], "sharpener", "p", "q"), ContrastEstimated)


# situations: "one blade a steel"
def test_one_blade_of_a_steel_is_counted_as_one():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("aabb"), steel=list("sstt"))
    found = contrast(estimated(rows)[0], "steel", "s", "t")
    assert (found.blades_first, found.blades_second) == (1, 1)


def test_steels_that_are_not_known_are_compared_as_blades_only():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("aabb"))
    assert [c.factor for c in estimated(rows)[0].contrasts] == ["blade"]


def test_an_arm_without_a_usable_run_says_so():
    rows = make_rows([0.1, 0.2, None, None], blade=list("aabb"), steel=list("sstt"))
    result = estimated(rows)[0]
    assert contrast(result, "steel", "s", "t").reason == "no usable run of t"
    assert (result.runs_total, result.runs_used, result.runs_missing) == (4, 2, 2)


def test_a_submission_without_any_value_is_a_result_with_reasons():
    result = estimated(make_rows([None, None], blade=list("ab")))[0]
    assert contrast(result, "blade", "a", "b").reason == "no usable run of a or b"
    assert result.covariance.shape == (0, 0)
    assert result.method == "not fitted: no usable run"


# situations: "two testers in one run"
def test_a_run_with_two_testers_is_left_out_and_counted():
    rows = make_rows([0.1, 0.2, 0.5, 9.0], blade=list("aabb"), split_tester=[False, False, False, True])
    result = estimated(rows)[0]
    assert (result.runs_used, result.runs_missing) == (3, 1)
    assert "1 run with two testers left out" in result.method


def test_evenings_of_one_run_each_stay_in_the_run_to_run_variation():
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("abab"), evening=[1, 2, 3, 4])
    result = estimated(rows)[0]
    assert result.df_own == 2
    assert "too few runs per evening" in result.method


def test_without_replicates_the_variance_is_borrowed_with_finite_df_and_said_so():
    alone = make_rows([0.1, 0.5], blade=list("ab"))
    assert (estimated(alone)[0].df, estimated(alone)[0].s2) == (4, pytest.approx(0.0625))
    assert "as the protocol assumes it" in estimated(alone)[0].method
    other = make_rows([0.1, 0.3, 0.0, 0.2], "two", blade=list("aabb"))
    result = estimated(alone + other)[0]
    assert (result.df, result.s2) == (2, pytest.approx(0.02))
    assert "no replicates of its own" in result.method


@pytest.mark.parametrize(("runs", "ratio"), [(4, 3.6), (8, 1.7), (16, 1.4)])
def test_two_arms_of_sd_30_percent_have_the_half_widths_the_planner_promises(runs, ratio):
    """Exact values with residual SD .30 on runs − 2 degrees of freedom, own variance only."""
    half = runs // 2
    pattern = np.resize([1.0, -1.0], half) * 0.30 * math.sqrt((runs - 2) / runs)
    rows = make_rows([*(0.4 + pattern), *pattern], blade=["a"] * half + ["b"] * half)
    found = contrast(estimated(rows)[0], "blade", "a", "b")
    assert found.df == runs - 2
    assert round(math.exp((found.interval.high - found.interval.low) / 2), 1) == ratio


def test_lack_of_fit_is_the_f_test_of_cells_against_the_additive_model():
    values = [0.0, 0.1, 1.0, 1.1, 0.5, 0.4, 0.2, 0.3]  # a p, a q, b p, b q, two runs each: blades and people interact
    rows = make_rows(values, blade=list("aaaabbbb"), sharpener=list("ppqqppqq"))
    found = estimated(rows)[0].lack_of_fit
    y = np.array(values).reshape(2, 2, 2)
    pure = ((y - y.mean(axis=2, keepdims=True)) ** 2).sum()
    means = y.mean(axis=2)
    interaction = 2 * ((means - means.mean(0) - means.mean(1, keepdims=True) + means.mean()) ** 2).sum()
    assert (found.df_model, found.df_error) == (1, 4)
    assert found.f == pytest.approx(interaction / (pure / 4))
    assert found.p == pytest.approx(f_distribution.sf(found.f, 1, 4))


def test_without_repeated_cells_there_is_no_test_of_fit():
    assert estimated(make_rows([0.1, 0.2, 0.5, 0.4], blade=list("abab"), sharpener=list("ppqq")))[0].lack_of_fit is None


def unequal():
    values = np.random.default_rng(9).normal(size=10) * 0.3
    se = np.array([0.05, 0.6] * 5)
    return values, se, make_rows(values.tolist(), blade=list("aabbaabbab"), reading_se=se.tolist())


def test_reading_variances_within_threefold_are_not_weighted():
    values, _, _ = unequal()
    rows = make_rows(values.tolist(), blade=list("aabbaabbab"), reading_se=[0.05, 0.08] * 5)
    assert estimated(rows)[0].method.startswith("least squares;") or estimated(rows)[0].method == "least squares"


def test_reading_variances_beyond_threefold_are_weighted_by_reml():
    values, se, rows = unequal()
    result = estimated(rows)[0]
    assert "weighted for unequal reading errors (REML)" in result.method
    x = np.array([[b == "a", b == "b"] for b in "aabbaabbab"], float)
    grid = np.linspace(0, 1, 200_001)
    best = grid[np.argmax([restricted(values, x, se**2 + s) for s in grid[::200]]) * 200]
    assert reml_variance(values, np.linalg.qr(x)[0], se**2) == pytest.approx(best, abs=2e-3)
    w = 1 / (se**2 + reml_variance(values, np.linalg.qr(x)[0], se**2))
    means = [np.average(values[x[:, j] == 1], weights=w[x[:, j] == 1]) for j in (0, 1)]
    found = contrast(result, "blade", "a", "b")
    assert found.estimate == pytest.approx(means[0] - means[1], abs=1e-9)
    variances = [(1 / w).mean() ** -1 / w[x[:, j] == 1].sum() for j in (0, 1)]
    assert found.unscaled_variance == pytest.approx(sum(variances), rel=1e-9)


def restricted(y, x, total):
    """Restricted log-likelihood by its textbook formula with dense matrices."""
    inverse = np.diag(1 / total)
    information = x.T @ inverse @ x
    residual = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
    log_determinants = np.log(total).sum() + np.linalg.slogdet(information)[1]
    return -0.5 * (log_determinants + residual @ inverse @ residual)


INF = math.inf


def lives(values, submission="one", **columns):
    return make_rows(values, submission, "life", **columns)


def test_a_censored_life_gives_an_interval_by_likelihood_and_counts_its_censored_runs():
    rows = lives([2.0, 2.3, 2.1, (2.0, INF), 3.0, 3.2, (2.9, 3.3), 3.4], blade=list("aaaabbbb"))
    result = estimated(rows)[0]
    found = contrast(result, "blade", "a", "b")
    assert "Gaussian likelihood with censored runs" in result.method
    assert (result.runs_used, result.runs_censored) == (8, 1)
    assert found.interval.method == "scaled likelihood ratio"
    assert found.interval.low < found.estimate < found.interval.high
    assert found.df == 8 - 2 + 4  # the assumption's 4 degrees of freedom: nobody else has replicates
    assert found.standard_error == pytest.approx(math.sqrt(found.unscaled_variance * result.s2))
    assert result.covariance[0, 0] == pytest.approx(found.standard_error**2)


def test_wide_limits_leave_a_standard_error_as_wide_as_their_interval_and_a_covariance_that_agrees():
    values = [(0.0, 4.0), (0.1, 4.0), (1.0, 5.0), (1.1, 5.0), (0.5, 4.5), (0.5, 4.6)]
    rows = make_rows(values, blade=["wren.a", "wren.a", "wren.b", "wren.b", "wren.c", "wren.c"], endpoint="life")
    estimate = estimated(rows)[0]
    first = contrast(estimate, "blade", "wren.a", "wren.b")
    half = (first.interval.high - first.interval.low) / 2
    assert first.standard_error * t_distribution.ppf(0.975, first.df) == pytest.approx(half, rel=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(estimate.covariance)), [c.standard_error for c in estimate.contrasts])
    assert first.unscaled_variance * estimate.s2 == pytest.approx(first.standard_error**2)


def test_a_barely_censored_life_is_close_to_the_exact_one():
    values = [2.0, 2.3, 2.1, 2.2, 3.0, 3.2, 3.1, 3.4]
    exact = estimated(lives(values, blade=list("aaaabbbb")))[0]
    narrow = estimated(lives([*values[:-1], (3.399, 3.401)], blade=list("aaaabbbb")))[0]
    a, b = (contrast(result, "blade", "a", "b") for result in (exact, narrow))
    assert b.estimate == pytest.approx(a.estimate, abs=1e-3)


# situations: "every run of an arm censored"
@pytest.mark.parametrize(("long", "kind", "first"), [("a", "at least", [(3.0, INF)] * 3), ("b", "at most", [2.0, 2.2, 2.1])])
def test_an_arm_that_never_wore_out_gives_a_bound(long, kind, first):
    other = [2.0, 2.2, 2.1] if long == "a" else [(3.0, INF)] * 3
    found = contrast(estimated(lives([*first, *other], blade=list("aaabbb")))[0], "blade", "a", "b")
    assert isinstance(found, ContrastBounded)
    assert found.reason == f"no run of {long} has an exact value, so only a bound can be given"
    assert found.bound.kind == kind
    assert found.verdict.kind == "one-sided"
    assert abs(found.bound.ratio) < 0.9  # the limits of the censored lives lie 0.9 above the mean of the others


def test_two_arms_that_never_wore_out_say_nothing():
    found = contrast(estimated(lives([(3.0, INF)] * 4, blade=list("aabb")))[0], "blade", "a", "b")
    assert isinstance(found, ContrastNotEstimable)
    assert found.reason == "no run of a and of b has an exact value, so not even a bound can be given"


def test_a_censored_arm_does_not_spoil_the_others():
    values = [2.0, 2.2, 2.1, 2.6, 2.7, 2.9, (3.0, INF), (3.0, INF)]
    result = estimated(lives(values, blade=list("aaabbbcc")))[0]
    found = contrast(result, "blade", "a", "b")
    assert found.estimate == pytest.approx(np.mean(values[:3]) - np.mean(values[3:6]), abs=1e-6)
    assert found.standard_error < 1
    assert [c.bound.kind for c in result.contrasts if isinstance(c, ContrastBounded)] == ["at most", "at most"]


def test_beside_a_censored_arm_the_covariance_of_the_others_is_symmetric():
    values = [2.0, 2.2, 2.1, 2.6, 2.7, 2.9, 2.4, 2.8, (-INF, 1.0), (-INF, 1.0)]
    covariance = estimated(lives(values, blade=list("aaabbbddcc")))[0].covariance
    assert covariance.shape == (3, 3)
    np.testing.assert_array_equal(covariance, covariance.T)


def test_own_variance_of_censored_lives_counts_only_what_was_seen():
    rows = lives([2.0, 2.4, 2.2, (2.5, INF), 3.0, 3.2], blade=list("aaaabb"))
    result = estimated(rows)[0]
    assert result.df_own == 3
    seen_only = estimated([row for row in rows if row.status == "exact"])[0]
    assert result.s2_own > seen_only.s2_own > 0


def test_a_pass_fail_submission_of_equal_intervals_has_a_variance_from_its_prior():
    bracket = (math.log(8), math.log(16))
    result = estimated(lives([bracket] * 4, blade=list("aabb")))[0]
    assert result.s2_own == 0 and result.s2 > 0
    assert contrast(result, "blade", "a", "b").estimate == pytest.approx(0, abs=1e-6)


def test_a_table_made_from_other_rows_is_a_callers_mistake():
    protocols = make_protocols()
    table = repeatability_table(make_rows([0.1, 0.2], blade=list("ab")), protocols)
    with pytest.raises(InputError, match=r"no entry for .*'life'"):
        estimate_submissions(lives([2.0, 2.1]), table, protocols)


def test_a_table_handed_in_gives_the_same_answer_whatever_else_came_later():
    protocols = make_protocols()
    rows = make_rows([0.1, 0.2, 0.5, 0.4], blade=list("aabb"))
    later = make_rows([0.9, 0.2, 0.5, 0.4], "two", blade=list("aabb"))
    table = repeatability_table(rows, protocols)
    today = estimate_submissions(rows, table, protocols)[0]
    tomorrow = estimate_submissions(rows + later, table, protocols)[0]
    assert today.contrasts == tomorrow.contrasts
