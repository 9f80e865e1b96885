"""Prediction intervals: the published program, the confidence distribution of tau2, seeds, and many studies."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2

from edgehold.numerics.weighted_regression import prepare, weigh
from edgehold.pooling.pairwise import prediction
from edgehold.pooling.pairwise.random_effects import random_effects


def prepared(y, v):
    y = np.asarray(y, float)
    return prepare(y, np.asarray(v, float), np.ones((len(y), 1)))


def test_the_interval_agrees_with_its_authors_program():
    data = json.loads((Path(__file__).parents[1] / "reference" / "cisapride_prediction.json").read_text(encoding="utf-8"))
    m1, n1, m2, n2 = (np.array(data[name]) for name in ("m1", "n1", "m2", "n2"))
    y = np.log((m1 + 0.5) * (n2 - m2 + 0.5) / (n1 - m1 + 0.5) / (m2 + 0.5))
    v = 1 / (m1 + 0.5) + 1 / (n1 - m1 + 0.5) + 1 / (m2 + 0.5) + 1 / (n2 - m2 + 0.5)
    assert y[:3] == pytest.approx(data["first_y"], abs=5e-7)
    assert np.sqrt(v[:3]) == pytest.approx(data["first_se"], abs=5e-8)
    fit = random_effects(y, v, tau2_method="dl")
    assert np.exp(fit.coefficients[0]) == pytest.approx(data["odds_ratio"], abs=5e-4)
    limits = [fit.prediction.low, fit.prediction.high]
    assert limits == pytest.approx(np.log(data["prediction_odds_ratio"]), abs=data["tolerance"]["ln_absolute"])


def test_the_confidence_distribution_of_tau2_is_a_tail_probability_of_q():
    """With equal variances Q/(1 + tau2/v) is chi-square; with unequal ones compare with simulated Q."""
    rows = prepared([0.1, 0.9, -0.4, 0.3], [0.2] * 4)
    grid = np.array([0.0, 0.05, 0.3, 2.0])
    expected = chi2.sf(weigh(rows, 0.0).q / (1 + grid / 0.2), 3)
    assert prediction.tau2_confidence_distribution(rows)(grid) == pytest.approx(expected, abs=1e-9)
    v = np.array([0.02, 0.1, 0.5, 1.0, 0.05])
    rows, tau2 = prepared([0.4, 0.9, -0.4, 0.3, -0.3], v), 0.3
    draws = np.random.default_rng(1).normal(0, np.sqrt(v + tau2), (100_000, 5))
    w = 1 / v
    simulated = (draws**2 @ w - (draws @ w) ** 2 / w.sum() >= weigh(rows, 0.0).q).mean()
    assert prediction.tau2_confidence_distribution(rows)(np.array(tau2)) == pytest.approx(simulated, abs=0.006)


def test_interpolated_draws_have_the_probabilities_they_were_drawn_at():
    rows = prepared([0.1, 0.9, -0.2, 1.0, 0.4], [0.001, 0.05, 0.02, 0.5, 0.1])
    u = np.linspace(0.02, 0.98, 49)
    tau2, centre, variance = prediction._drawn_fits(rows, np.ones(1), u)
    assert prediction.tau2_confidence_distribution(rows)(tau2) == pytest.approx(u, abs=1e-3)
    direct = np.array([prediction._centre_and_variance(rows, np.ones(1), t) for t in tau2])
    assert centre == pytest.approx(direct[:, 0], abs=1e-4)
    assert variance == pytest.approx(direct[:, 1], rel=1e-2)


def test_the_seed_fixes_the_interval_and_another_seed_hardly_moves_it():
    y, v = [0.1, 0.9, -0.2, 1.0, 0.4, 0.2], [0.01, 0.05, 0.02, 0.5, 0.1, 0.04]
    first, again, other = random_effects(y, v), random_effects(y, v), random_effects(y, v, rng=7)
    assert first.prediction == again.prediction
    assert first.prediction != other.prediction
    length = first.prediction.high - first.prediction.low
    assert other.prediction.low == pytest.approx(first.prediction.low, abs=0.02 * length)
    assert random_effects(y, v, rng=np.random.default_rng(7)).prediction == other.prediction


def test_classes_of_weights_stand_in_for_many_studies(monkeypatch):
    rng = np.random.default_rng(4)
    v = np.exp(rng.normal(-3, 1, 150))
    rows = prepared(rng.normal(0, np.sqrt(v + 0.09)), v)
    grid = np.geomspace(1e-3, 1, 60)
    in_classes = prediction.tau2_confidence_distribution(rows)(grid)
    monkeypatch.setattr(prediction, "WEIGHT_CLASSES", 150)
    exact = prediction.tau2_confidence_distribution(rows)(grid)
    assert exact.min() < 0.1 and exact.max() > 0.9
    assert np.abs(in_classes - exact).max() < 5e-4


def test_with_very_many_studies_the_two_predictions_agree():
    rng = np.random.default_rng(5)
    v = 0.02 + rng.gamma(1.5, 0.04, 5000)
    fit = random_effects(rng.normal(0, np.sqrt(v + 0.06)), v)
    assert [fit.prediction.low, fit.prediction.high] == pytest.approx([fit.prediction.plug_in.low, fit.prediction.plug_in.high], abs=0.02)


def test_few_studies_predict_more_widely_than_the_plug_in():
    fit = random_effects([0.1, 0.6, -0.2, 0.5], [0.02, 0.03, 0.02, 0.04])
    assert fit.prediction.high - fit.prediction.low > fit.prediction.plug_in.high - fit.prediction.plug_in.low
    assert fit.prediction.method == "confidence-distribution" and fit.prediction.plug_in.method == "plug-in"
