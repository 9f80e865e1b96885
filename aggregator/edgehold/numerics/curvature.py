"""Second derivatives of the restricted likelihood by the standard deviations of terms, and how what is normal given them moves.

Symbols are those of ``restricted_likelihood``; B = C⁻¹, whole, u = C⁻¹rhs the scaled solution, of which uₖ belongs to the k-th term. Its
standard deviation scales that term's rows and columns of C and nothing else, so that for sums l of effects and coefficients, in the same
scale::

    ∂(lᵀu)/∂σₖ = (2/σₖ) (Bl)ₖᵀuₖ      ∂(lᵀBl)/∂σₖ = (2/σₖ) (Bl)ₖᵀ(Bl)ₖ

and tr(B)ₖ and uₖᵀuₖ, of which the slopes consist, move by squares of entries of B and by uₖᵀBₖₗuₗ: tr(PVₖPVₗ) and yᵀPVₖPVₗPy of
Harville (1977, J. Am. Stat. Assoc. 72:320–338) without an n × n matrix. Sites of limits move along; by how much follows from their
staying settled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from .arrays import Array
from .restricted_likelihood import LikelihoodPoint, MixedRows, told_by_limits, whole_inverse

STEP = 1e-4  # of the differences that say how one site moves with what the others say, in units of that


@dataclass(frozen=True, eq=False)
class Curvature:
    """Derivatives by the standard deviations of the K terms.

    Attributes
    ----------
    information : (K, K) minus the second derivatives of the log-likelihood.
    coefficients, covariances : (K, p) and (K, p, p) of b given the standard deviations.
    target_means, target_variances : (K, T) of the targets.
    """

    information: Array
    coefficients: Array
    covariances: Array
    target_means: Array
    target_variances: Array


def curvature_at(rows: MixedRows, sds: Array, residual: float | None, point: LikelihoodPoint, targets: Array) -> Curvature:
    """The derivatives at one point.

    Parameters
    ----------
    rows, sds, residual : as for ``likelihood_at``; standard deviations positive.
    point : the likelihood there.
    targets : (T, q + p) weights of sums of effects and coefficients.
    """
    q, limits, K = rows.q, len(rows.low), len(sds)
    inverse, u = whole_inverse(rows, sds, residual, point), point.solution
    sums = np.vstack([rows.near.toarray(), np.eye(q + rows.p)[q:], targets]) * point.scale
    met, own, rest = slice(limits), slice(limits, limits + rows.p), slice(limits + rows.p, None)
    turned = inverse @ sums.T
    of_term = sp.csr_matrix((np.ones(q), (rows.owner, np.arange(q))), shape=(K, q))
    moved = of_term.T.toarray() * u[:q, None]
    ends, double = np.cumsum(rows.sizes)[:-1], 2 / sds[:, None]
    means, variances = double * (of_term @ (turned[:q] * u[:q, None])), double * (of_term @ turned[:q] ** 2)
    covariances = double[:, :, None] * np.array([part.T @ part for part in np.split(turned[:q, own], ends)])
    squares, products = of_term @ (of_term @ inverse[:q, :q] ** 2).T, moved.T @ inverse[:q, :q] @ moved
    on_diagonal = rows.sizes - 3 * (of_term @ (np.diag(inverse)[:q] + u[:q] ** 2))
    second = (np.diag(on_diagonal) + 2 * squares + 4 * products) / np.outer(sds, sds)
    if limits:
        fitted, covariance = sums[met] @ u, sums @ turned[:, met]
        weights, pulls = _sites_moved(rows, residual, point, fitted, covariance[met], means[:, met], variances[:, met])
        second = second + pulls @ means[:, met].T - weights @ (variances[:, met] / 2 + fitted * means[:, met]).T
        means = means + (pulls - weights * fitted) @ covariance.T
        variances = variances - weights @ (covariance**2).T
        covariances = covariances - (covariance[own] * weights[:, None, :]) @ covariance[own].T
    return Curvature(-(second + second.T) / 2, means[:, own], covariances, means[:, rest], variances[:, rest])


def _sites_moved(
    rows: MixedRows, residual: float | None, point: LikelihoodPoint, fitted: Array, covariance: Array, means: Array, variances: Array
) -> tuple[Array, Array]:
    """How the weights w of limited rows, and w times their values, move with each standard deviation, (K, l) each.

    Parameters
    ----------
    fitted, covariance : (l,) and (l, l) of the limited rows.
    means, variances : (K, l) how the fitted values and their variances move while no site does.
    """
    noise = rows.extra + (0.0 if residual is None else residual**2)
    precision, shift = point.sites.precision, point.sites.shift
    weight = 1 / (noise + 1 / precision)
    spread = np.diag(covariance)
    others, centre = 1 / spread - weight, (fitted / spread - weight * shift / precision)  # natural parameters of what the others say

    def told(others: Array, centre: Array) -> Array:
        site = told_by_limits(centre / others, 1 / others + noise, rows.low, rows.high)
        weights = 1 / (noise + 1 / site.precision)
        return np.stack([weights, weights * site.shift / site.precision])

    steps = STEP * others, STEP * np.sqrt(others)
    by_others = (told(others + steps[0], centre) - told(others - steps[0], centre)) / (2 * steps[0])
    by_centre = (told(others, centre + steps[1]) - told(others, centre - steps[1])) / (2 * steps[1])

    def followed(change: Array, middle: Array) -> Array:
        """(2l, ...) by how much all sites change where fitted variances and values change by as much as that, (l, ...) each."""
        others_change = -change / spread[:, None] ** 2
        centre_change = middle / spread[:, None] + fitted[:, None] * others_change
        return np.concatenate([by_others[i][:, None] * others_change + by_centre[i][:, None] * centre_change for i in (0, 1)])

    # a site's own change leaves what the others say through its weight and pull, and moves all fitted values
    own = np.block([[np.diag(part) for part in both] for both in zip(by_others, by_centre, strict=True)])
    by_weights, by_pulls = followed(-(covariance**2), -covariance * fitted), followed(np.zeros_like(covariance), covariance)
    found = np.linalg.solve(np.eye(len(own)) + own - np.hstack([by_weights, by_pulls]), followed(variances.T, means.T))
    weights, pulls = np.split(np.asarray(found, dtype=float).T, 2, axis=1)
    return weights, pulls
