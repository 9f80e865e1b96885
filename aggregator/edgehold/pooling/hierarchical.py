"""Hierarchical model: the random-effects meta-analysis of all runs in one stage, with weakly informative priors on its spreads.

The symbols are those of ``edgehold.pooling``; Zₖ gives every row its level of the k-th random term, σₖ that term's standard
deviation::

    y ~ N(Xb, Σσₖ²ZₖZₖᵀ + σ²I)      b flat,  σₖ ~ half-t(νₖ, sₖ)

Coefficients and effects are integrated in closed form. What is left is the posterior of the few standard deviations, by a
deterministic rule: in coordinates in which each prior is standard normal, the mode and the curvature there, then weighted points
of split multivariate t's about it. A contrast's posterior is a mixture of normals over these points, and its limits are roots.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import expm
from scipy.optimize import minimize
from scipy.special import polygamma

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.curvature import curvature_at
from edgehold.numerics.half_t import HalfT, density_slope, from_score, log_density, log_slope
from edgehold.numerics.interval import Interval
from edgehold.numerics.many_points import DenseRows, ManyPoints, dense_rows, likelihoods_at
from edgehold.numerics.normal_mixture import NormalMixture
from edgehold.numerics.pareto import smoothed_weights
from edgehold.numerics.quasi_importance import Proposal, about_points, along_axes, broad, normal_points
from edgehold.numerics.restricted_likelihood import (
    SETTLED,
    LikelihoodPoint,
    MixedRows,
    Sites,
    average_information,
    full_rank,
    likelihood_at,
    prepare_rows,
)
from edgehold.words import Reason

from .crossed.inputs import RESIDUAL, Term, checked_rows
from .inputs import frozen

FLAT = 1e4  # a flat prior on σ is half-normal with this many times the spread of the responses, about which it is level
STAGES = (
    16,
    16,
    32,
    32,
    32,
    64,
    64,
    128,
    256,
    512,
    1024,
    2048,
    4096,
)  # points of each sequence from one proposal after another, until the checks are passed
BROAD = 8  # points of each sequence from where the priors lie: they meet a second mode, and no weight is large without bound
KEPT = ("sds", "coefficients", "covariances", "target_means", "target_variances", "sets")
LARGEST_ERROR = 0.02  # Monte-Carlo error of a limit, in half-widths of its interval
LARGEST_SPREAD_ERROR = 0.25  # the same of the limits of a spread, which no closed form smooths
LARGEST_K = 0.7  # Pareto k̂ from which importance weights are not to be trusted
AS_AT_MODE = math.inf  # sites of limits stay those of the mode: good enough to lay points by, and where they do not settle
CLOSELY = 1e-3  # as in ``restricted_likelihood.SETTLED``; a limit moves by less than .1 % of its half-width below it
LEAST_EFFECTIVE = 50.0  # points of equal weight that other priors must leave
NEGLIGIBLE = 1e-15  # weight of a point so far out that its own arithmetic may fail
FIRST_STEPS, FIRST_STEP = 3, 2.0  # towards the mode, and the longest of them, in prior standard deviations
STEP = 1e-3  # of the differences of the exact gradient that give the rest of the curvature, in prior standard deviations
LEVEL = 5e-5  # slope of the log density at which the search for the mode ends, in the same unit: of some thousand rows, values tell no less
LARGEST_SLOPE = 1e-2  # of the log density at the mode
LARGE = 4000  # effects and coefficients above which the posterior of the standard deviations is taken as normal about its mode
WHOLE = 4000  # effects and coefficients, and twice the limited rows, up to which the curvature comes from a whole inverse
MANY = 20_000  # effects and coefficients above which the information there is the average one, whose own spread is below one in a hundred
MOST_CLIMBS, CLIMBED = 40, 1e-9  # steps to the mode then, and what the last would raise the log density by
LAPLACE = 128  # points of each sequence that then stand for it


@dataclass(frozen=True)
class PosteriorConvergence:
    """How the posterior of the standard deviations was found.

    Attributes
    ----------
    fitted : whether every check was passed.
    points, effective : weighted points, and how many of equal weight they are worth.
    pareto_k : shape of the tail of their weights; below 0.7 they can be relied on.
    largest_error : largest Monte-Carlo error of a contrast's or target's limit, in half-widths of its interval.
    largest_spread_error : the same of the spreads' limits.
    message : what failed, or that the posterior was taken as normal about its mode; else empty.
    """

    fitted: bool
    points: int
    effective: float
    pareto_k: float
    largest_error: float
    largest_spread_error: float
    message: str


@dataclass(frozen=True, eq=False)
class ContrastPosterior:
    """Posterior of a sum of coefficients and effects.

    Attributes
    ----------
    mean, sd : of the posterior.
    interval : central, at the fit's level.
    error : largest Monte-Carlo standard error of its two limits.
    mixture : the whole distribution.
    """

    mean: float
    sd: float
    interval: Interval
    error: float
    mixture: NormalMixture

    def quantile(self, p: float) -> float:
        """Value with posterior probability ``p`` below it."""
        return self.mixture.quantile(p)

    def above(self, x: float) -> float:
        """Posterior probability of a value above ``x``."""
        return self.mixture.above(x)


@dataclass(frozen=True, eq=False)
class SpreadPosterior:
    """Posterior of one standard deviation.

    Attributes
    ----------
    mean, sd : of the standard deviation.
    interval : central, at the fit's level.
    from_prior : posterior standard deviation of ln σ over its prior one: 1 says that the data add nothing.
    values, weights : (S,) the weighted points.
    """

    mean: float
    sd: float
    interval: Interval
    from_prior: float
    values: Array
    weights: Array

    def quantile(self, p: float) -> float:
        """Value with posterior probability ``p`` below it, interpolated between the points on the ln scale."""
        return weighted_quantile(self.values, self.weights, p)


@dataclass(frozen=True, eq=False)
class NoPosterior:
    """A hierarchical model without a posterior.

    Attributes
    ----------
    reason : why there is none.
    priors : by name.
    convergence : record of the computation.
    """

    reason: str
    priors: Mapping[str, HalfT]
    convergence: PosteriorConvergence


@dataclass(frozen=True, eq=False)
class Posterior:
    """Posterior of a hierarchical model.

    Attributes
    ----------
    names : (K,) random terms, the residual last where its standard deviation is unknown.
    priors : by name.
    prior_log_sds : by name, standard deviation of ln σ before the data.
    weights : (S,) of the points.
    sds : (S, K) standard deviations.
    coefficients, covariances : (S, p) and (S, p, p) of b given the standard deviations.
    target_means, target_variances : (S, T) of the targets asked for.
    sets : (S,) which independent sequence a point comes from.
    level : of intervals.
    rows : n.
    convergence : record of the computation.
    mode : (K,) standard deviations at the mode of their posterior, in the coordinates in which the priors are normal; None where it was
        not searched for.
    """

    names: tuple[str, ...]
    priors: Mapping[str, HalfT]
    prior_log_sds: Mapping[str, float]
    weights: Array
    sds: Array
    coefficients: Array
    covariances: Array
    target_means: Array
    target_variances: Array
    sets: Ints
    level: float
    rows: int
    convergence: PosteriorConvergence
    mode: Array | None = None

    def contrast(self, c: ArrayLike, extra: Array | float = 0.0) -> ContrastPosterior:
        """Posterior of cᵀb.

        Parameters
        ----------
        c : (p,) weights.
        extra : a further variance, or one a point, as for what somebody new would meet.

        Raises
        ------
        InputError
            If the length is not p.
        """
        c = np.asarray(c, dtype=float)
        if c.shape != self.coefficients.shape[1:] or not np.isfinite(c).all():
            raise InputError(f"a contrast needs {self.coefficients.shape[1]} finite numbers; got {c!r}")
        met = np.flatnonzero(c)
        variances = (self.covariances[:, met[:, None], met] @ c[met]) @ c[met]
        return self._posterior(self.coefficients @ c, variances + extra)

    def target(self, number: int, extra: Array | float = 0.0) -> ContrastPosterior:
        """Posterior of one of the targets asked for, a sum of effects and coefficients; ``extra`` as for ``contrast``."""
        return self._posterior(self.target_means[:, number], self.target_variances[:, number] + extra)

    def draws(self, count: int, rng: np.random.Generator) -> Array:
        """Draws from the joint posterior of the coefficients, for what is no linear function of them, such as a band.

        Parameters
        ----------
        count : how many; each comes with its mirror image about the mean of its point.
        rng : where chance comes from.

        Returns
        -------
        (count, p)
        """
        edges = np.round(np.concatenate([[0.0], np.cumsum(self.weights)]) / self.weights.sum() * ((count + 1) // 2)).astype(int)
        drawn = []
        for b, covariance, half in zip(self.coefficients, self.covariances, np.diff(edges), strict=True):
            moved = rng.standard_normal((half, len(b))) @ np.linalg.cholesky(covariance).T
            drawn += [b + moved, b - moved]
        return np.concatenate(drawn)[:count]

    def spread(self, name: str) -> SpreadPosterior:
        """Posterior of the standard deviation of a term, or of the residual.

        Raises
        ------
        InputError
            If there is no such term.
        """
        if name not in self.names:
            raise InputError(f"there is a spread of {', '.join(self.names)}; got {name!r}")
        values = self.sds[:, self.names.index(name)]
        logs = np.log(values)
        mean, centre = float(self.weights @ values), float(self.weights @ logs)
        tail = (1 - self.level) / 2
        low, high = (weighted_quantile(values, self.weights, p) for p in (tail, 1 - tail))
        return SpreadPosterior(
            mean=mean,
            sd=math.sqrt(self.weights @ (values - mean) ** 2),
            interval=Interval(low, high, self.level, "posterior"),
            from_prior=math.sqrt(self.weights @ (logs - centre) ** 2) / self.prior_log_sds[name],
            values=values,
            weights=self.weights,
        )

    def with_priors(self, priors: Mapping[str, HalfT]) -> HierarchicalFit:
        """The same posterior points, weighted anew for other priors: what hangs on them.

        Returns
        -------
        HierarchicalFit
            ``NoPosterior`` where the points lie too far from the new posterior. Limits are good to a few percent of their half-width.
        """
        change = sum(
            log_density(priors[name], self.sds[:, k]) - log_density(self.priors[name], self.sds[:, k]) for k, name in enumerate(self.names)
        )
        weights, k_hat = smoothed_weights(np.log(self.weights) + change)
        effective = float(1 / (weights**2).sum())
        record = replace(self.convergence, effective=effective, pareto_k=k_hat)
        if not (k_hat < LARGEST_K and effective >= LEAST_EFFECTIVE):
            return NoPosterior(Reason("headline.priors_far"), dict(priors), record)
        logs = _log_sds({name: priors[name] for name in self.names})
        return replace(self, priors=dict(priors), prior_log_sds=logs, weights=frozen(weights), convergence=record, mode=None)

    def variance(self, name: str) -> Array:
        """(S,) variance of a term at every point; 0 where there is no such term."""
        return self.sds[:, self.names.index(name)] ** 2 if name in self.names else np.zeros(len(self.weights))

    def _posterior(self, means: Array, variances: Array) -> ContrastPosterior:
        mixture = NormalMixture(self.weights, means, variances)
        tail = (1 - self.level) / 2
        low, high = mixture.quantile(tail), mixture.quantile(1 - tail)
        error = max(mixture.quantile_error(p, at, self.sets) for p, at in ((tail, low), (1 - tail, high)))
        return ContrastPosterior(mixture.mean, mixture.sd, Interval(low, high, self.level, "posterior"), error, mixture)


HierarchicalFit = Posterior | NoPosterior


def numbers_of(fit: HierarchicalFit) -> list[Array]:
    """Figures that a fit stands for, to see whether all of them are numbers."""
    return [fit.coefficients] if isinstance(fit, Posterior) else []


def hierarchical(
    y: ArrayLike,
    X: ArrayLike,
    groups: Mapping[str, object],
    priors: Mapping[str, HalfT],
    *,
    high: ArrayLike | None = None,
    V: ArrayLike | None = None,
    level: float = 0.95,
    contrasts: ArrayLike | None = None,
    targets: ArrayLike | None = None,
    error: float = LARGEST_ERROR,
    spread_error: float = LARGEST_SPREAD_ERROR,
    normal: bool = False,
) -> HierarchicalFit:
    """Posterior of y ~ N(Xb, Σσₖ²ZₖZₖᵀ + σ²I), or with known V in place of σ²I.

    Parameters
    ----------
    y : (n,) responses, or their lower limits where ``high`` is given.
    X : (n, p) design of full column rank.
    groups : random terms by name, labels or matrices, as ``crossed`` takes them.
    priors : a half-t prior for every term, and for ``"residual"`` where V is None; of a flat one the scale is infinity.
    high : (n,) upper limits; equal to ``y`` where exact, infinite limits where open. None: every response is exact.
    V : (n,) known variances, or a symmetric positive definite matrix where every response is exact.
    level : of intervals.
    contrasts : (C, p) contrasts whose limits are held to ``error``; every coefficient when None.
    targets : (T, q + p) weights of sums of effects, term by term with levels sorted, and coefficients, whose posterior is wanted too
        and whose limits are held to the same error.
    error, spread_error : largest Monte-Carlo error of the limits of contrasts and of spreads, in half-widths of their intervals.
    normal : whether the posterior of the standard deviations is to be taken as normal about its mode however few the effects.

    Returns
    -------
    HierarchicalFit
        Not fitted, with the reason, where the design leaves a coefficient to one-sided responses alone, where rows are no more than
        coefficients and a residual is wanted, or where a check of the computation fails.

    Raises
    ------
    InputError
        As ``crossed``; also if X has dependent columns, a prior is missing, or limits are crossed or both open.

    Notes
    -----
    Priors: Gelman (2006), Bayesian Analysis 1:515–533. Mixtures over the heterogeneity: Röver (2020), J. Stat. Softw. 93(6).
    Gaussian approximation and integration over few spreads: Rue, Martino & Chopin (2009), J. R. Stat. Soc. B 71:319–392. Check of the
    weights: Vehtari et al. (2024), J. Mach. Learn. Res. 25(72). One-sided and interval responses enter by expectation propagation at
    every point (``numerics.restricted_likelihood``). With flat priors and many levels it goes over into ``crossed``.

    Above 4,000 effects the posterior of the standard deviations is taken as normal about its mode, in the coordinates in which the priors
    are (Tierney & Kadane 1986, J. Am. Stat. Assoc. 81:82–86); limits of a spread of few levels are then approximate.

    Examples
    --------
    Coaching in eight schools, with a uniform prior on the standard deviation between them (Rubin 1981, J. Educ. Stat. 6:377–401; data as
    in Gelman et al. 2013, Bayesian Data Analysis, table 5.2). The RStan vignette prints 7.9 as the posterior median of the mean effect.

    >>> import numpy as np
    >>> from edgehold.numerics.half_t import HalfT
    >>> from edgehold.pooling import hierarchical
    >>> effect = [28, 8, -3, 7, -1, 1, 18, 12]
    >>> error = np.array([15, 10, 16, 11, 9, 11, 10, 18])
    >>> flat = {"school": HalfT(scale=np.inf)}
    >>> fit = hierarchical(effect, np.ones((8, 1)), {"school": list("ABCDEFGH")}, flat, V=error**2)
    >>> round(fit.contrast([1.0]).quantile(0.5), 1)
    7.9
    """
    low, above, known, design, terms, rescale = _checked(y, high, X, groups, V, level)
    names = tuple(term.name for term in terms) + (() if V is not None else (RESIDUAL,))
    lacking = [name for name in names if name not in priors]
    if lacking:
        raise InputError(f"a prior is needed for {', '.join(lacking)}; got {', '.join(map(str, priors))}")
    kept = {name: priors[name] for name in names}
    reason = _nothing(low, above, design, V is None)
    if reason:
        return no_posterior(reason, kept)
    rows = prepare_rows(low, above, design, [term.matrix for term in terms], known)
    wanted = _Wanted(_contrasts(contrasts, rows.p), _targets(targets, rows), level, error, spread_error, normal or rows.q + rows.p > LARGE)
    dense = None if wanted.normal else dense_rows(rows, low, above, design, [term.matrix for term in terms], known, wanted.targets)
    density = _Density(rows, dense, tuple(_proper(kept[name], rows) for name in names), V is None, rescale)
    return _posterior_of(density, names, kept, wanted)


def no_posterior(reason: str, priors: Mapping[str, HalfT]) -> NoPosterior:
    """A result without a posterior, with its reason."""
    return NoPosterior(reason, priors, PosteriorConvergence(False, 0, 0.0, math.inf, math.inf, math.inf, reason))


def weighted_quantile(values: Array, weights: Array, p: float) -> float:
    """Quantile of weighted positive points, interpolated on the ln scale between the middles of their weights."""
    order = np.argsort(values, kind="stable")
    share = np.cumsum(weights[order]) - weights[order] / 2
    return float(np.exp(np.interp(p, share, np.log(values[order]))))


def prior_log_sd(prior: HalfT) -> float:
    """Standard deviation of ln σ before the data: ln|t| = ln|N(0, 1)| − ½ ln(χ²/ν)."""
    second = 0.0 if math.isinf(prior.df) else float(polygamma(1, prior.df / 2))
    return math.sqrt(float(polygamma(1, 0.5)) + second) / 2


def _log_sds(priors: Mapping[str, HalfT]) -> dict[str, float]:
    return {name: prior_log_sd(prior) for name, prior in priors.items()}


# ---- input -------------------------------------------------------------------------------------------------------------------


def _checked(
    y: ArrayLike, high: ArrayLike | None, X: ArrayLike, groups: Mapping[str, object], V: ArrayLike | None, level: float
) -> tuple[Array, Array, Array | None, Array, tuple[Term, ...], float]:
    """Limits, known variances, dense design, terms, and what the whitening of a full V adds to the log-likelihood."""
    low = np.asarray(y, dtype=float)
    above = low if high is None else np.asarray(high, dtype=float)
    if low.ndim != 1 or above.shape != low.shape:
        raise InputError(f"limits must be vectors of one length; got shapes {low.shape} and {above.shape}")
    wrong = ~(low <= above) | (np.isinf(low) & np.isinf(above))
    if wrong.any():
        i = int(np.flatnonzero(wrong)[0])
        raise InputError(f"low must not exceed high and one of them must be finite; got {low[i]!r} and {above[i]!r} in row {i}")
    checked = checked_rows(np.where(np.isfinite(low), low, above), X, groups, V, "reml", level)
    design: Array = np.asarray(checked.X.toarray() if hasattr(checked.X, "toarray") else checked.X)
    if not full_rank(design):
        raise InputError(f"X must have full column rank {design.shape[1]}; got rank {np.linalg.matrix_rank(design)}")
    if V is None or checked.known is None:
        return low, above, None, design, checked.terms, 0.0
    if np.ndim(V) == 1:
        return low, above, np.asarray(V, dtype=float), design, checked.terms, 0.0
    if (low != above).any():
        raise InputError("V must hold one variance a row where some responses are limits; got a matrix")
    root = checked.known.root
    terms = tuple(replace(term, matrix=(root @ term.matrix).tocsr()) for term in checked.terms)
    return root @ low, root @ low, np.ones(len(low)), root @ design, terms, -0.5 * checked.known.log_determinant


def _nothing(low: Array, high: Array, X: Array, residual: bool) -> str:
    """Why there is nothing to fit; empty where there is."""
    bounded = np.isfinite(low) & np.isfinite(high)
    p = X.shape[1]
    if not full_rank(X if bounded.all() else X[bounded]):
        return Reason("headline.coefficient_one_sided")
    if residual and bounded.sum() <= p:
        return Reason("headline.few_values", values=int(bounded.sum()), means=p)
    return ""


def _contrasts(contrasts: ArrayLike | None, p: int) -> Array:
    C = np.eye(p) if contrasts is None else np.atleast_2d(np.asarray(contrasts, dtype=float))
    if C.shape[1:] != (p,) or not np.isfinite(C).all():
        raise InputError(f"contrasts must have {p} columns of finite numbers; got shape {C.shape}")
    return C


def _targets(targets: ArrayLike | None, rows: MixedRows) -> Array:
    m = rows.q + rows.p
    T = np.zeros((0, m)) if targets is None else np.atleast_2d(np.asarray(targets, dtype=float))
    if T.shape[1:] != (m,) or not np.isfinite(T).all():
        raise InputError(f"targets must have {m} columns of finite numbers, effects first; got shape {T.shape}")
    return T


# ---- posterior ---------------------------------------------------------------------------------------------------------------

Told = tuple[Array, Array, Array, Array]
"""Coefficients, their covariance, and means and variances of the targets, given the standard deviations."""


@dataclass(frozen=True, eq=False)
class _Density:
    """The log posterior density of the coordinates, and what it is made from."""

    rows: MixedRows
    dense: DenseRows | None
    priors: tuple[HalfT, ...]
    residual: bool
    rescale: float

    def sds(self, z: Array) -> Array:
        """Standard deviations at coordinates (..., K)."""
        return np.stack([from_score(prior, z[..., k]) for k, prior in enumerate(self.priors)], axis=-1)

    def at(self, z: Array, sites: Sites | None) -> tuple[float, Array, LikelihoodPoint] | None:
        """Log density, its gradient and the likelihood; None where that has no value."""
        sds, K = self.sds(z), len(self.rows.sizes)
        point = likelihood_at(self.rows, sds[:K], float(sds[K]) if self.residual else None, sites, slopes=True)
        if point is None or point.slopes is None:
            return None
        own = point.slopes if self.residual else point.slopes[:K]
        return point.log_likelihood + self.rescale - 0.5 * float(z @ z), own * self.chain(z, sds) - z, point

    def chain(self, z: Array, sds: Array) -> Array:
        """(K,) dσ/dz."""
        found: Array = np.exp([float(log_slope(prior, z[k], sds[k])) for k, prior in enumerate(self.priors)])
        return found

    def averaged(self, z: Array, sds: Array, point: LikelihoodPoint) -> Array:
        """(K, K) average information about the coordinates, the prior's included."""
        chain, K = self.chain(z, sds), len(self.rows.sizes)
        information = average_information(self.rows, sds[:K], float(sds[K]) if self.residual else None, point)
        found: Array = information * chain[:, None] * chain + np.eye(len(z))
        return found

    def curved(self, z: Array, point: LikelihoodPoint, targets: Array) -> tuple[Array, list[Told]]:
        """(K, K) minus the second derivatives by the coordinates of the K terms, and how what is normal moves with each."""
        sds, K = self.sds(z), len(self.rows.sizes)
        found = curvature_at(self.rows, sds[:K], float(sds[K]) if self.residual else None, point, targets)
        chain, slopes = self.chain(z, sds)[:K], np.zeros(K) if point.slopes is None else point.slopes[:K]
        bends = np.array([-z[k] - float(density_slope(prior, sds[k])) * chain[k] for k, prior in enumerate(self.priors[:K])])
        curvature: Array = found.information * chain[:, None] * chain - np.diag(slopes * chain * bends) + np.eye(K)
        parts = (found.coefficients, found.covariances, found.target_means, found.target_variances)
        return curvature, [(b * c, V * c, m * c, v * c) for c, b, V, m, v in zip(chain, *parts, strict=True)]

    def given(self, z: Array, sites: Sites, targets: Array) -> Told | None:
        """What is normal given the standard deviations at coordinates; None where the likelihood has no value."""
        sds, K = self.sds(z), len(self.rows.sizes)
        point = likelihood_at(self.rows, sds[:K], float(sds[K]) if self.residual else None, sites)
        return None if point is None else _told(point, targets)

    def of_points(self, at: Array, points: ManyPoints) -> Array:
        """(S,) log density at coordinates where the likelihood is known; −infinity where that has no value."""
        found: Array = points.log_likelihood + self.rescale - 0.5 * (at**2).sum(axis=1)
        return found

    def points(self, sds: Array, sites: Sites, targets: Array, settled: float) -> ManyPoints:
        """The likelihood at standard deviations (S, K); with ``sites`` themselves where they do not settle."""
        found = self._points(sds, sites, targets, settled)
        failed = ~np.isfinite(found.log_likelihood)
        if len(sites.shift) and settled < AS_AT_MODE and failed.any():
            again = self._points(sds[failed], sites, targets, AS_AT_MODE)
            for part in fields(ManyPoints):
                getattr(found, part.name)[failed] = getattr(again, part.name)
        return found

    def _points(self, sds: Array, sites: Sites, targets: Array, settled: float) -> ManyPoints:
        K, p, q = len(self.rows.sizes), self.rows.p, self.rows.q
        if self.dense is not None:
            return likelihoods_at(self.dense, sds[:, :K], sds[:, K] if self.residual else None, sites, settled)
        nothing = -math.inf, np.zeros(p), np.eye(p), np.zeros(len(targets)), np.ones(len(targets))
        found = []
        for one in sds:
            point = likelihood_at(self.rows, one[:K], float(one[K]) if self.residual else None, sites, settled=settled)
            found.append(nothing if point is None else (point.log_likelihood, *_told(point, targets)))
        likelihood, coefficients, covariances, means, variances = (np.array(part) for part in zip(*found, strict=True))
        return ManyPoints(likelihood, coefficients, covariances, means + targets[:, q:] @ self.rows.origin, variances)


@dataclass(frozen=True, eq=False)
class _Wanted:
    """What is asked of the posterior."""

    contrasts: Array
    targets: Array
    level: float
    error: float
    spread_error: float
    normal: bool

    @property
    def settled(self) -> float:
        """How far the sites of limits must be settled at a point: wholly where more than the usual digits are asked for."""
        return SETTLED if self.error < LARGEST_ERROR else CLOSELY


def _posterior_of(density: _Density, names: tuple[str, ...], priors: Mapping[str, HalfT], wanted: _Wanted) -> HierarchicalFit:
    rows = density.rows
    mode = _mode(density, wanted)
    if isinstance(mode, str):
        return no_posterior(mode, priors)
    if wanted.normal:
        return _laplace(density, mode, names, priors, wanted)
    sites = mode.sites

    def as_at_mode(at: Array) -> Array:
        return density.of_points(at, density.points(density.sds(at), sites, wanted.targets, AS_AT_MODE))

    proposal = along_axes(mode.at, mode.curvature, as_at_mode)
    first = ((broad(len(names)), BROAD), (proposal, STAGES[0]))
    drawn = [_drawn(density, one, count, draw, sites, wanted) for draw, (one, count) in enumerate(first)]
    for draw, count in enumerate(STAGES[1:], len(drawn)):
        at = np.concatenate([one.at for one in drawn])
        drawn.append(_drawn(density, about_points(at, _weights(drawn)[0], proposal), count, draw, sites, wanted))
        fit = _weighted(drawn, names, priors, rows.n, wanted)
        if isinstance(fit, Posterior) and fit.convergence.fitted:
            return replace(fit, mode=frozen(density.sds(mode.at)))
    return no_posterior(fit.convergence.message, priors)


def _proper(prior: HalfT, rows: MixedRows) -> HalfT:
    return prior if math.isfinite(prior.scale) else HalfT(math.inf, FLAT * math.sqrt(rows.spread), prior.source)


@dataclass(frozen=True, eq=False)
class _Mode:
    """The mode, minus the second derivatives of the log density there, the sites settled there, what ``_told`` finds at it, and how that
    moves along each coordinate."""

    at: Array
    curvature: Array
    sites: Sites
    here: Told
    moves: Told


def _moving(above: Told, below: Told) -> Told:
    """Derivatives, from a step to either side."""
    first, second, third, fourth = ((high - low) / (2 * STEP) for high, low in zip(above, below, strict=True))
    return first, second, third, fourth


def _of_all(moves: list[Told]) -> Told:
    """(K, ...) each, from those by each coordinate."""
    first, second, third, fourth = (np.array(part) for part in zip(*moves, strict=True))
    return first, second, third, fourth


def _told(point: LikelihoodPoint, targets: Array) -> Told:
    means, variances = point.combined(targets) if len(targets) else (np.zeros(0), np.ones(0))
    return point.coefficients, point.covariance, means, variances


def _mode(density: _Density, wanted: _Wanted) -> _Mode | str:
    """The mode, or why there is none."""
    sites: list[Sites | None] = [None]

    def minus(z: Array) -> tuple[float, Array]:
        reached = density.at(z, sites[0])
        if reached is None:
            return 1e10, np.zeros(len(z))
        value, slope, point = reached
        sites[0] = point.sites
        return -value, -slope

    if wanted.normal and density.rows.q + density.rows.p > MANY:
        return _climbed(density, wanted)
    begin, shape = _begun(density, sites)
    found = minimize(minus, begin, jac=True, method="BFGS", options={"gtol": LEVEL, "maxiter": 200, "hess_inv0": shape})
    mode: Array = found.x
    reached = density.at(mode, sites[0])
    if reached is None or float(np.abs(reached[1]).max(initial=0.0)) > LARGEST_SLOPE:
        return Reason("headline.mode_not_found")
    return _curved(density, mode, reached[2], wanted)


def _curved(density: _Density, z: Array, point: LikelihoodPoint, wanted: _Wanted) -> _Mode | str:
    """The mode with its curvature: of terms exactly where effects are not too many, of the residual, and else, by differences."""
    curvature, moves = np.zeros((len(z), len(z))), list[Told]()
    if max(density.rows.q + density.rows.p, 2 * len(density.rows.low)) <= WHOLE:
        own, moves = density.curved(z, point, wanted.targets)
        curvature[: len(own), : len(own)] = own
    exact = len(moves)
    for k in range(exact, len(z)):
        step = np.eye(len(z))[k] * STEP
        above, below = density.at(z + step, point.sites), density.at(z - step, point.sites)
        if above is None or below is None:
            return Reason("headline.no_curvature")
        curvature[k] = (below[1] - above[1]) / (2 * STEP)
        curvature[:exact, k] = curvature[k, :exact]
        moves.append(_moving(_told(above[2], wanted.targets), _told(below[2], wanted.targets)))
    return _Mode(z, (curvature + curvature.T) / 2, point.sites, _told(point, wanted.targets), _of_all(moves))


def _begun(density: _Density, sites: list[Sites | None]) -> tuple[Array, Array]:
    """Where the search for the mode begins, a few steps from the prior medians, and the inverse of the information there.

    The information of the restricted likelihood is the average of the observed and the expected one, which takes no more than a solve
    (Gilmour, Thompson & Cullis 1995, Biometrics 51:1440–1450), that of the prior 1.
    """
    z, height = np.zeros(len(density.priors)), -math.inf
    at, shape = z, np.asarray(np.eye(len(z)), dtype=float)
    for _ in range(FIRST_STEPS):
        reached = density.at(at, sites[0])
        if reached is None or reached[0] < height:
            break
        z, (height, slope, point) = at, reached
        sites[0], sds = point.sites, density.sds(z)
        shape = np.asarray(np.linalg.inv(density.averaged(z, sds, point)), dtype=float)
        step = shape @ slope
        at = z + step * FIRST_STEP / float(np.abs(step).max(initial=FIRST_STEP))
    return z, (shape + shape.T) / 2


def _climbed(density: _Density, wanted: _Wanted) -> _Mode | str:
    """The mode of very many effects by Newton's steps in the average information, which stands for the curvature there too."""
    z, height = np.zeros(len(density.priors)), -math.inf
    step, sites = np.zeros(len(z)), None
    for _ in range(MOST_CLIMBS):
        reached = density.at(z + step, sites)
        if reached is None or reached[0] < height - CLIMBED:
            step = step / 2
            continue
        z, (height, slope, point) = z + step, reached
        sites, curvature = point.sites, density.averaged(z, density.sds(z), point)
        step = np.asarray(np.linalg.solve(curvature, slope), dtype=float)
        if float(step @ slope) / 2 <= CLIMBED:
            break
        step = step * FIRST_STEP / float(np.abs(step).max(initial=FIRST_STEP))
    else:
        return Reason("headline.mode_not_found")
    moves = []
    for moved in np.eye(len(z)) * STEP:
        above, below = (density.given(at, point.sites, wanted.targets) for at in (z + moved, z - moved))
        if above is None or below is None:
            return Reason("headline.no_curvature")
        moves.append(_moving(above, below))
    return _Mode(z, (curvature + curvature.T) / 2, point.sites, _told(point, wanted.targets), _of_all(moves))


def _laplace(density: _Density, mode: _Mode, names: tuple[str, ...], priors: Mapping[str, HalfT], wanted: _Wanted) -> HierarchicalFit:
    """The posterior where effects are many: normal about its mode; coefficients and the logarithms of their variances move along straight
    lines."""
    if not np.linalg.eigvalsh(mode.curvature).min(initial=1.0) > 0:
        return no_posterior(Reason("headline.no_maximum"), priors)
    at, sets = normal_points(mode.at, np.asarray(np.linalg.inv(mode.curvature), dtype=float), LAPLACE)
    steps = at - mode.at
    moved = [np.tensordot(steps, mode.moves[part], 1) for part in (0, 2, 3)]
    coefficients, covariance, means, variances = mode.here
    S = len(at)
    return Posterior(
        names=tuple(names),
        priors=dict(priors),
        prior_log_sds=_log_sds(priors),
        weights=frozen(np.full(S, 1 / S)),
        sds=frozen(density.sds(at)),
        coefficients=frozen(coefficients + moved[0]),
        covariances=frozen(_along(covariance, mode.moves[1], steps)),
        target_means=frozen(means + moved[1] + wanted.targets[:, density.rows.q :] @ density.rows.origin),
        target_variances=frozen(variances * np.exp(moved[2] / variances)),
        sets=frozen(sets),
        level=wanted.level,
        rows=density.rows.n,
        convergence=PosteriorConvergence(True, S, math.nan, math.nan, math.nan, math.nan, Reason("headline.normal")),
        mode=frozen(density.sds(mode.at)),
    )


def _along(covariance: Array, slopes: Array, steps: Array) -> Array:
    """(S, p, p) covariances R exp(R⁻¹MR⁻ᵀ)Rᵀ, R being the root of one and M how far it moves in (S, K) steps along K slopes, (K, p, p):
    positive definite all of them."""
    root = np.linalg.cholesky(covariance)
    inner = np.linalg.solve(root, np.swapaxes(np.linalg.solve(root, slopes), 1, 2))
    moves = np.tensordot(steps, (inner + np.swapaxes(inner, 1, 2)) / 2, 1)
    halves: Array = root @ expm(moves / 2)
    return halves @ np.swapaxes(halves, 1, 2)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Points from one proposal, evaluated: (S, ...) each."""

    proposal: Proposal
    at: Array
    sets: Ints
    log_density: Array
    sds: Array
    coefficients: Array
    covariances: Array
    target_means: Array
    target_variances: Array


def _drawn(density: _Density, proposal: Proposal, count: int, draw: int, sites: Sites, wanted: _Wanted) -> _Drawn:
    at, sets = proposal.points(count, draw)
    sds = density.sds(at)
    points = density.points(sds, sites, wanted.targets, wanted.settled)
    return _Drawn(
        proposal,
        at,
        sets,
        density.of_points(at, points),
        sds,
        points.coefficients,
        points.covariances,
        points.target_means,
        points.target_variances,
    )


def _weights(drawn: list[_Drawn]) -> tuple[Array, float]:
    """Weights of all points against the mixture of the proposals they come from (Veach & Guibas 1995, the balance heuristic), and k̂."""
    at = np.concatenate([one.at for one in drawn])
    parts = [one.proposal.log_density(at) + math.log(len(one.at) / len(at)) for one in drawn]
    return smoothed_weights(np.concatenate([one.log_density for one in drawn]) - np.logaddexp.reduce(parts, axis=0))


def _weighted(drawn: list[_Drawn], names: tuple[str, ...], priors: Mapping[str, HalfT], n: int, wanted: _Wanted) -> HierarchicalFit:
    if not any(np.isfinite(one.log_density).any() for one in drawn):
        return no_posterior(Reason("headline.no_likelihood"), priors)
    weights, k_hat = _weights(drawn)
    heavy = weights > NEGLIGIBLE
    weights = weights[heavy] / weights[heavy].sum()
    kept = {name: frozen(np.concatenate([getattr(one, name) for one in drawn])[heavy]) for name in KEPT}
    fit = Posterior(
        names=tuple(names),
        priors=dict(priors),
        prior_log_sds=_log_sds(priors),
        weights=frozen(weights),
        level=wanted.level,
        rows=n,
        convergence=PosteriorConvergence(True, len(weights), float(1 / (weights**2).sum()), k_hat, 0.0, 0.0, ""),
        **kept,
    )
    spread_error = max((_spread_error(fit, k) for k in range(len(fit.names))), default=0.0)
    error, message = math.inf, ""
    if not k_hat < LARGEST_K:
        message = Reason("headline.heavy_weights", k=k_hat)
    elif spread_error > wanted.spread_error:
        message = Reason("headline.spread_rough", percent=100 * spread_error, points=len(weights))
    else:  # what costs most is asked last
        targets = range(fit.target_means.shape[1])
        error = max((_relative_error(one) for one in [*map(fit.contrast, wanted.contrasts), *map(fit.target, targets)]), default=0.0)
        if error > wanted.error:
            message = Reason("headline.limit_rough", percent=100 * error, points=len(weights))
    record = replace(fit.convergence, fitted=not message, largest_error=error, largest_spread_error=spread_error, message=message)
    return replace(fit, convergence=record)


def _spread_error(fit: Posterior, k: int) -> float:
    """Largest Monte-Carlo error of a spread's limits in half-widths of the interval; see ``NormalMixture.quantile_error``."""
    values, tail = fit.sds[:, k], (1 - fit.level) / 2
    limits, errors = [], []
    for p in (tail, 1 - tail):
        low, at, high = (weighted_quantile(values, fit.weights, q) for q in (p - tail / 2, p, p + tail / 2))
        shares = np.bincount(fit.sets, fit.weights * ((values <= at) - p))
        errors.append(math.sqrt(len(shares) / (len(shares) - 1) * (shares**2).sum()) * (high - low) / tail)
        limits.append(at)
    return max(errors) / ((limits[1] - limits[0]) / 2)


def _relative_error(one: ContrastPosterior) -> float:
    half = one.interval.half_width
    return one.error / half if half > 0 else 0.0
