"""Crossed fits against published data sets and established mixed-model libraries' results (tests/reference/*.json)."""

import json
from pathlib import Path

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.pairwise.random_effects import random_effects

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("penicillin", "penicillin_unbalanced", "machines_gauge_rr", "assink2016", "konstantopoulos2011", "mccurdy2020", "sleepstudy")


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def design_column(columns, spec):
    if "constant" in spec:
        return np.full(len(next(iter(columns.values()))), float(spec["constant"]))
    values = columns[spec["column"]]
    return np.array([value == spec["equals"] for value in values] if "equals" in spec else values, dtype=float)


def term(columns, spec):
    labels = np.array(["/".join(map(str, row)) for row in zip(*(columns[name] for name in spec["labels"]), strict=True)])
    return (labels, columns[spec["weights"]]) if "weights" in spec else labels


def fit_as_called(data, entry, **more):
    columns = data["columns"]
    return crossed(
        columns[entry["response"]],
        np.column_stack([design_column(columns, spec) for spec in entry["X"]]),
        {name: term(columns, spec) for name, spec in entry["terms"].items()},
        V=None if entry["V"] is None else columns[entry["V"]],
        criterion=entry["criterion"],
        **more,
    )


ENTRIES = [pytest.param(name, entry, id=f"{name}-{entry['id']}") for name in DATA_SETS for entry in load(name)["fits"]]


@pytest.mark.parametrize(("name", "entry"), ENTRIES)
def test_estimates_errors_variances_and_log_likelihood_agree_with_the_library(name, entry):
    data, values = load(name), entry["values"]
    tolerances = data["tolerances"]
    fit = fit_as_called(data, entry, profile=False)
    assert fit.convergence.converged
    if "variances" in values:
        assert list(fit.variances) == list(values["variances"]) or set(fit.variances) == set(values["variances"])
        near_zero = tolerances["variances"]["relative_to_total"] * sum(values["variances"].values())
        for term_name, wanted in values["variances"].items():
            assert fit.variances[term_name] == pytest.approx(wanted, rel=tolerances["variances"]["relative"], abs=near_zero)
    for quantity in {"coefficients", "standard_errors", "df"} & set(values):
        np.testing.assert_allclose(getattr(fit, quantity), values[quantity], rtol=tolerances[quantity]["relative"], err_msg=quantity)
    if "log_likelihood" in values:
        assert fit.log_likelihood == pytest.approx(values["log_likelihood"], abs=tolerances["log_likelihood"]["absolute"])
    if "adjusted_covariance" in values:
        limits = tolerances["adjusted_covariance"]
        np.testing.assert_allclose(fit.adjusted_covariance, values["adjusted_covariance"], limits["relative"], limits["absolute"])
    if "contrast_df" in values:
        contrast = fit.contrast(values["contrast_df"]["contrast"])
        assert contrast.df == pytest.approx(values["contrast_df"]["df"], rel=tolerances["contrast_df"]["relative"])


@pytest.mark.parametrize(("name", "entry"), [one for one in ENTRIES if "effects" in one.values[1]["values"]])
def test_predicted_effects_and_their_errors_agree_with_the_library(name, entry):
    data = load(name)
    tolerances = data["tolerances"]
    fit = fit_as_called(data, entry, profile=False)
    for term_name, wanted in entry["values"]["effects"].items():
        got = fit.effects[term_name]
        place = [list(map(str, got.levels)).index(level) for level in wanted["levels"]]
        limits = tolerances["effects"]
        np.testing.assert_allclose(got.values[place], wanted["values"], limits["relative"], limits["absolute"])
        if "conditional" in wanted:
            np.testing.assert_allclose(got.conditional_standard_errors[place], wanted["conditional"], limits["relative"])
        if "prediction" in wanted:
            np.testing.assert_allclose(got.standard_errors[place], wanted["prediction"], limits["relative"])


@pytest.mark.parametrize(("name", "entry"), [one for one in ENTRIES if "profile_limits" in one.values[1]["values"]])
def test_profile_limits_agree_under_the_criterion_the_library_profiles(name, entry):
    data = load(name)
    tolerance, wanted = data["tolerances"]["profile_limits"], dict(entry["values"]["profile_limits"])
    power = {"sd": 0.5, "variance": 1.0}[wanted.pop("scale")]
    fit = fit_as_called(data, entry)
    for term_name, limits in wanted.items():
        interval = fit.variance_intervals[term_name]
        assert interval.method == f"profile-{entry['criterion']}"
        got = [interval.low**power, interval.high**power]
        np.testing.assert_allclose(got, limits, tolerance["relative"], tolerance["absolute"], err_msg=term_name)


def test_a_balanced_gauge_study_equals_its_analysis_of_variance():
    data = load("machines_gauge_rr")
    fit = fit_as_called(data, data["fits"][1], profile=False)
    anova = data["gauge_study_anova"]
    wanted = {"cell": anova["interaction"], "worker": anova["worker"], "machine": anova["machine"], "residual": anova["repeatability"]}
    for name, value in wanted.items():
        assert fit.variances[name] == pytest.approx(value, rel=1e-8)


def test_a_fully_crossed_table_equals_its_mean_squares():
    """Davies & Goldsmith 1972, section 6.6: (MS − MSE)/levels, computed here from the published diameters."""
    columns = load("penicillin")["columns"]
    table = np.array(columns["diameter"], dtype=float).reshape(24, 6)
    residual = table - table.mean(0) - table.mean(1)[:, None] + table.mean()
    mse = (residual**2).sum() / (23 * 5)
    plate, sample = (6 * table.mean(1).var(ddof=1) - mse) / 6, (24 * table.mean(0).var(ddof=1) - mse) / 24
    fit = fit_as_called(load("penicillin"), load("penicillin")["fits"][0], profile=False)
    assert [fit.variances[name] for name in ("plate", "sample", "residual")] == pytest.approx([plate, sample, mse], rel=1e-8)


@pytest.mark.parametrize("name", ["bcg", "raudenbush1985", "hackshaw1998"])
def test_with_known_variances_and_one_row_a_level_it_is_the_random_effects_model_of_the_library(name):
    data = load(name)
    y, v = [row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]]
    fit = crossed(y, np.ones((len(y), 1)), {"study": np.arange(len(y))}, V=v, profile=False)
    wanted = next(e["values"] for e in data["fits"] if (e["tau2_method"], e["interval"], e["moderator"]) == ("reml", "wald", None))
    assert fit.variances["study"] == pytest.approx(wanted["tau2"], rel=1e-7)
    assert fit.coefficients[0] == pytest.approx(wanted["coefficients"][0], rel=1e-8)
    assert fit.standard_errors[0] == pytest.approx(wanted["standard_errors"][0], rel=1e-8)
    assert fit.log_likelihood == pytest.approx(random_effects(y, v, interval="wald").log_likelihood, abs=1e-9)


@pytest.mark.parametrize("name", ["bcg", "raudenbush1985", "hackshaw1998"])
def test_its_profile_limits_and_shrunken_effects_are_those_of_the_library_too(name):
    data = load(name)
    y, v = [row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]]
    fit = crossed(y, np.ones((len(y), 1)), {"study": np.arange(len(y))}, V=v)
    interval, tolerances = fit.variance_intervals["study"], data["tolerances"]
    wanted = data["profile_likelihood"]["tau2_interval"]
    assert [interval.low, interval.high] == pytest.approx(wanted, rel=tolerances["profile_likelihood"]["relative"])
    shrunken, limits = fit.coefficients[0] + fit.effects["study"].values, tolerances["shrunken_effects"]
    np.testing.assert_allclose(shrunken, data["shrunken_effects"]["values"], limits["relative"], limits["absolute"])


def network_rows():
    """The contrasts of Senn et al. 2013: y, V with its blocks, consistency design, and ±√½ of each study's arms."""
    data = load("senn2013_contrasts")
    columns = data["columns"]
    n = len(columns["yi"])
    i, j, values = zip(*data["V"], strict=True)
    arms = sorted({(s, t) for side in ("treatment1", "treatment2") for s, t in zip(columns["study"], columns[side], strict=True)})
    Z, X = np.zeros((n, len(arms))), np.zeros((n, len(data["treatments"])))
    for row in range(n):
        for side, sign in (("treatment1", 1), ("treatment2", -1)):
            treatment = columns[side][row]
            Z[row, arms.index((columns["study"][row], treatment))] = sign * np.sqrt(0.5)
            if treatment != data["reference_treatment"]:
                X[row, data["treatments"].index(treatment)] = sign
    return data, np.array(columns["yi"]), sp.csr_matrix((values, (i, j)), shape=(n, n)), X, sp.csr_matrix(Z)


def test_correlation_one_half_inside_a_multi_arm_study_is_a_matrix_of_arms():
    data, y, V, X, Z = network_rows()
    within = (Z @ Z.T).toarray()
    three_arm = [k for k, study in enumerate(data["columns"]["study"]) if data["columns"]["study"].count(study) == 2]
    assert np.diag(within) == pytest.approx(1) and within[three_arm[0], three_arm[1]] == pytest.approx(0.5)
    wanted, tolerances = data["values"], data["tolerances"]
    fit = crossed(y, X, {"heterogeneity": Z}, V=V)
    assert fit.variances["heterogeneity"] == pytest.approx(wanted["tau2"], rel=tolerances["variances"]["relative"])
    np.testing.assert_allclose(fit.coefficients, wanted["coefficients"], tolerances["coefficients"]["relative"])
    np.testing.assert_allclose(fit.standard_errors, wanted["standard_errors"], tolerances["standard_errors"]["relative"])
    assert fit.log_likelihood == pytest.approx(wanted["log_likelihood"], abs=tolerances["log_likelihood"]["absolute"])
    interval = fit.variance_intervals["heterogeneity"]
    np.testing.assert_allclose([interval.low, interval.high], wanted["tau2_profile"], tolerances["profile_limits"]["relative"])


def test_degrees_of_freedom_follow_expected_information_and_not_the_observed_one():
    """The library's Satterthwaite df (observed Hessian) lie below its Kenward–Roger df (expected), which are ours."""
    data = load("penicillin_unbalanced")
    fit = fit_as_called(data, data["fits"][0], profile=False)
    observed = np.array(data["disagreements"][0]["library"])
    expected = np.array(data["fits"][0]["values"]["df"])
    assert (np.abs(fit.df - expected) < 1e-3 * np.abs(observed - expected)).all()


def test_the_grid_of_reference_checks_has_not_shrunk():
    checked = sum(len(entry["values"]) for name in DATA_SETS for entry in load(name)["fits"])
    assert len(ENTRIES) >= 14 and checked >= 55
