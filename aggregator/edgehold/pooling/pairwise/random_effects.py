"""Contrast pooling: many estimates with known variances, one underlying mean, and how much the studies differ.

The symbols are those of ``edgehold.pooling``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.weighted_regression import Fit, Rows, covariance, power_moment, prepare, weigh
from edgehold.pooling.inputs import check_level, checked_studies, frozen
from edgehold.words import Reason

from . import prediction
from .heterogeneity import (
    ESTIMATORS,
    Convergence,
    cochran_q,
    ordinary_log_likelihood,
    q_p_value,
    q_profile,
    restricted_log_likelihood,
    typical_variance,
)

INTERVAL_METHODS = ("wald", "knapp-hartung", "guarded-knapp-hartung")
PREDICTION_SEED = 20190617  # any fixed number: the same studies give the same interval
FEW_STUDIES = 5  # below this a prediction interval carries its caveat
LARGEST_CONDITION = 1e10  # of XᵀWX with orthonormal columns: beyond it fewer than six digits would be left


@dataclass(frozen=True)
class PredictionInterval(Interval):
    """Where the true effect of the next study would fall, from the confidence distribution.

    Attributes
    ----------
    plug_in : the same from tau2 taken as known, with the degrees of freedom of the coefficients' intervals, for comparison.
    df : degrees of freedom k − p of the t variable in it.
    caveat : what to say beside it when there are fewer than five studies; empty otherwise.
    """

    plug_in: Interval
    df: int
    caveat: str


@dataclass(frozen=True, eq=False)
class _Coefficients:
    """What studies say together, however few they are.

    Attributes
    ----------
    coefficients : (p,) estimates b; the pooled mean when there are no moderators.
    standard_errors : (p,) their standard errors, roots of the diagonal of ``covariance``.
    covariance : (p, p) covariance of the coefficients, Knapp–Hartung factor included where the method has one.
    df : degrees of freedom of the coefficients' intervals: k − p, or ``inf`` for ``"wald"``.
    studies : k.
    tau2_method, interval_method, level : as asked for.
    """

    coefficients: Array
    standard_errors: Array
    covariance: Array
    df: float
    studies: int
    tau2_method: str
    interval_method: str
    level: float


@dataclass(frozen=True, eq=False)
class StudiesNotPooled(_Coefficients):
    """As many coefficients as studies: each study's own value, and no word on how studies differ.

    Attributes
    ----------
    reason : why nothing is pooled.
    """

    reason: str


@dataclass(frozen=True, eq=False)
class _Differing(_Coefficients):
    """With how much studies differ.

    Attributes
    ----------
    tau2 : between-study variance.
    tau2_standard_error, tau2_interval : its large-sample standard error and its Q-profile interval; None for a common effect.
    q, q_df, q_p : Cochran's Q, its degrees of freedom k − p and p value.
    i2 : fraction of the total variance that lies between studies, tau2/(tau2 + s²), s² the typical variance; for a
        common effect max(0, (Q − df)/Q).
    h2 : 1/(1 − i2) without truncation: tau2/s² + 1, or Q/df for a common effect.
    log_likelihood : at the fit: restricted for REML, ordinary for every other method.
    convergence : record of the search for tau2.
    """

    tau2: float
    tau2_standard_error: float | None
    tau2_interval: Interval | None
    q: float
    q_df: int
    q_p: float
    i2: float
    h2: float
    log_likelihood: float
    convergence: Convergence


@dataclass(frozen=True, eq=False)
class StudiesListed(_Differing):
    """One study more than coefficients, such as two studies without moderators.

    Attributes
    ----------
    intervals : one interval a coefficient; None for the guarded method, which needs two studies more than coefficients.
    interval_reason : why there is none; empty otherwise.
    prediction : why there is none.
    """

    intervals: tuple[Interval, ...] | None
    interval_reason: str
    prediction: str


@dataclass(frozen=True, eq=False)
class StudiesPooled(_Differing):
    """At least two studies more than coefficients.

    Attributes
    ----------
    intervals : one interval a coefficient.
    prediction : for the true effect of the next study, or why there is none.
    """

    intervals: tuple[Interval, ...]
    prediction: PredictionInterval | str


RandomEffectsFit = StudiesPooled | StudiesListed | StudiesNotPooled


class Options(TypedDict, total=False):
    """Arguments of ``random_effects`` that are handed on by name."""

    tau2_method: str
    interval: str
    level: float
    v_df: float | None
    predict: bool
    predict_extra: float
    rng: int | np.random.Generator


def random_effects(
    y: ArrayLike,
    v: ArrayLike,
    *,
    X: ArrayLike | None = None,
    tau2_method: str = "reml",
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    v_df: float | None = None,
    predict: bool = True,
    predict_at: ArrayLike | None = None,
    predict_extra: float = 0.0,
    rng: int | np.random.Generator = PREDICTION_SEED,
) -> RandomEffectsFit:
    """Fit y ~ N(Xb, diag(v) + tau2·I).

    Time and memory are linear in the number of studies.

    Parameters
    ----------
    y : (k,) estimates, on the ln scale for ratios.
    v : (k,) their sampling variances, positive, in squared units of ``y``.
    X : (k, p) design, its constant column included; a column of ones when None.
    tau2_method : ``"reml"`` (Viechtbauer 2005), ``"ml"``, ``"dl"`` (DerSimonian & Laird 1986), ``"pm"`` (Paule & Mandel
        1982, equal to empirical Bayes), ``"he"`` (Hedges 1983), ``"sj"`` (Sidik & Jonkman 2005), ``"hs"`` (Hunter &
        Schmidt 2004) or ``"common"``. REML and ML are global maxima over tau2 ≥ 0.
    interval : ``"wald"``: covariance (XᵀWX)⁻¹ and the normal quantile. ``"knapp-hartung"``: times q = Σw(y − Xb)²/(k −
        p), and t(k − p) (Hartung & Knapp 2001; Knapp & Hartung 2003 with moderators). ``"guarded-knapp-hartung"``:
        times max(1, q), needs k ≥ p + 2 (Röver, Knapp & Friede 2015).
    level : level of every interval.
    v_df : degrees of freedom of the pooled s² behind ``v``, or None when ``v`` is known. It changes the Q-profile
        interval and ``q_p`` from chi-square to F; nothing else.
    predict : whether a prediction is wanted; False spares its time.
    predict_at : (p,) design row of the study to predict; only needed with moderators.
    predict_extra : variance that the next study has beside tau2, such as that between submissions of one cluster.
    rng : seed or generator for the prediction interval.

    Returns
    -------
    RandomEffectsFit
        ``StudiesPooled``, ``StudiesListed`` or ``StudiesNotPooled``, as there are at least two studies more than coefficients, one
        or none. ``log_likelihood`` is −½((k − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r) for REML (some programs add ½ ln|XᵀX|) and
        the ordinary −½(k ln 2π + ln|Σ| + rᵀΣ⁻¹r), at each method's own tau2, for all others.

    Raises
    ------
    InputError
        (a ValueError) If lengths differ, a value is not finite, a variance is not positive, the design lacks full
        column rank, has more columns than there are studies or is too ill-conditioned for these variances, or a method
        or level is unknown.

    Notes
    -----
    With v equal for all studies, REML, DL, PM and HE coincide and the Knapp–Hartung interval is the t interval of a
    sample mean.

    Examples
    --------
    Thirteen trials of the BCG vaccine, ln risk ratios (Colditz et al. 1994, JAMA 271:698–702). The R package metafor has tau2 0.3132, its
    Q-profile interval 0.1197 to 1.1115, the mean −0.7145 with a standard error of 0.1798, and I² 92.22 %.

    >>> from edgehold.pooling import random_effects
    >>> y = [-0.8893, -1.5854, -1.3481, -1.4416, -0.2175, -0.7861, -1.6209, 0.0120, -0.4694, -1.3713, -0.3394, 0.4459, -0.0173]
    >>> v = [0.3256, 0.1946, 0.4154, 0.0200, 0.0512, 0.0069, 0.2230, 0.0040, 0.0564, 0.0730, 0.0124, 0.5325, 0.0714]
    >>> fit = random_effects(y, v, interval="wald")
    >>> round(fit.tau2, 3), round(fit.tau2_interval.low, 2), round(fit.tau2_interval.high, 2)
    (0.313, 0.12, 1.11)
    >>> round(float(fit.coefficients[0]), 3), round(float(fit.standard_errors[0]), 3), round(100 * fit.i2, 1)
    (-0.715, 0.18, 92.2)

    The trap of plain Knapp–Hartung: three studies that agree by luck.

    >>> fit = random_effects([0.10, 0.11, 0.105], [0.01, 0.01, 0.01])
    >>> [round(limit, 4) for limit in (fit.intervals[0].low, fit.intervals[0].high)]
    [-0.1434, 0.3534]
    """
    y, v, X = checked_studies(y, v, X)
    _check_choices(tau2_method, interval, level, v_df)
    at = _checked_predict_at(predict_at, X)
    rows = _prepared(y, v, X)
    if rows.k == rows.p:
        return _not_pooled(rows, tau2_method, interval, level)
    return _pooled(rows, predict, at, predict_extra, tau2_method, interval, level, v_df, np.random.default_rng(rng))


def _pooled(
    rows: Rows,
    predict: bool,
    at: Array | None,
    more: float,
    tau2_method: str,
    interval: str,
    level: float,
    v_df: float | None,
    rng: np.random.Generator,
) -> RandomEffectsFit:
    heterogeneity = ESTIMATORS[tau2_method](rows)
    tau2, df = heterogeneity.tau2, rows.k - rows.p
    fit, q = weigh(rows, tau2), cochran_q(rows)
    coefficient_covariance = _scale_factor(fit, df, interval) * covariance(rows, fit)
    interval_df = np.inf if interval == "wald" else float(df)
    i2, h2 = _inconsistency(rows, tau2_method, tau2, q)
    restricted = tau2_method == "reml"
    found = _Differing(
        coefficients=frozen(fit.coefficients),
        standard_errors=frozen(np.sqrt(np.diag(coefficient_covariance))),
        covariance=frozen(coefficient_covariance),
        df=interval_df,
        studies=rows.k,
        tau2_method=tau2_method,
        interval_method=interval,
        level=level,
        tau2=tau2,
        tau2_standard_error=heterogeneity.standard_error,
        tau2_interval=None if tau2_method == "common" else q_profile(rows, level, v_df),
        q=q,
        q_df=df,
        q_p=q_p_value(q, df, v_df),
        i2=i2,
        h2=h2,
        log_likelihood=(restricted_log_likelihood if restricted else ordinary_log_likelihood)(rows, fit),
        convergence=heterogeneity.convergence,
    )
    limits = _intervals(fit.coefficients, coefficient_covariance, interval, interval_df, level)
    why_not = _why_no_prediction(rows, at, tau2_method) if predict else Reason("pairwise.prediction_not_asked")
    if df == 1:
        reason = _counted("pairwise.without_interval", rows) if interval == "guarded-knapp-hartung" else ""
        return StudiesListed(**vars(found), intervals=None if reason else limits, interval_reason=reason, prediction=why_not)
    if why_not or at is None:
        return StudiesPooled(**vars(found), intervals=limits, prediction=why_not)
    plug_in = prediction.plug_in(at, fit.coefficients, coefficient_covariance, tau2 + more, interval_df, level)
    next_study = _prediction(rows, at, fit, more, interval, level, rng, plug_in)
    return StudiesPooled(**vars(found), intervals=limits, prediction=next_study)


def _not_pooled(rows: Rows, tau2_method: str, interval: str, level: float) -> StudiesNotPooled:
    fit = weigh(rows, 0.0)
    own = covariance(rows, fit)
    return StudiesNotPooled(
        coefficients=frozen(fit.coefficients),
        standard_errors=frozen(np.sqrt(np.diag(own))),
        covariance=frozen(own),
        df=np.inf if interval == "wald" else 0.0,
        studies=rows.k,
        tau2_method=tau2_method,
        interval_method=interval,
        level=level,
        reason=_counted("pairwise.not_pooled", rows),
    )


def _scale_factor(fit: Fit, df: int, interval: str) -> float:
    if interval == "wald":
        return 1.0
    return max(1.0, fit.q / df) if interval == "guarded-knapp-hartung" else fit.q / df


def _intervals(coefficients: Array, covariance: Array, interval: str, df: float, level: float) -> tuple[Interval, ...]:
    half = t_ppf((1 + level) / 2, df) * np.sqrt(np.diag(covariance))
    limits = zip(coefficients - half, coefficients + half, strict=True)
    return tuple(Interval(float(low), float(high), level, interval) for low, high in limits)


def _inconsistency(rows: Rows, tau2_method: str, tau2: float, q: float) -> tuple[float, float]:
    """I² and H² (Higgins & Thompson 2002): from Q for a common effect, from tau2 and the typical variance otherwise."""
    h2 = q / (rows.k - rows.p) if tau2_method == "common" else tau2 / typical_variance(rows) + 1
    return (max(0.0, 1 - 1 / h2) if h2 > 0 else 0.0), h2


def _why_no_prediction(rows: Rows, at: Array | None, tau2_method: str) -> str:
    if tau2_method == "common":
        return Reason("pairwise.prediction_common")
    if rows.k < prediction.LEAST_STUDIES or rows.k < rows.p + 2:
        return _counted("pairwise.prediction_few", rows, least=max(prediction.LEAST_STUDIES, rows.p + 2))
    return Reason("pairwise.prediction_no_row") if at is None else ""


def _prediction(
    rows: Rows, at: Array, fit: Fit, more: float, interval: str, level: float, rng: np.random.Generator, plug_in: Interval
) -> PredictionInterval:
    """The confidence-distribution interval; the guard, where asked for, adds the variance it adds to the
    coefficients, and the next study what it has beside tau2."""
    lacking = max(0.0, 1 - fit.q / (rows.k - rows.p)) if interval == "guarded-knapp-hartung" else 0.0
    extra = lacking * float(at @ covariance(rows, fit) @ at)
    found = prediction.confidence_distribution(rows, at, level, rng, extra, more)
    caveat = "" if rows.k >= FEW_STUDIES else Reason("pairwise.prediction_rough", studies=rows.k)
    return PredictionInterval(found.low, found.high, found.level, found.method, plug_in, rows.k - rows.p, caveat)


def _counted(code: str, rows: Rows, **more: int) -> Reason:
    """A reason that opens with how many studies and coefficients there are."""
    studies, coefficients = Reason("pairwise.studies", studies=rows.k), Reason("pairwise.coefficients", coefficients=rows.p)
    return Reason(code, studies=studies, coefficients=coefficients, **more)


def _prepared(y: Array, v: Array, X: Array) -> Rows:
    rows = prepare(y, v, X)
    condition = np.linalg.cond(power_moment(rows, 1 / v))
    if condition > LARGEST_CONDITION:
        raise NumbersError(f"v spans too many orders of magnitude for this X: at most condition {LARGEST_CONDITION:g}, got {condition:.1e}")
    return rows


def _check_choices(tau2_method: str, interval: str, level: float, v_df: float | None) -> None:
    if tau2_method not in ESTIMATORS:
        raise InputError(f"tau2_method must be one of {', '.join(ESTIMATORS)}; got {tau2_method!r}")
    if interval not in INTERVAL_METHODS:
        raise InputError(f"interval must be one of {', '.join(INTERVAL_METHODS)}; got {interval!r}")
    check_level(level)
    if v_df is not None and not v_df > 0:
        raise InputError(f"v_df must be positive, or None for known variances; got {v_df!r}")


def _checked_predict_at(predict_at: ArrayLike | None, X: Array) -> Array | None:
    """The design row to predict; a lone constant column predicts at its own value."""
    if predict_at is None:
        return X[0] if X.shape[1] == 1 and not np.ptp(X) else None
    at = np.asarray(predict_at, dtype=float)
    if at.shape != (X.shape[1],) or not np.isfinite(at).all():
        raise InputError(f"predict_at must be {X.shape[1]} finite numbers; got {predict_at!r}")
    return at
