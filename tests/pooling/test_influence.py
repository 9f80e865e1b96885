"""Leaving studies out: against a general-purpose library's results (tests/reference/*.json), identities, and odd inputs."""

import json
from pathlib import Path

import numpy as np
import pytest

from edgehold.errors import InputError
from edgehold.pooling.pairwise.influence import NoInfluence, influence, leave_one_out
from edgehold.pooling.pairwise.random_effects import StudiesNotPooled, random_effects
from edgehold.words import code_of

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("bcg", "raudenbush1985", "hackshaw1998")


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def studies(data, moderator=None):
    y, v = (np.array([row[key] for row in data["rows"]]) for key in ("yi", "vi"))
    X = None if moderator is None else np.array([[1.0, row[moderator]] for row in data["rows"]])
    return y, v, X


BLOCKS = [(name, i) for name in DATA_SETS for i in range(len(load(name)["influence"]))]


@pytest.mark.parametrize(("name", "i"), BLOCKS)
def test_every_influence_measure_of_every_study_agrees_with_the_library(name, i):
    data = load(name)
    block, tolerance = data["influence"][i], data["tolerances"]["influence"]
    y, v, X = studies(data, block["moderator"])
    for ours, wanted in zip(influence(y, v, X=X), block["studies"], strict=True):
        for quantity, value in wanted.items():
            got = getattr(ours, quantity)
            np.testing.assert_allclose(got, value, rtol=tolerance["relative"], atol=tolerance["absolute"], err_msg=quantity)


@pytest.mark.parametrize("name", DATA_SETS)
def test_every_fit_without_a_study_agrees_with_the_library(name):
    data = load(name)
    tolerance = data["tolerances"]["leave_one_out"]
    y, v, _ = studies(data)
    for fit, wanted in zip(leave_one_out(y, v, interval="wald"), data["leave_one_out"]["studies"], strict=True):
        got = {
            "estimate": fit.coefficients[0],
            "standard_error": fit.standard_errors[0],
            "limits": [fit.intervals[0].low, fit.intervals[0].high],
            **{key: getattr(fit, key) for key in ("q", "q_p", "tau2", "i2", "h2")},
        }
        assert set(got) == set(wanted)
        for quantity, value in wanted.items():
            np.testing.assert_allclose(got[quantity], value, rtol=tolerance["relative"], atol=tolerance["absolute"], err_msg=quantity)


def test_the_grid_of_checks_has_not_shrunk():
    blocks = [load(name)["influence"][i] for name, i in BLOCKS]
    assert sum(len(row) for block in blocks for row in block["studies"]) >= 946
    assert sum(len(load(name)["leave_one_out"]["studies"]) for name in DATA_SETS) == 13 + 19 + 37


def test_leverages_sum_to_the_number_of_coefficients():
    y, v, X = studies(load("bcg"), "ablat")
    assert sum(one.hat for one in influence(y, v)) == pytest.approx(1, rel=1e-12)
    assert sum(one.hat for one in influence(y, v, X=X)) == pytest.approx(2, rel=1e-12)


def test_for_a_common_effect_the_measures_have_their_closed_forms():
    """Deletion formulas of weighted least squares with known variances (Belsley, Kuh & Welsch 1980, section 2.1)."""
    y, v, X = studies(load("raudenbush1985"), "weeks")
    fit = random_effects(y, v, X=X, tau2_method="common", interval="wald")
    for i, ours in enumerate(influence(y, v, X=X, tau2_method="common")):
        residual, h = y[i] - X[i] @ fit.coefficients, ours.hat
        assert ours.deleted_residual == pytest.approx(residual / (1 - h), rel=1e-10)
        assert ours.studentised_residual == pytest.approx(residual / np.sqrt(v[i] * (1 - h)), rel=1e-10)
        assert ours.cooks_distance == pytest.approx(residual**2 / v[i] * h / (1 - h) ** 2, rel=1e-10)
        assert ours.covariance_ratio == pytest.approx(1 / (1 - h), rel=1e-10)
        assert ours.q_without == pytest.approx(fit.q - residual**2 / (v[i] * (1 - h)), rel=1e-10)


def test_a_knapp_hartung_factor_does_not_enter_the_influence_measures():
    """A factor that moves with the study would hide what the study does: the covariance ratio is that of (XᵀWX)⁻¹."""
    y, v, _ = studies(load("bcg"))
    for ours, left in zip(influence(y, v), leave_one_out(y, v, interval="wald"), strict=True):
        full = random_effects(y, v, interval="wald", predict=False)
        assert ours.covariance_ratio == pytest.approx(left.covariance[0, 0] / full.covariance[0, 0], rel=1e-12)


def test_leaving_out_gives_exactly_the_fit_of_the_others_with_the_asked_method():
    y, v, X = studies(load("bcg"), "ablat")
    left = leave_one_out(y, v, X=X, tau2_method="pm", interval="knapp-hartung", level=0.9, v_df=30)[4]
    others = np.arange(13) != 4
    fit = random_effects(y[others], v[others], X=X[others], tau2_method="pm", interval="knapp-hartung", level=0.9, v_df=30)
    assert left.intervals == fit.intervals
    assert left.tau2_interval == fit.tau2_interval
    assert left.prediction == "no prediction was asked for"


def test_a_study_that_alone_carries_a_column_has_a_reason_and_no_numbers():
    X = np.column_stack([np.ones(5), [1.0, 0, 0, 0, 0]])
    y, v = [0.5, 0.1, 0.2, 0.0, 0.3], [0.01] * 5
    alone, *rest = influence(y, v, X=X)
    assert alone.hat == pytest.approx(1, rel=1e-12)
    assert code_of(alone.reason) == "pairwise.column_alone"
    assert isinstance(alone, NoInfluence)
    assert all(np.isfinite(one.cooks_distance) for one in rest)
    assert code_of(leave_one_out(y, v, X=X)[0]) == "pairwise.column_alone"


def test_without_one_of_two_studies_heterogeneity_cannot_be_told():
    for one in influence([0.1, 0.4], [0.01, 0.02]):
        assert isinstance(one, NoInfluence)
        assert code_of(one.reason) == "pairwise.not_pooled"
    assert [type(left) for left in leave_one_out([0.1, 0.4], [0.01, 0.02])] == [StudiesNotPooled, StudiesNotPooled]


def test_a_single_study_leaves_no_other():
    (left,) = leave_one_out([0.1], [0.01])
    assert left == "there is no other study"
    assert influence([0.1], [0.01])[0].reason == "there is no other study"


@pytest.mark.parametrize("y", [[3.0] * 6, [1e9, 1e9 + 1, 1e9 + 2, 1e9, 1e9 + 1, 1e9 + 1]], ids=["constant", "huge offset"])
def test_constant_and_far_off_effects_give_finite_measures(y):
    for one in influence(y, [1e-12, 1.0, 1.0, 2.0, 1.0, 1.0]):
        assert np.isfinite([one.studentised_residual, one.dffits, one.cooks_distance, one.covariance_ratio, *one.dfbetas]).all()


def test_an_offset_changes_no_influence():
    y, v, _ = studies(load("hackshaw1998"))
    for near, far in zip(influence(y, v), influence(y + 1000.0, v), strict=True):
        assert far.cooks_distance == pytest.approx(near.cooks_distance, rel=1e-6)


def test_the_callers_mistakes_stay_exceptions():
    with pytest.raises(InputError, match=r"v must be positive variances, 1e-70 to 1e\+70; got 0.0 at \[1\]"):
        influence([0.1, 0.2], [0.1, 0.0])
    with pytest.raises(InputError, match="tau2_method must be one of"):
        leave_one_out([0.1, 0.2, 0.3], [0.1, 0.1, 0.1], tau2_method="bayes")
