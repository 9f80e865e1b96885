"""Proposals of importance sampling, against scipy's multivariate t and integrals."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, kstest, multivariate_t

from aggregator.numerics.quasi_importance import DF, LEAST_CURVATURE, SETS, WIDER, Proposal, about_mode, about_points

ROOT = np.array([[0.5, 0.0, 0.0], [0.2, 1.3, 0.0], [-0.4, 0.1, 0.2]])
CENTRE = np.array([1.0, -2.0, 0.3])


def test_the_log_density_is_that_of_scipy():
    at = np.random.default_rng(1).normal(size=(50, 3)) * 3
    wanted = multivariate_t(CENTRE, ROOT @ ROOT.T, df=DF).logpdf(at)
    assert Proposal(CENTRE, ROOT).log_density(at) == pytest.approx(wanted, rel=1e-11)


def test_in_one_dimension_the_density_integrates_to_one():
    one = Proposal(np.array([0.4]), np.array([[0.7]]))
    assert quad(lambda x: float(np.exp(one.log_density(np.array([[x]]))[0])), -np.inf, np.inf)[0] == pytest.approx(1, abs=1e-9)


def test_points_are_the_same_on_every_call_and_their_sets_differ():
    first, sets = Proposal(CENTRE, ROOT).points(32)
    again, _ = Proposal(CENTRE, ROOT).points(32)
    assert first.tobytes() == again.tobytes()
    assert sets.tolist() == [number for number in range(SETS) for _ in range(32)]
    assert len(np.unique(first, axis=0)) == len(first)


def test_more_points_are_new_ones():
    few, many = Proposal(CENTRE, ROOT).points(16)[0], Proposal(CENTRE, ROOT).points(32)[0]
    assert not {tuple(one) for one in few} & {tuple(one) for one in many}


def test_the_points_have_the_moments_and_the_distances_of_the_multivariate_t():
    """Covariance ν/(ν − 2) times the scale matrix; the squared distance over K is F(K, ν), here asked of scipy's own draws."""
    at, _ = Proposal(CENTRE, ROOT).points(1024)
    assert at.mean(axis=0) == pytest.approx(CENTRE, abs=0.005)
    assert np.cov(at.T) == pytest.approx(DF / (DF - 2) * ROOT @ ROOT.T, rel=0.03, abs=0.01)
    theirs = multivariate_t(CENTRE, ROOT @ ROOT.T, df=DF).rvs(20_000, random_state=np.random.default_rng(3))
    ours, drawn = (np.square(np.linalg.solve(ROOT, (x - CENTRE).T)).sum(axis=0) for x in (at, theirs))
    assert kstest(ours, drawn).statistic < 0.02


def test_the_points_integrate_a_polynomial_far_better_than_as_many_independent_draws():
    """Error of the mean of x₁² over sets of 256, against √(Var/256) of independent draws: at most half; tails this heavy allow no more."""
    one = Proposal(np.zeros(3), np.eye(3))
    at, sets = one.points(256)
    means = np.array([np.square(at[sets == s, 0]).mean() for s in range(SETS)])
    variance = 3 * DF**2 / ((DF - 2) * (DF - 4)) - (DF / (DF - 2)) ** 2
    assert np.sqrt(np.mean((means - DF / (DF - 2)) ** 2)) < np.sqrt(variance / 256) / 2


def test_independent_sets_scatter_about_the_truth_as_their_spread_says():
    at, sets = Proposal(np.zeros(2), np.eye(2)).points(64)
    means = np.array([at[sets == s].mean(axis=0) for s in range(SETS)])
    ratio = (means.mean(axis=0) / (means.std(axis=0, ddof=1) / np.sqrt(SETS))) ** 2
    assert ratio.sum() < chi2(2).isf(1e-4) * 2


def test_about_a_mode_the_centre_is_the_mode_and_narrow_directions_are_widened():
    curvature = ROOT @ ROOT.T * 40 + np.eye(3)
    one = about_mode(CENTRE, curvature)
    assert one.centre is CENTRE
    excess = np.linalg.eigvalsh(one.root @ one.root.T - np.linalg.inv(curvature))
    assert (excess >= -1e-12).all()


def test_a_direction_without_curvature_is_not_followed_to_infinity():
    values = np.linalg.eigvalsh((lambda root: root @ root.T)(about_mode(np.zeros(2), np.diag([-3.0, 1e-9])).root))
    assert np.isfinite(values).all() and values.max() <= LEAST_CURVATURE**-0.5 + 1e-12


def test_about_many_equal_points_the_proposal_has_their_mean_and_a_little_more_than_their_covariance():
    at = np.random.default_rng(8).normal(size=(4000, 3)) @ ROOT.T + CENTRE
    one = about_points(at, np.full(4000, 1 / 4000), np.eye(3))
    assert one.centre == pytest.approx(at.mean(axis=0), abs=1e-12)
    assert one.root @ one.root.T == pytest.approx(WIDER**2 * np.cov(at.T), rel=0.02, abs=0.01)


def test_about_one_point_that_has_all_weight_the_scale_stays_near_the_one_before():
    one = about_points(np.array([[1.0, 2.0], [5.0, 5.0]]), np.array([1.0, 0.0]), ROOT[:2, :2])
    assert one.centre.tolist() == [1.0, 2.0]
    assert one.root @ one.root.T == pytest.approx(WIDER**2 * 4 / 5 * ROOT[:2, :2] @ ROOT[:2, :2].T, rel=1e-12)
