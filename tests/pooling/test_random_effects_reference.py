"""Random-effects fits against published data sets and a general-purpose library's results (tests/reference/*.json)."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t as student_t

from edgehold.numerics.weighted_regression import covariance, prepare, weigh
from edgehold.pooling.pairwise.heterogeneity import typical_variance
from edgehold.pooling.pairwise.random_effects import PredictionInterval, random_effects

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("bcg", "raudenbush1985", "hackshaw1998")


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def fit_as_called(data, entry, **more):
    y, v = [row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]]
    moderator = entry["moderator"]
    X = None if moderator is None else [[1.0, row[moderator]] for row in data["rows"]]
    return random_effects(y, v, X=X, tau2_method=entry["tau2_method"], interval=entry["interval"], **more)


def measured(fit, quantity):
    if quantity == "limits":
        return [[one.low, one.high] for one in fit.intervals]
    if quantity == "prediction_plug_in":
        return [fit.prediction.plug_in.low, fit.prediction.plug_in.high] if isinstance(fit.prediction, PredictionInterval) else None
    value = getattr(fit, quantity)
    return [value.low, value.high] if quantity == "tau2_interval" else value


ENTRIES = [
    pytest.param(name, entry, id=f"{name}-{i}-{entry['tau2_method']}-{entry['interval']}-{entry['moderator'] or 'mean'}")
    for name in DATA_SETS
    for i, entry in enumerate(load(name)["fits"])
]


@pytest.mark.parametrize(("name", "entry"), ENTRIES)
def test_every_quantity_of_every_method_agrees_with_the_library(name, entry):
    data = load(name)
    fit = fit_as_called(data, entry)
    for quantity, wanted in entry["values"].items():
        if wanted is None:
            assert measured(fit, quantity) is None
            continue
        tolerance = data["tolerances"][quantity]["relative"]
        np.testing.assert_allclose(measured(fit, quantity), wanted, rtol=tolerance, atol=1e-300, err_msg=quantity)


@pytest.mark.parametrize("name", DATA_SETS)
def test_the_two_constants_of_the_restricted_log_likelihood_differ_by_half_ln_xtx(name):
    data = load(name)
    compared = 0
    for entry in data["fits"]:
        if "restricted_log_likelihood_plus_half_ln_xtx" in entry:
            column = [row.get(entry["moderator"], 1.0) for row in data["rows"]]
            X = np.ones((len(column), 1)) if entry["moderator"] is None else np.column_stack([np.ones(len(column)), column])
            ours = fit_as_called(data, entry).log_likelihood + 0.5 * np.linalg.slogdet(X.T @ X)[1]
            assert ours == pytest.approx(entry["restricted_log_likelihood_plus_half_ln_xtx"], abs=1e-8)
            compared += 1
    assert compared >= 2


@pytest.mark.parametrize("name", ["bcg", "raudenbush1985"])
def test_predictions_at_moderator_values_agree_with_the_library(name):
    data = load(name)
    entry = next(e for e in data["fits"] if "predictions" in e)
    for row, wanted in zip(data["rows"], entry["predictions"], strict=True):
        fit = fit_as_called(data, entry, predict_at=[1.0, row[entry["moderator"]]])
        assert [fit.prediction.plug_in.low, fit.prediction.plug_in.high] == pytest.approx(wanted["interval"], rel=1e-7)


def test_what_does_not_agree_is_known_and_why():
    data = load("bcg")
    known = {entry["quantity"]: entry for entry in data["disagreements"]}
    assert all(entry["why"] for entry in known.values())
    y, v = [row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]]
    loose = known["tau2 by pm"]
    ours = random_effects(y, v, tau2_method="pm").tau2
    assert ours == pytest.approx(loose["library"], rel=loose["relative"])
    assert ours != pytest.approx(loose["library"], rel=1e-6)
    loose = known["lower Q-profile limit"]
    assert random_effects(y, v).tau2_interval.low == pytest.approx(loose["library"], rel=loose["relative"])


def test_lead_key_comparison_agrees_as_far_as_its_source_had_converged():
    data = load("lead_comparison")
    fit = random_effects(data["y"], np.square(data["u"]), interval="knapp-hartung")
    want, tolerances = data["values"], data["tolerances"]
    limits = [fit.intervals[0].low, fit.intervals[0].high, fit.prediction.plug_in.low, fit.prediction.plug_in.high]
    wanted = [*want["knapp_hartung"], *want["prediction_plug_in"]]
    assert fit.tau2 == pytest.approx(want["tau2"], rel=tolerances["tau2"]["relative"])
    assert fit.coefficients[0] == pytest.approx(want["coefficients"][0], rel=tolerances["limits"]["relative"])
    assert limits[:2] == pytest.approx(wanted[:2], rel=tolerances["limits"]["relative"])
    assert limits[2:] == pytest.approx(wanted[2:], abs=5e-5)
    assert fit.q == pytest.approx(want["q"], abs=5e-5)
    assert fit.i2 * 100 == pytest.approx(want["i2_percent"], abs=tolerances["i2_percent"]["absolute"])


def test_lead_key_comparison_comes_out_to_the_last_printed_digit_at_the_tau2_its_source_stopped_at():
    data = load("lead_comparison")
    y, v, tau2 = np.array(data["y"]), np.square(data["u"]), data["stopped_at_tau2"]
    rows = prepare(y, v, np.ones((9, 1)))
    fit = weigh(rows, tau2)
    half = student_t.ppf(0.975, 8) * np.sqrt(fit.q / 8 * covariance(rows, fit)[0, 0])
    assert fit.coefficients[0] == pytest.approx(data["values"]["coefficients"][0], abs=5e-6)
    assert [fit.coefficients[0] - half, fit.coefficients[0] + half] == pytest.approx(data["values"]["knapp_hartung"], abs=5e-6)
    assert 100 * tau2 / (tau2 + typical_variance(rows)) == pytest.approx(data["values"]["i2_percent"], abs=5e-3)


def test_the_grid_of_checks_has_not_shrunk():
    """20 + 20 + 18 fits; a later edit may add to these counts, never take away."""
    values = [value for name in DATA_SETS for entry in load(name)["fits"] for value in entry["values"].values()]
    assert len(ENTRIES) >= 58
    assert len(values) >= 670
    methods = {(entry["tau2_method"], entry["interval"]) for name in DATA_SETS for entry in load(name)["fits"]}
    wanted = {"reml", "ml", "dl", "pm", "he", "sj", "hs", "common"}
    assert methods == {(method, interval) for method in wanted for interval in ("wald", "knapp-hartung")}
