"""Points of a split multivariate t about a mode, by scrambled Sobol' sequences: the same points on every call.

Along each axis the t is wider to one side than to the other (the split Student of Geweke 1989, Econometrica 57:1317–1339, here with
one density where its sides meet, as in the two-piece normal: Wallis 2014, Statistical Science 29:106–112)::

    x = centre + root·ε,    f(ε) = Π 2/(leftᵢ + rightᵢ) · t_ν(ε/side),    sideᵢ = leftᵢ where εᵢ < 0, rightᵢ elsewhere
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, gammaln, ndtri

from .arrays import Array, Ints

DF = 7.0  # of the multivariate t: tails heavier than a posterior's
WIDER = 1.05  # of a proposal's scale against the standard deviation of what is known, so that its tails are seldom the narrower ones
SETS = 8  # independently scrambled sequences, whose differences tell the error
SEED = 20_240_501
LEAST_CURVATURE = 0.5  # smallest eigenvalue of a curvature that is followed; the prior's own is 1
STEPS = (1.0, 2.0, 3.0)  # along an axis, in what the curvature makes a standard deviation, at which the fall of the density is met
NARROWEST, WIDEST = 0.3, 3.0  # of a side, in the same unit
FLAT = 1e-3  # a fall of the log density that counts as none
FEW = 20.0  # effective points at which half of the skewness seen among them is believed
MOST_SKEW = 0.5  # of a two-piece normal, which can have no more than .995
BEND = 2 - 6 / np.pi  # the skewness of a two-piece normal of variance 1 with sides d apart is √(2/π)(d − BEND·d³)


@dataclass(frozen=True, eq=False)
class Proposal:
    """A split multivariate t with ``DF`` degrees of freedom.

    Attributes
    ----------
    centre : (K,) its mode.
    root : (K, K) whose columns are the axes.
    left, right : (K,) scale along each axis to either side.
    """

    centre: Array
    root: Array
    left: Array
    right: Array

    def log_density(self, at: Array) -> Array:
        """(S,) at points (S, K)."""
        K = len(self.centre)
        x = np.linalg.solve(self.root, (at - self.centre).T).T
        x = np.where(x < 0, x / self.left, x / self.right)
        sides = float(np.log((self.left + self.right) / 2).sum())
        constant = gammaln((DF + K) / 2) - gammaln(DF / 2) - K / 2 * np.log(DF * np.pi) - float(np.linalg.slogdet(self.root)[1]) - sides
        density: Array = constant - (DF + K) / 2 * np.log1p((x**2).sum(axis=1) / DF)
        return density

    def points(self, count: int, draw: int = 0) -> tuple[Array, Ints]:
        """The first points of every sequence.

        Parameters
        ----------
        count : of each sequence, a power of 2.
        draw : number of the draw; others have other sequences.

        Returns
        -------
        (S, K) points, and (S,) the number of the sequence that each comes from, 0 to ``SETS`` − 1.

        Notes
        -----
        Owen (1998), ACM Transactions on Modeling and Computer Simulation 8:71–102, on scrambling; the sequence's last coordinate
        gives the χ² of the t.
        """
        K = len(self.centre)
        u, sets = _uniform(K + 1, count, draw)
        stretch = np.sqrt(DF / (2 * gammaincinv(DF / 2, u[:, K])))
        share, u = self.left / (self.left + self.right), u[:, :K]
        below = u < share  # u/share is uniform there, and (1 − u)/(1 − share) above: half of it is a tail of the normal
        tail = ndtri(np.where(below, u / (2 * share), (1 - u) / (2 * (1 - share))))
        x = np.where(below, tail * self.left, -tail * self.right) * stretch[:, None]
        return self.centre + x @ self.root.T, sets

    def covariance(self) -> Array:
        """(K, K) of the two-piece normal with the same sides."""
        return (self.root * ((1 - 2 / np.pi) * (self.right - self.left) ** 2 + self.left * self.right)) @ self.root.T


def normal_points(mean: Array, covariance: Array, count: int) -> tuple[Array, Ints]:
    """The first points of every sequence for a normal distribution, as ``Proposal.points`` has them."""
    u, sets = _uniform(len(mean), count, 0)
    return mean + ndtri(u) @ np.linalg.cholesky(covariance).T, sets


def _uniform(dimensions: int, count: int, draw: int) -> tuple[Array, Ints]:
    """Points inside the unit cube, (SETS · count, dimensions), and the number of the sequence of each."""
    from scipy.stats import qmc  # here, for many a build has nothing to draw, and it takes half a second

    drawn = [qmc.Sobol(dimensions, seed=np.random.default_rng([SEED, count, number, draw])).random(count) for number in range(SETS)]
    return np.clip(np.concatenate(drawn), 1e-12, 1 - 1e-12), np.repeat(np.arange(SETS), count)


def along_axes(mode: Array, curvature: Array, log_density: Callable[[Array], Array]) -> Proposal:
    """Proposal about a mode, as wide to each side of each axis as the density itself is there.

    Parameters
    ----------
    mode, curvature : (K,) and (K, K) minus the second derivatives of the log density there.
    log_density : (S,) of points (S, K).

    Notes
    -----
    A side has the largest of the scales by which a normal density would have fallen as far at ``STEPS`` (Geweke 1989, section 4).
    The axes are those of the Cholesky factor: rounding may turn the sign of an eigenvector, and then points differ by machine.
    """
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    root = np.linalg.cholesky((vectors / np.maximum(values, LEAST_CURVATURE)) @ vectors.T)
    steps = np.array(STEPS)
    ahead = steps[:, None, None] * np.concatenate([-root.T, root.T])  # (steps, 2K, K)
    met = log_density(np.vstack([mode, mode + ahead.reshape(-1, len(mode))]))
    falls = np.maximum(met[0] - met[1:].reshape(len(steps), -1), FLAT)
    left, right = np.split(np.clip((steps[:, None] / np.sqrt(2 * falls)).max(axis=0), NARROWEST, WIDEST), 2)
    return Proposal(mode, WIDER * root, left, right)


def broad(K: int) -> Proposal:
    """Proposal about standard normal coordinates, such as those of priors."""
    return Proposal(np.zeros(K), WIDER * np.eye(K), np.ones(K), np.ones(K))


def about_points(at: Array, weights: Array, before: Proposal) -> Proposal:
    """Proposal with the mean, the skewness and, a little widened, the covariance of weighted points: adaptive importance sampling.

    Parameters
    ----------
    at, weights : (S, K) points and (S,) their weights, which sum to 1.
    before : whose covariance counts as ``K + 2`` points more, for one from few points is noisy.

    Notes
    -----
    Bugallo et al. (2017), IEEE Signal Processing Magazine 34(4):60–79.
    """
    mean, effective, own = weights @ at, 1 / float(weights @ weights), at.shape[1] + 2
    off = at - mean
    covariance = (effective * (off * weights[:, None]).T @ off + own * before.covariance()) / (effective + own)
    root = np.linalg.cholesky(covariance)
    u = np.linalg.solve(root, off.T).T
    skew = weights @ u**3 * effective / (effective + FEW)
    shift, left, right = two_pieces(skew)
    return Proposal(mean + root @ shift, WIDER * root, left, right)


def two_pieces(skew: Array) -> tuple[Array, Array, Array]:
    """Mode and the scales of both sides of two-piece normals with mean 0, variance 1 and a given skewness."""
    longest = 2 / np.sqrt(3 * BEND)
    apart = longest * np.sin(np.arcsin(3 * np.clip(skew, -MOST_SKEW, MOST_SKEW) * np.sqrt(np.pi / 2) / longest) / 3)
    left = (np.sqrt(apart**2 + 4 * (1 - (1 - 2 / np.pi) * apart**2)) - apart) / 2
    return -np.sqrt(2 / np.pi) * apart, left, left + apart
