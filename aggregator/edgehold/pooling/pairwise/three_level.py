"""Contrast pooling where several submissions share people or blades: submissions within clusters, clusters within the pool.

The symbols are those of ``edgehold.pooling``; τ²_w is the variance of true effects between submissions of one cluster, tau2 that
between clusters.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.distributions import chi2_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.root_search import global_maximum, settled_root
from edgehold.pooling.inputs import check_estimates, check_level, check_variances, frozen

from .heterogeneity import POINTS_PER_DECADE
from .random_effects import PREDICTION_SEED, Options, RandomEffectsFit, random_effects

CLOSE = 1e-14  # relative tolerance of tau2 inside the search for τ²_w
FARTHEST = 1e6  # times the largest of the variances: how far the upper limit of τ²_w is looked for


@dataclass(frozen=True, eq=False)
class ThreeLevelFit:
    """A three-level fit.

    Attributes
    ----------
    clusters : J labels in order of first appearance.
    y, v : (J,) what each cluster says: the mean of its submissions with weights 1/(v + τ²_w), and its variance without tau2.
    shares : (k,) weight of each submission in its cluster.
    fit : of the clusters; its ``tau2`` is the variance between clusters, and a prediction is of the next submission of a new cluster.
    tau2_within : τ²_w; None where no cluster holds two submissions, so that tau2 holds both.
    tau2_within_interval : profile interval of τ²_w; None without an estimate, or where not asked for.
    """

    clusters: tuple[Hashable, ...]
    y: Array
    v: Array
    shares: Array
    fit: RandomEffectsFit
    tau2_within: float | None
    tau2_within_interval: Interval | None


def three_level(
    y: ArrayLike,
    v: ArrayLike,
    cluster: Sequence[Hashable],
    *,
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    v_df: float | None = None,
    predict: bool = True,
    profile: bool = True,
    rng: int | np.random.Generator = PREDICTION_SEED,
) -> ThreeLevelFit:
    """Fit yᵢⱼ = μ + uⱼ + wᵢⱼ + eᵢⱼ, with variances tau2 of uⱼ (clusters), τ²_w of wᵢⱼ (submissions) and known vᵢⱼ of eᵢⱼ.

    Parameters
    ----------
    y, v : (k,) estimates and their sampling variances, as for ``random_effects``.
    cluster : (k,) labels.
    interval, level, v_df, predict, rng : as for ``random_effects``.
    profile : whether the interval of τ²_w is wanted; without, it takes half the time.

    Returns
    -------
    ThreeLevelFit

    Raises
    ------
    InputError
        (a ValueError) As ``random_effects``, and where there is not one label an estimate.

    Notes
    -----
    REML over both variances (Konstantopoulos 2011, Res. Synth. Methods 2:61–76; Van den Noortgate, López-López,
    Marín-Martínez & Sánchez-Meca 2013, Behav. Res. Methods 45:576–594). With dᵢⱼ = vᵢⱼ + τ²_w and ȳⱼ the mean of cluster j with
    weights 1/dᵢⱼ, v̄ⱼ = 1/Σᵢ1/dᵢⱼ, the restricted likelihood is that of ``random_effects`` for ȳ, v̄ plus
    −½Σⱼ[Σᵢ ln dᵢⱼ − ln v̄ⱼ + Σᵢ(yᵢⱼ − ȳⱼ)²/dᵢⱼ + (kⱼ − 1) ln 2π]; it is maximised in τ²_w, tau2 being at its best each time. Inference is
    that of ``random_effects`` on the J clusters: the Knapp–Hartung factor is that of cluster means, and there are J − 1
    degrees of freedom. With one submission a cluster it is ``random_effects``; with τ²_w = 0 clusters are
    inverse-variance means.

    Examples
    --------
    School calendars, 56 schools in 11 districts (Konstantopoulos 2011): 0.065 between districts, 0.033 between schools of one district, and
    a mean of 0.185 with a standard error of 0.085.

    >>> from edgehold.pooling import three_level
    >>> y = [-0.18, -0.22, 0.23, -0.30, 0.13, -0.26, 0.19, 0.32, 0.45, 0.38, 0.29, 0.16, 0.65, 0.36,
    ...      0.60, 0.08, 0.04, 0.19, -0.06, -0.18, 0.00, 0.00, -0.28, -0.04, -0.30, 0.07, 0.00, 0.05,
    ...      -0.08, -0.09, 0.30, 0.98, 1.19, -0.07, -0.05, -0.01, 0.02, -0.03, 0.00, 0.01, -0.10, 0.50,
    ...      0.66, 0.20, 0.00, 0.05, 0.07, -0.52, 0.70, -0.03, 0.27, -0.34, 0.12, 0.61, 0.04, -0.05]
    >>> v = [0.118, 0.118, 0.144, 0.144, 0.014, 0.014, 0.015, 0.024, 0.023, 0.043, 0.012, 0.020, 0.004, 0.004,
    ...      0.007, 0.019, 0.007, 0.005, 0.004, 0.020, 0.018, 0.019, 0.022, 0.020, 0.021, 0.006, 0.007, 0.007,
    ...      0.007, 0.007, 0.015, 0.011, 0.010, 0.001, 0.001, 0.001, 0.001, 0.001, 0.001, 0.001, 0.001, 0.010,
    ...      0.011, 0.010, 0.009, 0.013, 0.013, 0.031, 0.031, 0.030, 0.030, 0.030, 0.087, 0.082, 0.067, 0.067]
    >>> schools = {11: 4, 12: 4, 18: 3, 27: 4, 56: 4, 58: 11, 71: 3, 86: 8, 91: 6, 108: 5, 644: 4}
    >>> district = [name for name, number in schools.items() for _ in range(number)]
    >>> found = three_level(y, v, district, interval="wald", predict=False)
    >>> round(found.fit.tau2, 3), round(found.tau2_within, 3)
    (0.065, 0.033)
    >>> round(float(found.fit.coefficients[0]), 3), round(float(found.fit.standard_errors[0]), 3)
    (0.185, 0.085)
    """
    y, v = np.asarray(y, dtype=float), np.asarray(v, dtype=float)
    _check(y, v, cluster, level)
    names = tuple(dict.fromkeys(cluster))
    place = np.array([names.index(label) for label in cluster]) if len(names) < len(y) else np.arange(len(y))
    within = None if len(names) == len(y) else global_maximum(*_profiled(y, v, place), _grid(y, v)[::2]).at
    limits = _limits(y, v, place, within, level) if within is not None and profile else None
    mean, variance, shares = (y, v, np.ones(len(y))) if within is None else _clusters(y, v + within, place)
    options: Options = {"interval": interval, "level": level, "v_df": v_df, "predict": predict, "predict_extra": within or 0.0, "rng": rng}
    fit = random_effects(mean, variance, **options)
    return ThreeLevelFit(names, frozen(mean), frozen(variance), frozen(shares), fit, within, limits)


def _clusters(y: Array, d: Array, place: Ints) -> tuple[Array, Array, Array]:
    """Means with weights 1/d, their variances, and each row's share of its cluster."""
    total = np.bincount(place, 1 / d)
    return np.bincount(place, y / d) / total, 1 / total, 1 / d / total[place]


def _profiled(y: Array, v: Array, place: Ints) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """Restricted log-likelihood and its derivative in τ²_w, tau2 at its best."""
    return lambda within: _log_likelihood(y, v, place, within)[0], lambda within: _slope(y, v, place, within)


def _limits(y: Array, v: Array, place: Ints, within: float, level: float) -> Interval:
    """Where the profiled restricted likelihood has fallen by half a chi-squared quantile."""
    floor = _log_likelihood(y, v, place, within)[0] - float(chi2_ppf(level, 1)) / 2

    def above(at: float) -> float:
        return _log_likelihood(y, v, place, at)[0] - floor

    low = 0.0 if within == 0 or above(0.0) >= 0 else settled_root(above, 0.0, within)
    high = settled_root(above, within, FARTHEST * (v.max() + np.var(y)))
    return Interval(low, high, level, "profile-reml")


def _grid(y: Array, v: Array) -> Array:
    """Zero and geometric points up to where the likelihood falls for certain, as for tau2 in ``heterogeneity``."""
    low, high = v.min() / 10, len(y) * np.var(y) + v.max()
    decades = max(np.log10(high / low), 1.0)
    return np.concatenate(([0.0], np.geomspace(low, high, int(np.ceil(POINTS_PER_DECADE * decades)) + 1)))


def _log_likelihood(y: Array, v: Array, place: Ints, within: float) -> tuple[float, float]:
    """Restricted log-likelihood at τ²_w with tau2 at its best, and that tau2."""
    d = v + within
    mean, variance, _ = _clusters(y, d, place)
    between, tau2 = _best_between(mean, variance)
    inside = np.log(d).sum() - np.log(variance).sum() + np.sum((y - mean[place]) ** 2 / d) + (len(y) - len(mean)) * np.log(2 * np.pi)
    return between - 0.5 * float(inside), tau2


def _best_between(y: Array, v: Array) -> tuple[float, float]:
    """Largest restricted log-likelihood of one mean over tau2 ≥ 0, and its tau2: as in ``heterogeneity``, the whole grid at once."""
    if len(y) == 1:
        return 0.0, 0.0
    grid = _grid(y, v)
    slopes = _mean_fit(y, v, grid)[1]
    falls = np.flatnonzero((slopes[:-1] > 0) & (slopes[1:] <= 0))
    candidates = [0.0] if slopes[0] <= 0 else []
    candidates += [settled_root(lambda t: float(_mean_fit(y, v, t)[1]), grid[i], grid[i + 1], rtol=CLOSE) for i in falls]
    return max((float(_mean_fit(y, v, t)[0]), t) for t in candidates or [float(grid[-1])])


def _mean_fit(y: Array, v: Array, tau2: ArrayLike) -> tuple[Array, Array]:
    """Restricted log-likelihood of one mean and its derivative at each of the given tau2."""
    total = v + np.asarray(tau2, dtype=float)[..., None]
    w = 1 / total
    sums = w.sum(axis=-1)
    r = y - ((w * y).sum(axis=-1) / sums)[..., None]
    constant = (len(y) - 1) * np.log(2 * np.pi)
    value = -0.5 * (constant + np.log(total).sum(axis=-1) + np.log(sums) + (w * r**2).sum(axis=-1))
    return value, 0.5 * (((w * r) ** 2).sum(axis=-1) - sums + (w**2).sum(axis=-1) / sums)


def _slope(y: Array, v: Array, place: Ints, within: float) -> float:
    """Derivative in τ²_w, ½(yᵀPPy − tr P), with tau2 at its best; there its own derivative is 0 or tau2 is held at 0."""
    d, (_, tau2) = v + within, _log_likelihood(y, v, place, within)
    sums = np.bincount(place, 1 / d)
    shrink = tau2 / (1 + tau2 * sums)  # Σⱼ⁻¹ = D⁻¹ − D⁻¹11ᵀD⁻¹·shrink

    def solved(x: Array) -> Array:
        return x / d - (shrink * np.bincount(place, x / d))[place] / d

    ones = solved(np.ones(len(y)))
    residual = y - ones @ y / ones.sum()
    trace = np.sum(1 / d) - np.sum(shrink * np.bincount(place, 1 / d**2)) - ones @ ones / ones.sum()
    return float(0.5 * (np.sum(solved(residual) ** 2) - trace))


def _check(y: Array, v: Array, cluster: Sequence[Hashable], level: float) -> None:
    if y.ndim != 1 or len(y) == 0 or v.shape != y.shape or len(cluster) != len(y):
        raise InputError(f"y, v and cluster must agree in length, at least 1; got {y.shape}, {v.shape} and {len(cluster)} labels")
    check_estimates(y)
    check_variances("v", v)
    check_level(level)
