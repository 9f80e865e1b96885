"""Points from a multivariate t about a mode, by scrambled Sobol' sequences: the same points on every call."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, gammaln, ndtri
from scipy.stats import qmc

DF = 5.0  # of the multivariate t: tails heavier than a posterior's
WIDER = 1.15  # of a proposal's scale against the standard deviation of what is known, so that its tails are never the narrower ones
FLATTER = 0.25  # power of a curvature that a first proposal has for its scale: ½, its own, is too narrow off the mode
SETS = 8  # independently scrambled sequences, whose differences tell the error
SEED = 20_240_501
LEAST_CURVATURE = 0.5  # smallest eigenvalue of a curvature that is followed; the prior's own is 1


@dataclass(frozen=True, eq=False)
class Proposal:
    """A multivariate t with ``DF`` degrees of freedom.

    Attributes
    ----------
    centre : (K,).
    root : (K, K) with root·rootᵀ the scale matrix.
    """

    centre: np.ndarray
    root: np.ndarray

    def log_density(self, at: np.ndarray) -> np.ndarray:
        """(S,) at points (S, K)."""
        K = len(self.centre)
        x = np.linalg.solve(self.root, (at - self.centre).T)
        constant = gammaln((DF + K) / 2) - gammaln(DF / 2) - K / 2 * np.log(DF * np.pi) - float(np.linalg.slogdet(self.root)[1])
        return constant - (DF + K) / 2 * np.log1p((x**2).sum(axis=0) / DF)

    def points(self, count: int) -> tuple[np.ndarray, np.ndarray]:
        """The first points of every sequence.

        Parameters
        ----------
        count : of each sequence, a power of 2.

        Returns
        -------
        (S, K) points, and (S,) the number of the sequence that each comes from, 0 to ``SETS`` − 1.

        Notes
        -----
        Owen (1998), ACM Transactions on Modeling and Computer Simulation 8:71–102, on scrambling; the sequence's last coordinate
        gives the χ² of the t.
        """
        K = len(self.centre)
        drawn = [qmc.Sobol(K + 1, seed=np.random.default_rng([SEED, count, number])).random(count) for number in range(SETS)]
        u = np.clip(np.concatenate(drawn), 1e-12, 1 - 1e-12)
        stretch = np.sqrt(DF / (2 * gammaincinv(DF / 2, u[:, K])))
        x = ndtri(u[:, :K]) * stretch[:, None]
        return self.centre + x @ self.root.T, np.repeat(np.arange(SETS), count)


def about_mode(mode: np.ndarray, curvature: np.ndarray) -> Proposal:
    """Proposal from a mode and minus the second derivatives of the log density there, widened where it is narrow."""
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    values = np.maximum(values, LEAST_CURVATURE)
    return Proposal(mode, (vectors / values**FLATTER) @ vectors.T)  # symmetric, for rounding may turn the sign of a vector


def about_points(at: np.ndarray, weights: np.ndarray, before: np.ndarray) -> Proposal:
    """Proposal with the mean and, a little widened, the covariance of weighted points: a step of adaptive importance sampling.

    Parameters
    ----------
    at, weights : (S, K) points and (S,) their weights, which sum to 1.
    before : (K, K) root of a scale matrix that counts as ``K + 2`` points more, for a covariance from few points is noisy.

    Notes
    -----
    Bugallo et al. (2017), IEEE Signal Processing Magazine 34(4):60–79.
    """
    mean, effective, own = weights @ at, 1 / float(weights @ weights), at.shape[1] + 2
    off = at - mean
    covariance = (effective * (off * weights[:, None]).T @ off + own * before @ before.T) / (effective + own)
    return Proposal(mean, WIDER * np.linalg.cholesky(covariance))
