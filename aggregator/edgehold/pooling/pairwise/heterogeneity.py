"""How much the studies disagree: Cochran's Q, I², and the between-study variance tau2 with its interval.

Every estimator takes prepared rows and returns a ``Heterogeneity``. The symbols are those of ``edgehold.pooling``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import chi2_ppf, chi2_sf, f_ppf, f_sf
from edgehold.numerics.interval import Interval
from edgehold.numerics.root_search import global_maximum, root_of_decreasing
from edgehold.numerics.weighted_regression import Fit, Rows, log_determinant, power_moment, projection_traces, weigh

# Search points per factor of ten in tau2. The score is a rational function with its poles at −v, so that nothing it
# does is narrower than about a factor of e; four points a decade put two of them in every such stretch.
POINTS_PER_DECADE = 4


@dataclass(frozen=True)
class Convergence:
    """What the search for tau2 did.

    Attributes
    ----------
    search : ``"closed form"``, ``"root"`` or ``"global maximum"``.
    slope : derivative of the criterion at the answer, or the estimating equation's remainder there; None for a closed
        form.
    local_maxima : local maxima met, the boundary included; None unless a likelihood was maximised.
    at_boundary : True if tau2 was held at zero.
    """

    search: str
    slope: float | None
    local_maxima: int | None
    at_boundary: bool


@dataclass(frozen=True)
class Heterogeneity:
    """An estimate of tau2.

    Attributes
    ----------
    tau2 : estimate, not negative.
    standard_error : of tau2; None where tau2 was not estimated.
    convergence : record of the search.
    """

    tau2: float
    standard_error: float | None
    convergence: Convergence


def cochran_q(rows: Rows) -> float:
    """Q = Σ (y − Xb)²/v at the common-effect fit (Cochran 1954).

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97): Q = 35.83 on 18 degrees of freedom.

    >>> import numpy as np
    >>> from edgehold.numerics.weighted_regression import prepare
    >>> from edgehold.pooling import cochran_q
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> round(cochran_q(prepare(np.array(y), np.array(v), np.ones((19, 1)))), 2)
    35.83
    """
    return weigh(rows, 0.0).q


def typical_variance(rows: Rows) -> float:
    """The variance s² of a typical study, (k − p)/tr P at tau2 = 0 (Higgins & Thompson 2002, eq. 9; with moderators
    through P)."""
    return float((rows.k - rows.p) / projection_traces(rows, weigh(rows, 0.0), 1)[0])


def restricted_log_likelihood(rows: Rows, fit: Fit) -> float:
    """−½((k − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r), Σ = diag(v) + tau2·I."""
    constant = (rows.k - rows.p) * np.log(2 * np.pi)
    return float(-0.5 * (constant + np.log(rows.v + fit.tau2).sum() + log_determinant(rows, fit) + fit.q))


def ordinary_log_likelihood(rows: Rows, fit: Fit) -> float:
    """−½(k ln 2π + ln|Σ| + rᵀΣ⁻¹r)."""
    return float(-0.5 * (rows.k * np.log(2 * np.pi) + np.log(rows.v + fit.tau2).sum() + fit.q))


def restricted_score(rows: Rows, fit: Fit) -> float:
    """Derivative of the restricted log-likelihood in tau2: ½(yᵀPPy − tr P)."""
    return float(0.5 * (np.sum((fit.w * fit.residuals) ** 2) - projection_traces(rows, fit, 1)[0]))


def ordinary_score(rows: Rows, fit: Fit) -> float:
    """Derivative of the profiled log-likelihood in tau2: ½(yᵀPPy − Σw)."""
    return float(0.5 * (np.sum((fit.w * fit.residuals) ** 2) - fit.w.sum()))


def _least_squares_variance(rows: Rows) -> float:
    """Mean squared residual of the ordinary least-squares fit, on k − p."""
    return float(np.sum(rows.y**2) / (rows.k - rows.p))


def _search_grid(rows: Rows) -> Array:
    """Zero, and geometric points up to S + max v, S the ordinary least-squares mean square.

    There the score is negative for certain: yᵀPPy ≤ RSS/(min v + t)², tr P ≥ (k − p)/(max v + t).
    """
    low = rows.v.min() / 10
    high = _least_squares_variance(rows) + rows.v.max()
    decades = max(np.log10(high / low), 1.0)
    return np.concatenate(([0.0], np.geomspace(low, high, int(np.ceil(POINTS_PER_DECADE * decades)) + 1)))


def _maximum_likelihood(
    rows: Rows, log_likelihood: Callable[[Rows, Fit], float], score: Callable[[Rows, Fit], float]
) -> tuple[Fit, Convergence]:
    best = global_maximum(
        lambda tau2: log_likelihood(rows, weigh(rows, tau2)),
        lambda tau2: score(rows, weigh(rows, tau2)),
        _search_grid(rows),
    )
    return weigh(rows, best.at), Convergence("global maximum", best.slope, best.local_maxima, best.on_boundary)


def restricted_maximum_likelihood(rows: Rows) -> Heterogeneity:
    """REML, the global maximum over tau2 ≥ 0; standard error √(2/tr P²) from the expected information (Viechtbauer
    2005)."""
    fit, convergence = _maximum_likelihood(rows, restricted_log_likelihood, restricted_score)
    return Heterogeneity(fit.tau2, float(np.sqrt(2 / projection_traces(rows, fit, 2)[1])), convergence)


def maximum_likelihood(rows: Rows) -> Heterogeneity:
    """ML, the global maximum over tau2 ≥ 0; standard error √(2/Σw²) from the expected information (Viechtbauer
    2005)."""
    fit, convergence = _maximum_likelihood(rows, ordinary_log_likelihood, ordinary_score)
    return Heterogeneity(fit.tau2, float(np.sqrt(2 / np.sum(fit.w**2))), convergence)


def paule_mandel(rows: Rows) -> Heterogeneity:
    """The tau2 at which Q(tau2) = k − p (Paule & Mandel 1982); the empirical Bayes estimator of Morris (1983) is the
    same.

    Standard error √(2k²/(k − p))/Σw, as for the empirical Bayes estimator (Viechtbauer et al. 2015).
    """
    df = rows.k - rows.p
    tau2 = root_of_decreasing(lambda t: weigh(rows, t).q - df, 0.0, _least_squares_variance(rows))
    fit = weigh(rows, tau2)
    standard_error = np.sqrt(2 * rows.k**2 / df) / fit.w.sum()
    return Heterogeneity(tau2, float(standard_error), Convergence("root", fit.q - df, None, tau2 == 0))


def _closed_form(raw: float, standard_error: Callable[[float], float]) -> Heterogeneity:
    tau2 = max(0.0, float(raw))
    return Heterogeneity(tau2, float(standard_error(tau2)), Convergence("closed form", None, None, bool(raw <= 0)))


def _form_variance(df: int, traces: Array, shift: float) -> float:
    """Variance of yᵀPy with P at tau0² when the truth is tau0² + shift: 2(df + 2·shift·tr P + shift²·tr P²)."""
    return float(2 * (df + 2 * shift * traces[0] + shift**2 * traces[1]))


def dersimonian_laird(rows: Rows) -> Heterogeneity:
    """(Q − (k − p))/tr P at tau2 = 0 (DerSimonian & Laird 1986, eq. 9; with moderators Raudenbush 2009)."""
    fit, df = weigh(rows, 0.0), rows.k - rows.p
    traces = projection_traces(rows, fit, 2)
    return _closed_form((fit.q - df) / traces[0], lambda tau2: np.sqrt(_form_variance(df, traces, tau2)) / traces[0])


def hunter_schmidt(rows: Rows) -> Heterogeneity:
    """(Q − k)/Σw at tau2 = 0 (Hunter & Schmidt 2004; Viechtbauer 2005, eq. 12)."""
    fit, df = weigh(rows, 0.0), rows.k - rows.p
    traces, total = projection_traces(rows, fit, 2), fit.w.sum()
    return _closed_form((fit.q - rows.k) / total, lambda tau2: np.sqrt(_form_variance(df, traces, tau2)) / total)


def hedges(rows: Rows) -> Heterogeneity:
    """(RSS − tr(MV))/(k − p) from the unweighted fit, M its residual projection (Hedges 1983; Hedges & Olkin 1985)."""
    df, mean_square = rows.k - rows.p, _least_squares_variance(rows)
    first = power_moment(rows, rows.v)
    trace = rows.v.sum() - np.trace(first)
    square = max(0.0, np.sum(rows.v**2) - 2 * np.trace(power_moment(rows, rows.v**2)) + np.trace(first @ first))
    return _closed_form(
        mean_square - trace / df,
        lambda tau2: np.sqrt(2 * square + 4 * tau2 * trace + 2 * tau2**2 * df) / df,
    )


def sidik_jonkman(rows: Rows) -> Heterogeneity:
    """tau0²·yᵀPy/(k − p), P at the start tau0² = mean (y − ȳ)² (Sidik & Jonkman 2005, eq. 5); never negative."""
    start, df = rows.spread, rows.k - rows.p
    fit = weigh(rows, start)
    traces = projection_traces(rows, fit, 2)
    return _closed_form(
        start * fit.q / df,
        lambda tau2: start / df * np.sqrt(max(_form_variance(df, traces, tau2 - start), 0.0)),
    )


def common(rows: Rows) -> Heterogeneity:
    """tau2 fixed at zero: one common effect."""
    return Heterogeneity(0.0, None, Convergence("closed form", None, None, False))


ESTIMATORS: dict[str, Callable[[Rows], Heterogeneity]] = {
    "reml": restricted_maximum_likelihood,
    "ml": maximum_likelihood,
    "dl": dersimonian_laird,
    "pm": paule_mandel,
    "he": hedges,
    "sj": sidik_jonkman,
    "hs": hunter_schmidt,
    "common": common,
}


def q_profile(rows: Rows, level: float, v_df: float | None = None) -> Interval:
    """The interval of tau2 that inverts the test with Q(tau2) (Viechtbauer 2007, eq. 8).

    Q(tau2) = Σ (y − Xb)²/(v + tau2) is chi-square with k − p degrees of freedom at the true tau2 when v is known. When
    v rests on a pooled s² with ``v_df`` degrees of freedom, the quantiles (k − p)·F(k − p, v_df) take its place. A
    limit that would be negative is 0; an interval of [0, 0] means that the studies agree better than their variances
    say.

    Examples
    --------
    Thirteen trials of the BCG vaccine, ln risk ratios (Colditz et al. 1994, JAMA 271:698–702); the R package metafor has 0.1197 to 1.1115.

    >>> import numpy as np
    >>> from edgehold.numerics.weighted_regression import prepare
    >>> from edgehold.pooling import q_profile
    >>> y = [-0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.0120, -0.4694, -1.3713, -0.3394, 0.4459, -0.0173]
    >>> v = [0.3256, 0.1946, 0.4154, 0.0200, 0.0512, 0.0069, 0.2230, 0.0040, 0.0564, 0.0730, 0.0124, 0.5325, 0.0714]
    >>> found = q_profile(prepare(np.array(y), np.array(v), np.ones((13, 1))), 0.95)
    >>> round(found.low, 3), round(found.high, 2)
    (0.12, 1.11)
    """
    df = rows.k - rows.p
    low, high = _q_limits(df, level, v_df)
    lowest = root_of_decreasing(lambda t: weigh(rows, t).q - high, 0.0, _bracket(rows, high))
    highest = root_of_decreasing(lambda t: weigh(rows, t).q - low, 0.0, _bracket(rows, low))
    return Interval(lowest, highest, level, "q-profile")


def _bracket(rows: Rows, target: float) -> float:
    """A tau2 at which Q is at most ``target``: Q(t) ≤ RSS/(min v + t), RSS of the ordinary least-squares fit."""
    return float(np.sum(rows.y**2)) / target


def _q_limits(df: int, level: float, v_df: float | None) -> tuple[float, float]:
    tails = np.array([(1 - level) / 2, (1 + level) / 2])
    quantiles = chi2_ppf(tails, df) if v_df is None else df * f_ppf(tails, df, v_df)
    return float(quantiles[0]), float(quantiles[1])


def q_p_value(q: float, df: int, v_df: float | None = None) -> float:
    """P(Q ≥ q) when there is no heterogeneity: chi-square for known v, F when v rests on ``v_df`` degrees of
    freedom."""
    return float(chi2_sf(q, df) if v_df is None else f_sf(q / df, df, v_df))
