"""Where the next study's true effect would fall: prediction intervals.

``confidence_distribution`` is the interval of Nagashima, Noma & Furukawa (2019), Prediction intervals for
random-effects meta-analysis: a confidence distribution approach, Stat. Methods Med. Res. 28:1689–1702. ``plug_in`` is
the older one, which takes tau2 as known. The symbols are those of ``edgehold.pooling``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.special import logit, ndtri, stdtrit

from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import chi2_ppf, t_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.quadratic_form import mixture_cdf
from edgehold.numerics.root_search import root_of_decreasing
from edgehold.numerics.weighted_regression import Rows, covariance, projection_spectrum, weigh

LEAST_STUDIES = 3
DRAWS_LOG2 = 14  # 16,384 scrambled Sobol points: another seed moves a limit by 0.1 to 0.4 % of the interval's length
POINT_BITS = 30  # binary digits of a point
WEIGHT_CLASSES = 60  # more studies than this are sorted into classes of nearly equal weight for the distribution of Q
GRID_POINTS = 32  # of tau2, between the quantiles below; doubling it moves no limit by more than 1e-4 of its length
EXTREME = 1e-6  # the tails of tau2's distribution beyond this probability are cut, roughly
ROUGHLY = 1e-3  # relative tolerance of tau2 there
NEGLIGIBLE = 1e-9  # of the smallest variance: a tau2 that cannot exceed this is zero


def plug_in(at: Array, coefficients: Array, covariance: Array, tau2: float, df: float, level: float) -> Interval:
    """x'b ± t(df)·√(x'Cx + tau2): tau2 as if known (Higgins, Thompson & Spiegelhalter 2009, with the degrees of freedom
    given).

    Parameters
    ----------
    at : (p,) design row x of the new study.
    coefficients, covariance : b and its covariance C, as the coefficients' own intervals use them.
    tau2, df, level : between-study variance; degrees of freedom, ``inf`` for the normal quantile; level.
    """
    half = t_ppf((1 + level) / 2, df) * np.sqrt(at @ covariance @ at + tau2)
    centre = float(at @ coefficients)
    return Interval(float(centre - half), float(centre + half), level, "plug-in")


def confidence_distribution(
    rows: Rows, at: Array, level: float, rng: np.random.Generator, extra_variance: float = 0.0, new_variance: float = 0.0
) -> Interval:
    """The confidence-distribution prediction interval (Nagashima, Noma & Furukawa 2019, section 3).

    tau2 is drawn from its exact confidence distribution H(tau2) = P(Q ≥ observed Q; tau2), Q being Cochran's statistic
    with the weights 1/v, so that H(0) is the mass at zero. Given a draw, the new effect is x'b(tau2) + z·tau − t(k −
    p)·√var, with b and its Hartung–Knapp variance recomputed at that tau2. The limits are quantiles of these draws.

    Work grows linearly with k: b and its variance are smooth in tau2 and interpolated from a grid; for more than
    ``WEIGHT_CLASSES`` studies the distribution of Q takes nearly equal weights as equal.

    Parameters
    ----------
    rows : prepared studies, k ≥ p + 2.
    at : (p,) design row x of the new study.
    level : level.
    rng : scrambles the Sobol points that stand for the random draws.
    extra_variance : added to the variance of x'b in every draw. Zero gives the published interval; the guarded
        Knapp–Hartung covariance passes what its guard adds, so that agreement by luck does not make the prediction too
        narrow either.
    new_variance : variance of the new study's effect beside tau2, taken as known.

    Examples
    --------
    Cisapride against placebo, thirteen trials, one half added to every count (Hartung & Knapp 2001, Stat. Med. 20:3875–3889). The authors'
    own program, the R package pimeta, has odds ratios from 0.53 to 33.7, by random draws: from −0.6 to 3.5 on the ln scale.

    >>> import numpy as np
    >>> from edgehold.numerics.weighted_regression import prepare
    >>> from edgehold.pooling import confidence_distribution
    >>> treated = np.array([16, 16, 34, 56, 22, 54, 17, 58, 14, 26, 44, 29, 38]) + 1
    >>> better = np.array([15, 12, 29, 42, 14, 44, 14, 29, 10, 17, 38, 19, 21]) + 0.5
    >>> untreated = np.array([16, 16, 34, 56, 22, 55, 15, 58, 15, 27, 45, 30, 38]) + 1
    >>> also_better = np.array([9, 1, 18, 31, 6, 17, 7, 23, 3, 6, 12, 22, 19]) + 0.5
    >>> y = np.log(better / (treated - better)) - np.log(also_better / (untreated - also_better))
    >>> v = 1 / better + 1 / (treated - better) + 1 / also_better + 1 / (untreated - also_better)
    >>> found = confidence_distribution(prepare(y, v, np.ones((13, 1))), np.ones(1), 0.95, np.random.default_rng(1))
    >>> round(found.low, 1), round(found.high, 1)
    (-0.6, 3.5)
    """
    u, z, t = _draws(rng, rows.k - rows.p)
    tau2, centre, variance = _drawn_fits(rows, at, u)
    new_effects = centre + z * np.sqrt(tau2 + new_variance) - t * np.sqrt(variance + extra_variance)
    low, high = np.quantile(new_effects, [(1 - level) / 2, (1 + level) / 2])
    return Interval(float(low), float(high), level, "confidence-distribution")


def point_digits(rng: np.random.Generator) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...]]:
    """The points of every draw in few whole numbers, for whoever has to draw the same without this library.

    Returns
    -------
    Per dimension the first point, and ``DRAWS_LOG2`` directions, each times 2³⁰: point i is point i − 1 exclusive-or the direction whose
    place is the number of zeros at the end of i in binary (Antonov & Saleev 1979, USSR Comput. Math. Math. Phys. 19:252–256).
    """
    whole = np.round(_points(rng) * 2.0**POINT_BITS).astype(np.int64).T
    directions = (tuple(int(own[2**j] ^ own[2**j - 1]) for j in range(DRAWS_LOG2)) for own in whole)
    return tuple(int(own[0]) for own in whole), tuple(directions)


def _points(rng: np.random.Generator) -> Array:
    from scipy.stats import qmc  # here, for many a build has nothing to draw, and it takes half a second

    points: Array = qmc.Sobol(3, scramble=True, rng=rng).random_base2(DRAWS_LOG2)
    return points


def _draws(rng: np.random.Generator, df: int) -> tuple[Array, Array, Array]:
    points = _points(rng)
    points = np.clip(points, 2.0**-40, 1 - 2.0**-40)
    return points[:, 0], ndtri(points[:, 1]), stdtrit(df, points[:, 2])


def _drawn_fits(rows: Rows, at: Array, u: Array) -> tuple[Array, Array, Array]:
    """tau2 drawn at the probabilities ``u``, with x'b and its Hartung–Knapp variance at each draw."""
    probability_of = tau2_confidence_distribution(rows)
    grid = _tau2_grid(rows, probability_of)
    centres, variances = np.array([_centre_and_variance(rows, at, tau2) for tau2 in grid]).T
    if len(grid) == 1:
        tau2, centre, variance = np.broadcast_arrays(grid, centres, variances)
        return tau2, centre, variance
    scale = np.log(grid + _smallest_scale(rows))
    probabilities = np.maximum.accumulate(np.clip(probability_of(grid), EXTREME / 1000, 1 - EXTREME / 1000))
    fresh = np.concatenate(([True], np.diff(logit(probabilities)) > 0))
    drawn = PchipInterpolator(logit(probabilities[fresh]), scale[fresh])(logit(np.clip(u, probabilities[0], probabilities[-1])))
    tau2 = np.maximum(np.exp(drawn) - _smallest_scale(rows), 0.0)
    return tau2, PchipInterpolator(scale, centres)(drawn), np.maximum(PchipInterpolator(scale, variances)(drawn), 0.0)


def tau2_confidence_distribution(rows: Rows) -> Callable[[Array], Array]:
    """H(tau2) = P(Q ≥ observed Q; tau2), increasing in tau2 (Nagashima, Noma & Furukawa 2019, eq. 6).

    With P taken at tau2 = 0, Q = yᵀPy is distributed as Σ (1 + tau2·μᵢ)χ²₁ with μᵢ the k − p non-zero eigenvalues of P:
    the products of P and V + tau2·I have the same traces of powers, because PVP = P.
    """
    fit = weigh(rows, 0.0)
    eigenvalues, dfs = projection_spectrum(rows, fit, WEIGHT_CLASSES)
    return lambda tau2: 1 - mixture_cdf(fit.q, 1 + np.asarray(tau2)[..., None] * eigenvalues, dfs)


def _tau2_grid(rows: Rows, probability_of: Callable[[Array], Array]) -> Array:
    """Points from the EXTREME to the 1 − EXTREME quantile of tau2, even in ln(tau2 + scale); a single 0 if all mass is
    there."""
    ceiling = max(weigh(rows, 0.0).q / chi2_ppf(EXTREME, rows.k - rows.p), 1.0) * rows.v.max()  # Q ≥ (1 + tau2/max v)χ²
    high = root_of_decreasing(lambda t: 1 - EXTREME - float(probability_of(np.array(t))), 0.0, ceiling, ROUGHLY)
    low = root_of_decreasing(lambda t: EXTREME - float(probability_of(np.array(t))), 0.0, high, ROUGHLY)
    scale = _smallest_scale(rows)
    if high <= NEGLIGIBLE * scale:
        return np.zeros(1)
    grid = np.exp(np.linspace(np.log(low + scale), np.log(high + scale), GRID_POINTS)) - scale
    grid[0] = low
    return grid


def _smallest_scale(rows: Rows) -> float:
    """A tau2 that is small beside every study's variance: below it nothing changes."""
    return float(rows.v.min()) / 10


def _centre_and_variance(rows: Rows, at: Array, tau2: float) -> tuple[float, float]:
    fit = weigh(rows, tau2)
    hartung = fit.q / (rows.k - rows.p) * (at @ covariance(rows, fit) @ at)
    return float(at @ fit.coefficients), float(hartung)
