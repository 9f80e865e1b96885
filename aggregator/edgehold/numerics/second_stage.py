"""A second stage on a posterior: effects that were fixed, taken as means of their groups and deviations within them.

Given the standard deviations of the first stage its effects are normal, N(m, V) at each of its weighted points. With θ = Fμ + δ, F the
groups' indicators, μ flat and δ ~ N(0, τ²I), everything but τ is integrated in closed form, and τ on a grid of its prior's scores.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arrays import Array, Ints
from .half_t import HalfT, from_score
from .normal_mixture import NormalMixture

GRID, FARTHEST = 81, 4.0  # places of τ in the coordinate in which its prior is standard normal, and how far they reach
NEGLIGIBLE = 1e-6  # share of the heaviest weight below which a point beside a place of τ tells nothing of a contrast


@dataclass(frozen=True, eq=False)
class SecondStage:
    """Joint posterior of τ and of the first stage's points, and of the groups' means given both.

    Attributes
    ----------
    values : (G,) standard deviations within groups.
    joint : (S, G) weights of the points of the first stage beside each of them; they sum to 1.
    prior : of τ.
    groups : (a,) number of the group that an effect is of.
    """

    values: Array
    joint: Array
    prior: HalfT
    groups: Ints
    _means: Array
    _covariances: Array
    _within: Array
    _axes: Array
    _sizes: Array
    _scores: Array

    @property
    def kept(self) -> tuple[Ints, Ints]:
        """Points of the first stage, and places of τ, of all pairs of them with some weight."""
        at, place = np.nonzero(self.joint > NEGLIGIBLE * self.joint.max())
        return at, place

    def contrast(self, first: int, second: int) -> tuple[NormalMixture, NormalMixture]:
        """Posterior of the difference of two groups' means, and of one more member of each, which no run was about; a part for each pair
        of ``kept``.

        Parameters
        ----------
        first, second : numbers of the groups.

        Notes
        -----
        The difference h of the members' plain means is unbiased, and its best correction is by its regression on the differences within
        groups, Aᵀθ: hᵀm − hᵀVA(AᵀVA + τ²I)⁻¹Aᵀm, with hᵀVh + τ²hᵀh − hᵀVA(AᵀVA + τ²I)⁻¹AᵀVh for its variance. It is the generalised
        least squares estimate, as h is orthogonal to A.
        """
        mine, others = self.groups == first, self.groups == second
        h = mine / mine.sum() - others / others.sum()
        at, place = self.kept
        tau2, weights = self.values[place] ** 2, self.joint[at, place]
        shared = np.einsum("sjk,sj->sk", self._axes, (self._covariances @ h) @ self._within)  # (S, a − g), along the axes
        alone = np.einsum("i,sij,j->s", h, self._covariances, h)
        means, variances = (self._means @ h)[at], alone[at] + tau2 * (h @ h)
        for size, ours, score in zip(self._sizes.T, shared.T, self._scores.T, strict=True):
            gain = ours[at] / (size[at] + tau2)
            means, variances = means - gain * score[at], variances - gain * ours[at]
        weights = weights / weights.sum()
        return NormalMixture(weights, means, variances), NormalMixture(weights, means, variances + 2 * tau2)


def second_stage(weights: Array, means: Array, covariances: Array, groups: Ints, prior: HalfT, grid: int = GRID) -> SecondStage:
    """Posterior of effects as members of groups.

    Parameters
    ----------
    weights : (S,) of the points of the first stage, whose effects had a flat prior.
    means, covariances : (S, a) and (S, a, a) of the effects at each point. They may be known up to a common constant only: nothing but
        differences is read from them.
    groups : (a,) number of the group that an effect is of, from 0.
    prior : of τ.
    grid : how many places of τ.

    Notes
    -----
    With A, (a, a − g), an orthonormal basis of the differences within groups, the marginal likelihood of τ is that of
    Aᵀm ~ N(0, AᵀVA + τ²I), the restricted one (Patterson & Thompson 1971, Biometrika 58:545–554; the two stages: Lindley & Smith 1972,
    J. R. Stat. Soc. B 34:1–41). In the eigenvectors of AᵀVA it is a product.
    """
    indicators = (groups[:, None] == np.unique(groups)).astype(float)
    within = np.linalg.qr(indicators, mode="complete")[0][:, indicators.shape[1] :]
    sizes, axes = np.linalg.eigh(within.T @ covariances @ within)
    scores = np.einsum("sjk,sj->sk", axes, means @ within)
    z = np.linspace(-FARTHEST, FARTHEST, grid)
    values = from_score(prior, z)
    total = sizes[:, None, :] + (values**2)[:, None]
    log_joint = -0.5 * (scores[:, None, :] ** 2 / total + np.log(total)).sum(axis=2) - 0.5 * z**2
    joint = weights[:, None] * np.exp(log_joint - log_joint.max())
    return SecondStage(values, joint / joint.sum(), prior, groups, means, covariances, within, axes, sizes, scores)
