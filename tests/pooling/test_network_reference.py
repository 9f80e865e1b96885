"""Networks against published data sets and a general-purpose library's results (tests/reference/*_network.json)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2
from scipy.stats import f as f_distribution

from aggregator.pooling.network import network
from aggregator.pooling.network_design import comparisons

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("senn2013_network", "hasselblad1998_network")


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def contrasts(data):
    rows = data["contrasts"]
    V = np.diag([row["vi"] for row in rows])
    for i, j, value in data["covariances"]:
        V[i, j] = V[j, i] = value
    return [row["yi"] for row in rows], V, *([row[key] for row in rows] for key in ("first", "second", "study"))


def against_reference(fit, data, treatments):
    found = [fit.contrast(one, data["reference"]) for one in treatments]
    return [one.estimate for one in found], [one.standard_error for one in found]


@pytest.mark.parametrize("name", DATA_SETS)
def test_effects_variance_and_likelihood_agree(name):
    data, wanted = load(name), load(name).get("polished") or load(name)["fit"]
    fit = network(*contrasts(data), interval="wald")
    tolerance = data["tolerances"]
    polished = tolerance["polished"]["relative"] if "polished" in data else None
    effects, errors = against_reference(fit, data, wanted["treatments"])
    assert effects == pytest.approx(wanted["effects"], rel=polished or tolerance["effects"]["relative"])
    assert errors == pytest.approx(wanted["standard_errors"], rel=polished or tolerance["standard_errors"]["relative"])
    assert fit.tau2 == pytest.approx(wanted["tau2"], rel=polished or tolerance["tau2"]["relative"])
    assert fit.log_likelihood == pytest.approx(wanted["log_likelihood"], abs=tolerance["log_likelihood"]["absolute"])
    limits = [fit.tau2_interval.low, fit.tau2_interval.high]
    assert limits == pytest.approx(data["tau2_profile"], rel=tolerance["tau2_profile"]["relative"])


@pytest.mark.parametrize("name", DATA_SETS)
def test_a_common_effect_agrees(name):
    data = load(name)
    fit = network(*contrasts(data), tau2_method="common", interval="wald")
    treatments = (data.get("polished") or data["fit"])["treatments"]
    effects, errors = against_reference(fit, data, treatments)
    assert effects == pytest.approx(data["common_effect"]["effects"], rel=1e-10)
    assert errors == pytest.approx(data["common_effect"]["standard_errors"], rel=1e-10)
    assert (fit.tau2, fit.tau2_interval, fit.log_likelihood) == (0.0, None, None)


def test_every_pair_agrees():
    data = load("senn2013_network")
    fit = network(*contrasts(data), interval="wald")
    for row in data["pairwise"]:
        ours = fit.contrast(row["first"], row["second"])
        assert ours.estimate == pytest.approx(row["estimate"], rel=data["tolerances"]["effects"]["relative"], abs=1e-8)
        assert ours.standard_error == pytest.approx(row["standard_error"], rel=data["tolerances"]["standard_errors"]["relative"])


@pytest.mark.parametrize("name", DATA_SETS)
def test_q_and_both_design_by_treatment_tests_agree(name):
    data = load(name)
    wanted, found = data["design_by_treatment"], network(*contrasts(data)).inconsistency
    for quantity in ("total", "within_designs", "between_designs", "random_effects"):
        q, df, *p = wanted[quantity]
        ours = getattr(found, quantity)
        assert ours.q == pytest.approx(q, rel=1e-6 if quantity == "random_effects" else data["tolerances"]["q"]["relative"])
        assert ours.df == df
        assert [ours.p] == pytest.approx(p or [chi2.sf(q, df)], rel=1e-6)
    assert found.tau2 == pytest.approx(wanted["tau2"], rel=data["tolerances"]["tau2"]["relative"])
    assert found.designs == wanted["designs"]


def test_direct_against_indirect_agrees():
    data = load("senn2013_network")
    tolerance = data["tolerances"]["splits"]
    found = {(one.first, one.second): one for one in network(*contrasts(data), interval="wald").splits}
    for row in data["splits"]:
        ours = found[row["first"], row["second"]]
        for quantity in set(row) - {"first", "second"}:
            got = getattr(ours, quantity)
            assert got == pytest.approx(row[quantity], rel=tolerance["relative"], abs=tolerance["absolute"]), quantity


def test_the_grid_of_checks_has_not_shrunk():
    data = load("senn2013_network")
    assert len(data["pairwise"]) == 45
    assert len(data["splits"]) >= 6
    assert sum(len(load(name)["contrasts"]) for name in DATA_SETS) == 27 + 26


def test_the_three_arm_trial_holds_a_correlation_of_one_half():
    data = comparisons(*contrasts(load("senn2013_network")))
    size = np.bincount(data.study)
    (pair,) = (np.flatnonzero(data.study == s) for s in np.flatnonzero(size == 2))
    np.testing.assert_array_equal(data.H[np.ix_(pair, pair)], [[1, 0.5], [0.5, 1]])
    assert np.count_nonzero(data.H) == 27 + 2


def restricted_criterion(data, tau2):
    """By definition, in full matrices."""
    X, sigma = data.design_matrix, data.V + tau2 * data.H
    inverse = np.linalg.inv(sigma)
    information = X.T @ inverse @ X
    r = data.y - X @ np.linalg.solve(information, X.T @ inverse @ data.y)
    return -0.5 * (np.linalg.slogdet(sigma)[1] + np.linalg.slogdet(information)[1] + r @ inverse @ r)


def test_another_programs_variance_is_not_the_maximum_of_this_likelihood():
    """Which likelihood: restricted, correlation ½. A second implementation from full matrices peaks where ours does, and lies
    lower at the figure of a program that uses another criterion; all its Q agree with ours."""
    reference = load("senn2013_network")
    (other,) = (entry for entry in reference["disagreements"] if entry["quantity"] == "tau2")
    assert other["why"]
    data, fit = comparisons(*contrasts(reference)), network(*contrasts(reference))
    here = restricted_criterion(data, fit.tau2)
    assert here > max(restricted_criterion(data, fit.tau2 * factor) for factor in (0.999, 1.001))
    assert here > restricted_criterion(data, other["other"])
    assert fit.tau2 != pytest.approx(other["other"], rel=1e-3)


def test_the_profile_is_that_of_the_restricted_criterion_not_of_plain_maximum_likelihood():
    """Some programs profile the ML deviance even for REML fits; that interval would lie around a smaller variance."""
    reference = load("senn2013_network")
    data, fit = comparisons(*contrasts(reference)), network(*contrasts(reference))
    X = data.design_matrix

    def ordinary(tau2):
        inverse = np.linalg.inv(data.V + tau2 * data.H)
        return restricted_criterion(data, tau2) + 0.5 * np.linalg.slogdet(X.T @ inverse @ X)[1]

    peak = ordinary(reference["ml_tau2"])
    assert peak > max(ordinary(reference["ml_tau2"] * factor) for factor in (0.999, 1.001))
    drops = [restricted_criterion(data, fit.tau2) - restricted_criterion(data, t) for t in (fit.tau2_interval.low, fit.tau2_interval.high)]
    assert drops == pytest.approx([chi2.ppf(0.95, 1) / 2] * 2, rel=1e-8)
    assert peak - ordinary(fit.tau2_interval.high) > 1.5 * drops[1]


def test_heterogeneity_hides_inconsistency_so_both_tests_are_reported():
    """The same network: p = .002 with a common effect, p = .94 with heterogeneity. Neither is left out."""
    found = network(*contrasts(load("senn2013_network"))).inconsistency
    assert found.between_designs.p < 0.01
    assert found.random_effects.p > 0.9
    assert found.between_designs.df == found.random_effects.df == 7
    assert found.random_effects_p_f == pytest.approx(f_distribution.sf(found.random_effects.q / 7, 7, 11), rel=1e-12)
    assert found.total.q == pytest.approx(found.within_designs.q + found.between_designs.q, rel=1e-12)
