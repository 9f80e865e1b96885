"""Networks against published data sets and a general-purpose library's results (tests/reference/*_network.json)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from edgehold.pooling.network.design import comparisons
from edgehold.pooling.network.network import network

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
