"""Repeatability and reproducibility against standards' worked examples; what is flagged, and what cannot be told."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.pooling.interlaboratory import cochran_critical, grubbs_critical, h_critical, interlaboratory, k_critical

REFERENCE = Path(__file__).parents[1] / "reference"


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def one(runs_of):
    """The result for one item from a mapping of person to runs."""
    values = [value for runs in runs_of.values() for value in runs]
    person = [name for name, runs in runs_of.items() for _ in runs]
    return interlaboratory(values, person, ["blade"] * len(values))["blade"]


@pytest.fixture(scope="module")
def glucose():
    data = load("e691_glucose")
    labs, materials, values = zip(*data["rows"], strict=True)
    return interlaboratory(values, labs, materials), data


@pytest.mark.parametrize("material", list("ABCDE"))
def test_glucose_in_serum_agrees_with_the_practice_computed_independently(glucose, material):
    results, data = glucose
    ours, theirs, relative = results[material], data["results"][material], data["tolerance"]["relative"]
    for name in ("mean", "means", "standard_deviations", "s_x", "s_r", "s_L", "s_R", "h", "k"):
        np.testing.assert_allclose(getattr(ours, name), theirs[name], rtol=relative, atol=1e-11, err_msg=name)
    assert ours.h_critical[0.005] == pytest.approx(theirs["h_critical"]["0.005"], rel=1e-11)
    assert ours.k_critical[0.005] == pytest.approx([theirs["k_critical"]["0.005"]] * 8, rel=1e-11)
    for name in ("cochran", "grubbs"):
        test, wanted = getattr(ours, name), theirs[name]
        assert test.person == wanted["person"]
        assert abs(test.statistic) == pytest.approx(wanted["statistic"], rel=1e-11)
        for alpha, critical in wanted["critical"].items():
            assert test.critical[float(alpha)] == pytest.approx(critical, rel=1e-11)


@pytest.mark.parametrize("material", list("ADE"))
def test_glucose_materials_a_d_e_agree_with_the_printed_table(glucose, material):
    results, data = glucose
    printed = data["published_rounded"][material]
    assert results[material].s_r == pytest.approx(printed["s_r"], abs=5.1e-5)
    assert results[material].s_R == pytest.approx(printed["s_R"], abs=5.1e-5)


def test_glucose_flags_at_the_practices_own_level(glucose):
    results, _ = glucose
    strict = {(m, f.statistic, f.person) for m, r in results.items() for f in r.flags if f.alpha == 0.005}
    assert strict == {("C", "k", "Lab4"), ("C", "cochran", "Lab4"), ("E", "k", "Lab2"), ("E", "cochran", "Lab2")}
    assert all(len(result.persons) == 8 and result.runs == 24 for result in results.values())


def test_sulfur_in_coal_with_unequal_replicates_agrees_with_the_standard():
    data = load("sulfur_in_coal")
    result = one({f"lab{i}": runs for i, runs in enumerate(data["runs"])})
    assert result.replicates == (4, 3, 3, 3, 5, 3, 3, 3)
    for name in ("mean", "s_r", "s_R"):
        assert round(getattr(result, name), 3) == data["published"][name]
        assert getattr(result, name) == pytest.approx(data["computed"][name], abs=5.1e-5 if name == "mean" else 5.1e-6)
    n = np.array(result.replicates)
    mean_n = (n.sum() - (n**2).sum() / n.sum()) / 7
    assert mean_n == pytest.approx(data["computed"]["mean_replicates"], abs=5e-5)


def test_critical_values_for_eight_laboratories_and_three_replicates():
    """ASTM E691 table 5 (h, k at 0.5 %), ISO 5725-2 tables 4 and 5 (Cochran, Grubbs at 5 and 1 %); from memory."""
    assert round(h_critical(8, 0.005), 2) == 2.15
    assert round(k_critical(2, 16, 0.005), 2) == 2.06
    assert [round(cochran_critical(2, 16, 8, alpha), 3) for alpha in (0.05, 0.01)] == [0.516, 0.615]
    assert [round(grubbs_critical(8, alpha), 3) for alpha in (0.05, 0.01)] == pytest.approx([2.126, 2.274], abs=1.1e-3)


@settings(max_examples=100, deadline=None)
@given(st.integers(3, 9), st.integers(2, 6), st.integers(0, 1000))
def test_equal_replicates_reduce_to_the_balanced_formulas(p, n, seed):
    x = np.random.default_rng(seed).normal(5, 1, (p, n))
    result = one({f"p{i}": row for i, row in enumerate(x)})
    s_r2, s_x2 = x.var(axis=1, ddof=1).mean(), x.mean(axis=1).var(ddof=1)
    assert result.s_r == pytest.approx(np.sqrt(s_r2))
    assert result.s_L**2 == pytest.approx(max(0, s_x2 - s_r2 / n), abs=1e-12)
    assert result.s_R == pytest.approx(np.sqrt(max(s_r2, s_x2 + s_r2 * (n - 1) / n)))
    assert result.cochran.statistic == pytest.approx(x.var(axis=1).max() / x.var(axis=1).sum())
    assert np.abs(result.h).max() <= (p - 1) / np.sqrt(p) + 1e-9


def test_cochran_with_unequal_replicates_judges_the_least_likely_person_not_the_largest_spread():
    result = one({"a": [1.0, 1.6], "b": [2.0, 2.5, 1.5, 2.6, 1.4, 2.5, 1.5, 2.4], "c": [3.0, 3.1, 3.0, 3.05], "d": [1.0, 1.05, 1.1]})
    assert result.cochran.person == "b"
    assert result.standard_deviations[1] > result.standard_deviations[0] > result.standard_deviations[2]


def test_with_three_persons_h_flags_nobody():
    result = one({"a": [1.0, 1.1], "b": [1.0, 1.1], "c": [50.0, 50.1]})
    assert max(np.abs(result.h)) == pytest.approx(2 / np.sqrt(3)) == pytest.approx(1.155, abs=5e-4)
    assert result.h_critical == {} and not [flag for flag in result.flags if flag.statistic == "h"]
    assert result.reasons["h_critical"] == "persons: 3; h cannot flag anybody below 4"
    assert result.reasons["grubbs"] == "persons: 3; tested from 6"


def test_a_gross_spread_is_flagged_and_kept():
    runs = {f"p{i}": [1.0, 1.01 + 0.001 * i, 0.99] for i in range(6)}
    result = one({**runs, "p6": [0.5, 1.5, 1.0]})
    flag = next(flag for flag in result.flags if flag.statistic == "k")
    assert (flag.person, flag.alpha) == ("p6", 0.005) and flag.value > flag.critical
    assert result.persons[-1] == "p6" and result.runs == 21
    assert result.s_r > 0.15


def test_a_far_mean_is_flagged_by_grubbs_with_its_sign():
    result = one({**{f"p{i}": [1.0 + 0.01 * i, 1.02] for i in range(7)}, "q": [-4.0, -4.1]})
    flag = next(flag for flag in result.flags if flag.statistic == "grubbs")
    assert flag.person == "q" and flag.value < 0 and flag.alpha == 0.005


def test_one_person_has_repeatability_and_nothing_between():
    result = one({"a": [1.0, 1.2, 1.1]})
    assert result.s_r == pytest.approx(0.1)
    assert result.s_R is None and result.s_L is None and result.h is None and result.cochran is None
    assert result.reasons["s_R"] == "one person: nothing between persons"
    assert result.k == (1.0,)
    assert result.reasons["k_critical"] == "only one person repeated runs: nobody to compare with"


def test_single_runs_give_reproducibility_but_not_its_parts():
    result = one({"a": [1.0], "b": [1.3], "c": [0.8], "d": [1.1]})
    assert result.s_r is None and result.s_L is None and result.k is None
    assert result.s_R == pytest.approx(np.std([1.0, 1.3, 0.8, 1.1], ddof=1))
    assert result.reasons["s_r"] == "nobody repeated a run"


def test_equal_runs_give_zero_spread_and_reasons_instead_of_rounding_noise():
    result = one({name: [0.1, 0.1, 0.1] for name in "abcdefg"})
    assert (result.s_r, result.s_x, result.s_R) == (0.0, 0.0, 0.0)
    assert result.mean == 0.1
    assert result.h is None and result.k is None and result.flags == ()
    assert result.reasons["h"] == "all means are equal" and result.reasons["k"] == "all repeated runs are equal"


def test_a_person_with_one_run_has_no_k_but_counts_in_the_means():
    result = one({"a": [1.0, 1.2], "b": [1.1, 1.4], "c": [2.0]})
    assert result.k[2] is None and result.k_critical[0.01][2] is None and result.standard_deviations[2] is None
    assert len(result.h) == 3


def test_one_restless_person_among_constant_ones_is_judged_without_a_warning():
    result = one({"a": [1.0, 1.0], "b": [1.0, 1.0], "c": [1.0, 2.0], "d": [1.0, 1.0]})
    assert result.cochran.person == "c" and result.cochran.statistic == 1.0


def test_items_are_kept_apart_and_sorted():
    results = interlaboratory([1.0, 2.0, 5.0, 7.0], ["a", "b", "a", "b"], ["y", "y", "x", "x"])
    assert list(results) == ["x", "y"]
    assert results["x"].mean == 6.0


def test_a_change_of_unit_changes_every_spread_by_its_factor_and_nothing_else():
    runs = {"a": [1.0, 1.2, 1.1], "b": [1.5, 1.4, 1.6], "c": [0.9, 1.3, 1.2], "d": [1.1, 1.0, 1.4]}
    one_unit, other = one(runs), one({name: np.array(values) * 101.97 for name, values in runs.items()})
    for name in ("mean", "s_r", "s_L", "s_R"):
        assert getattr(other, name) == pytest.approx(101.97 * getattr(one_unit, name))
    assert other.h == pytest.approx(one_unit.h) and other.k == pytest.approx(one_unit.k)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([], [], []), r"at least 1; got shapes \(0,\)"),
        (([1.0, 2.0], ["a"], ["x", "x"]), r"got shapes \(2,\), \(1,\) and \(2,\)"),
        (([1.0, float("nan")], ["a", "b"], ["x", "x"]), r"values must be finite; got nan at 1"),
    ],
)
def test_a_callers_mistake_names_what_was_wrong(arguments, message):
    with pytest.raises(ValueError, match=message):
        interlaboratory(*arguments)


def test_levels_outside_zero_and_one_are_refused():
    with pytest.raises(ValueError, match=r"strictly between 0 and 1; got \(5,\)"):
        interlaboratory([1.0], ["a"], ["x"], alphas=(5,))


def test_the_grid_of_glucose_checks_has_not_shrunk():
    data = load("e691_glucose")
    assert len(data["rows"]) == 120
    assert sorted(data["results"]) == list("ABCDE")
    assert all(len(entry["h"]) == len(entry["k"]) == 8 for entry in data["results"].values())
