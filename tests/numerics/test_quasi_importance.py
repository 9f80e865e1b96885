"""Proposals of importance sampling, against scipy's multivariate t and integrals of the two-piece normal."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, kstest, multivariate_t, norm

from edgehold.numerics.quasi_importance import (
    DF,
    FEW,
    LEAST_CURVATURE,
    MOST_SKEW,
    NARROWEST,
    SETS,
    WIDER,
    WIDEST,
    Proposal,
    about_points,
    along_axes,
    broad,
    normal_points,
    two_pieces,
)

ROOT = np.array([[0.5, 0.0, 0.0], [0.2, 1.3, 0.0], [-0.4, 0.1, 0.2]])
CENTRE = np.array([1.0, -2.0, 0.3])


def even(centre, root):
    """A proposal as wide to one side as to the other."""
    return Proposal(centre, root, np.ones(len(centre)), np.ones(len(centre)))


def test_the_log_density_is_that_of_scipy():
    at = np.random.default_rng(1).normal(size=(50, 3)) * 3
    wanted = multivariate_t(CENTRE, ROOT @ ROOT.T, df=DF).logpdf(at)
    assert even(CENTRE, ROOT).log_density(at) == pytest.approx(wanted, rel=1e-11)


def test_in_one_dimension_the_density_integrates_to_one():
    one = even(np.array([0.4]), np.array([[0.7]]))
    assert quad(lambda x: float(np.exp(one.log_density(np.array([[x]]))[0])), -np.inf, np.inf)[0] == pytest.approx(1, abs=1e-9)


def test_points_are_the_same_on_every_call_and_their_sets_differ():
    first, sets = even(CENTRE, ROOT).points(32)
    again, _ = even(CENTRE, ROOT).points(32)
    assert first.tobytes() == again.tobytes()
    assert sets.tolist() == [number for number in range(SETS) for _ in range(32)]
    assert len(np.unique(first, axis=0)) == len(first)


def test_more_points_are_new_ones():
    few, many = even(CENTRE, ROOT).points(16)[0], even(CENTRE, ROOT).points(32)[0]
    assert not {tuple(one) for one in few} & {tuple(one) for one in many}


def test_the_points_have_the_moments_and_the_distances_of_the_multivariate_t():
    """Covariance ν/(ν − 2) times the scale matrix; the squared distance over K is F(K, ν), here asked of scipy's own draws."""
    at, _ = even(CENTRE, ROOT).points(1024)
    assert at.mean(axis=0) == pytest.approx(CENTRE, abs=0.005)
    assert np.cov(at.T) == pytest.approx(DF / (DF - 2) * ROOT @ ROOT.T, rel=0.03, abs=0.01)
    theirs = multivariate_t(CENTRE, ROOT @ ROOT.T, df=DF).rvs(20_000, random_state=np.random.default_rng(3))
    ours, drawn = (np.square(np.linalg.solve(ROOT, (x - CENTRE).T)).sum(axis=0) for x in (at, theirs))
    assert kstest(ours, drawn).statistic < 0.02


def test_the_points_integrate_a_polynomial_far_better_than_as_many_independent_draws():
    """Error of the mean of x₁² over sets of 256, against √(Var/256) of independent draws: at most half; tails this heavy allow no more."""
    one = even(np.zeros(3), np.eye(3))
    at, sets = one.points(256)
    means = np.array([np.square(at[sets == s, 0]).mean() for s in range(SETS)])
    variance = 3 * DF**2 / ((DF - 2) * (DF - 4)) - (DF / (DF - 2)) ** 2
    assert np.sqrt(np.mean((means - DF / (DF - 2)) ** 2)) < np.sqrt(variance / 256) / 2


def test_independent_sets_scatter_about_the_truth_as_their_spread_says():
    at, sets = even(np.zeros(2), np.eye(2)).points(64)
    means = np.array([at[sets == s].mean(axis=0) for s in range(SETS)])
    ratio = (means.mean(axis=0) / (means.std(axis=0, ddof=1) / np.sqrt(SETS))) ** 2
    assert ratio.sum() < chi2(2).isf(1e-4) * 2


SPLIT = Proposal(np.array([0.4]), np.array([[0.7]]), np.array([0.6]), np.array([1.5]))


def test_a_split_density_integrates_to_one_and_is_continuous_at_its_centre():
    density = lambda x: float(np.exp(SPLIT.log_density(np.array([[x]]))[0]))  # noqa: E731
    sides = [quad(density, *ends)[0] for ends in ((-np.inf, 0.4), (0.4, np.inf))]
    assert sides == pytest.approx([0.6 / 2.1, 1.5 / 2.1], abs=1e-9)
    assert density(0.4 - 1e-9) == pytest.approx(density(0.4 + 1e-9), rel=1e-6)


def test_points_of_a_split_density_lie_as_its_integral_says():
    at, _ = SPLIT.points(1024)
    for x in (-1.0, 0.0, 0.4, 1.0, 2.5):
        below = quad(lambda v: float(np.exp(SPLIT.log_density(np.array([[v]]))[0])), -np.inf, x)[0]
        assert (at[:, 0] < x).mean() == pytest.approx(below, abs=0.002)


def test_points_of_a_split_density_in_three_dimensions_average_to_its_integral():
    """Σ f(x)/q(x) over points of q estimates ∫f = 1, f here a normal inside q's tails."""
    one = Proposal(CENTRE, ROOT, np.array([0.7, 1.2, 1.0]), np.array([1.4, 0.8, 1.0]))
    at, _ = one.points(1024)
    inner = multivariate_t(CENTRE, 0.4 * ROOT @ ROOT.T, df=np.inf).logpdf(at)
    assert np.exp(inner - one.log_density(at)).mean() == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize("skew", [-0.45, -0.1, 0.0, 0.3, 0.5])
def test_a_two_piece_normal_has_the_mean_the_variance_and_the_skewness_asked_for(skew):
    shift, left, right = (float(one) for one in two_pieces(np.array(skew)))
    density = lambda x: 2 / (left + right) * norm.pdf(x / (left if x < 0 else right))  # noqa: E731
    moment = lambda power: sum(  # noqa: E731
        quad(lambda x: (x + shift) ** power * density(x), *ends)[0] for ends in ((-12, 0), (0, 12))
    )
    assert [moment(power) for power in range(4)] == pytest.approx([1, 0, 1, skew], abs=1e-8)
    one = Proposal(np.zeros(1), np.eye(1), np.array([left]), np.array([right]))
    assert one.covariance()[0, 0] == pytest.approx(1)


def test_more_skewness_than_is_safe_is_not_followed():
    assert two_pieces(np.array([3.0]))[1:] == two_pieces(np.array([MOST_SKEW]))[1:]


def test_along_the_axes_the_sides_are_as_wide_as_the_density_is():
    """A density that is a two-piece normal along each axis of the Cholesky factor has just these sides."""
    covariance = ROOT @ ROOT.T
    axes, left, right = np.linalg.cholesky(covariance), np.array([0.5, 1.0, 2.0]), np.array([1.5, 1.0, 0.8])

    def log_density(z):
        x = np.linalg.solve(axes, (z - CENTRE).T).T
        return -0.5 * ((x / np.where(x < 0, left, right)) ** 2).sum(axis=1)

    one = along_axes(CENTRE, np.linalg.inv(covariance), log_density)
    assert one.centre is CENTRE
    assert one.root == pytest.approx(WIDER * axes) and one.left == pytest.approx(left) and one.right == pytest.approx(right)


def test_a_level_density_is_followed_no_farther_than_the_widest_side_and_a_cliff_no_nearer_than_the_narrowest():
    one = along_axes(np.zeros(1), np.eye(1), lambda z: np.where(z[:, 0] >= 0, 0.0, -1e6))
    assert (one.left[0], one.right[0]) == (NARROWEST, WIDEST)


def test_a_direction_without_curvature_is_not_followed_to_infinity():
    one = along_axes(np.zeros(2), np.diag([-3.0, 1e-9]), lambda z: -0.5 * (z**2).sum(axis=1))
    assert np.linalg.eigvalsh(one.root @ one.root.T).max() <= WIDER**2 / LEAST_CURVATURE + 1e-12


def test_the_broad_proposal_lies_about_standard_normal_coordinates():
    assert broad(3).covariance() == pytest.approx(WIDER**2 * np.eye(3))


def test_about_many_points_the_proposal_has_their_mean_their_skewness_and_a_little_more_than_their_covariance():
    """Gamma(16) has skewness ½: along the one axis of it the sides differ by what a two-piece normal of nearly that skewness has."""
    draws = np.random.default_rng(8)
    at = np.column_stack([draws.gamma(16, size=20_000) / 4, draws.normal(size=20_000)])
    one = about_points(at, np.full(20_000, 1 / 20_000), broad(2))
    assert one.covariance() == pytest.approx(WIDER**2 * np.cov(at.T), rel=0.01, abs=0.01)
    _, left, right = two_pieces(np.array(0.5 * 20_000 / (20_000 + FEW)))
    assert (one.left[0], one.right[0]) == pytest.approx((left, right), abs=0.05)
    assert (one.left[1], one.right[1]) == pytest.approx((1, 1), abs=0.05)
    mean = one.centre + one.root @ (np.sqrt(2 / np.pi) * (one.right - one.left)) / WIDER
    assert mean == pytest.approx(at.mean(axis=0), abs=1e-9)


def test_about_one_point_that_has_all_weight_the_scale_stays_near_the_one_before():
    before = even(np.zeros(2), ROOT[:2, :2])
    one = about_points(np.array([[1.0, 2.0], [5.0, 5.0]]), np.array([1.0, 0.0]), before)
    assert one.centre.tolist() == [1.0, 2.0]
    assert one.root @ one.root.T == pytest.approx(WIDER**2 * 4 / 5 * before.covariance(), rel=1e-12)


def test_normal_points_have_the_mean_and_the_covariance_asked_for():
    at, sets = normal_points(CENTRE, ROOT @ ROOT.T, 256)
    assert at.mean(axis=0) == pytest.approx(CENTRE, abs=0.002)
    assert np.cov(at.T) == pytest.approx(ROOT @ ROOT.T, rel=0.01, abs=0.003)
    assert sets.tolist() == [number for number in range(SETS) for _ in range(256)]
