"""The distribution of a weighted sum of chi-squares against scipy's chi-square, published values and a finer contour."""

import numpy as np
import pytest
from scipy.stats import chi2

from edgehold.numerics import quadratic_form
from edgehold.numerics.quadratic_form import mixture_cdf


@pytest.mark.parametrize("df", [1, 2, 3, 7, 50, 1000, 100_000])
def test_equal_weights_give_the_chi_square_distribution(df):
    for probability in (1e-9, 1e-4, 0.025, 0.5, 0.9, 0.999, 1 - 1e-9):
        q = chi2.ppf(probability, df)
        assert mixture_cdf(3 * q, np.array([3.0]), np.array([df])) == pytest.approx(chi2.cdf(q, df), abs=1e-10)


@pytest.mark.parametrize(
    ("weights", "dfs", "q", "tail"),
    [
        ([0.6, 0.3, 0.1], [1, 1, 1], 0.1, 0.9458),
        ([0.6, 0.3, 0.1], [1, 1, 1], 0.7, 0.5064),
        ([0.6, 0.3, 0.1], [1, 1, 1], 2.0, 0.1240),
        ([0.6, 0.3, 0.1], [2, 2, 2], 0.2, 0.9936),
        ([0.6, 0.3, 0.1], [2, 2, 2], 2.0, 0.3998),
        ([0.6, 0.3, 0.1], [2, 2, 2], 6.0, 0.0161),
    ],
)
def test_published_tail_probabilities(weights, dfs, q, tail):
    """Imhof, Computing the distribution of quadratic forms in normal variables, Biometrika 1961;48:419-426, Table 1, Q1 and Q2.

    From memory; four printed digits.
    """
    assert 1 - mixture_cdf(q, np.array(weights), np.array(dfs)) == pytest.approx(tail, abs=1e-4)


def test_two_equal_pairs_have_a_closed_form():
    """λ₁χ²(2) + λ₂χ²(2) is a difference of exponentials."""
    a, b = 2.0, 0.5
    for q in (0.01, 0.3, 2.0, 5.0, 40.0):
        exact = 1 - (a * np.exp(-q / (2 * a)) - b * np.exp(-q / (2 * b))) / (a - b)
        assert mixture_cdf(q, np.array([a, b]), np.array([2, 2])) == pytest.approx(exact, abs=1e-12)


def test_a_finer_and_longer_contour_changes_nothing(monkeypatch):
    rng = np.random.default_rng(1)
    cases = [np.exp(rng.normal(0, spread, n)) for n in (2, 3, 5, 20, 60) for spread in (1, 3, 6)]
    points = [(weights.sum() * f, weights) for weights in cases for f in (1e-4, 0.01, 0.1, 0.5, 0.99, 1.01, 2, 5, 30)]
    ours = np.array([mixture_cdf(*point) for point in points])
    monkeypatch.setattr(quadratic_form, "STEP", quadratic_form.STEP / 4)
    monkeypatch.setattr(quadratic_form, "NODES", 12 * quadratic_form.NODES)
    assert np.abs(ours - [mixture_cdf(*point) for point in points]).max() < 1e-7


def test_many_forms_are_evaluated_at_once_and_nothing_lies_below_zero():
    weights = np.array([[1.0, 2.0, 3.0], [0.1, 0.1, 5.0]])
    together = mixture_cdf(2.5, weights)
    assert together == pytest.approx([float(mixture_cdf(2.5, row)) for row in weights])
    assert (mixture_cdf(0.0, weights) == 0).all()
    assert np.isfinite(mixture_cdf(1e30, weights)).all() and np.isfinite(mixture_cdf(1e-90, weights)).all()
