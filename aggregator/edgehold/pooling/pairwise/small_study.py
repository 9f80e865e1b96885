"""Whether small studies tell another story than large ones: a regression on the standard error.

The symbols are those of ``edgehold.pooling``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import t_sf
from edgehold.numerics.interval import Interval
from edgehold.pooling.inputs import check_level, checked_studies
from edgehold.words import Reason

from .random_effects import INTERVAL_METHODS, StudiesPooled, random_effects

LEAST_STUDIES = 10  # below it the test cannot tell chance from asymmetry (Sterne et al. 2011, BMJ 343:d4002)
MODELS = {"mixed-effects": "reml", "weighted-regression": "common"}


@dataclass(frozen=True)
class SmallStudyTest:
    """A test for small-study effects; all numbers but ``studies`` are None where a reason stands.

    Attributes
    ----------
    model : ``"mixed-effects"`` or ``"weighted-regression"``.
    slope, standard_error : change of the effect per unit of standard error; 0 for a symmetric funnel.
    statistic, df, p : slope over its standard error, its degrees of freedom (``inf``: normal) and two-sided p value.
    limit : the effect as the standard error goes to 0, other moderators at 0.
    limit_interval : its interval.
    tau2 : remaining between-study variance of the mixed-effects form; None for the weighted regression.
    dispersion : Σ w r²/(k − p), the factor on the variances; 1 is as expected.
    studies : k.
    """

    model: str
    slope: float
    standard_error: float
    statistic: float
    df: float
    p: float
    limit: float
    limit_interval: Interval
    tau2: float | None
    dispersion: float
    studies: int


def small_study_test(
    y: ArrayLike,
    v: ArrayLike,
    *,
    X: ArrayLike | None = None,
    model: str = "mixed-effects",
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    least_studies: int = LEAST_STUDIES,
) -> SmallStudyTest | Reason:
    """Regress the effects on their standard errors √v.

    Parameters
    ----------
    y, v : (k,) estimates and their sampling variances.
    X : (k, p) design with its constant column first; a column of ones when None. √v is added to it.
    model : ``"mixed-effects"``: y ~ N(Xb + s√v, diag(v) + tau2·I), REML (Sterne & Egger 2005, in Rothstein et al.).
        ``"weighted-regression"``: weights 1/v and a multiplicative dispersion, t(k − p) (Egger et al. 1997; the same line,
        there written as standardised effect on precision).
    interval : coefficients' method in the mixed-effects form, as for ``random_effects``; the weighted regression always
        takes its own dispersion.
    level : level of ``limit_interval``.
    least_studies : below this the test is refused with its reason.

    Returns
    -------
    SmallStudyTest or Reason
        A slope is no proof that results were held back: a real difference of small studies gives one too. The reason where there
        is no test.

    Raises
    ------
    InputError
        If the model is unknown, or ``random_effects`` would raise on ``y``, ``v``, ``X``.

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97). The R package metafor has z = 2.526,
    p = 0.012 and a limit of −0.217.

    >>> from edgehold.pooling import small_study_test
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> found = small_study_test(y, v, interval="wald")
    >>> round(found.statistic, 3), round(found.p, 3), round(found.limit, 3)
    (2.526, 0.012, -0.217)
    """
    y, v, X = checked_studies(y, v, X)
    check_level(level)
    if model not in MODELS:
        raise InputError(f"model must be one of {', '.join(MODELS)}; got {model!r}")
    if interval not in INTERVAL_METHODS:
        raise InputError(f"interval must be one of {', '.join(INTERVAL_METHODS)}; got {interval!r}")
    reason = _why_not(v, X, least_studies)
    if reason is not None:
        return reason
    asked = "knapp-hartung" if model == "weighted-regression" else interval
    try:
        fit = random_effects(
            y, v, X=np.column_stack([X, np.sqrt(v)]), tau2_method=MODELS[model], interval=asked, level=level, predict=False
        )
    except InputError as error:  # the column of standard errors is ours, so that what is wrong with it is no mistake of the caller
        return Reason("pairwise.small_no_line", why=str(error))
    if not isinstance(fit, StudiesPooled) or not fit.standard_errors[-1] > 0:
        return Reason("pairwise.small_straight")
    return _test(model, fit, fit.intervals[0], _dispersion(y, v, X, fit))


def _why_not(v: Array, X: Array, least_studies: int) -> Reason | None:
    k, p = len(v), X.shape[1] + 1
    if k < least_studies:
        return Reason("pairwise.small_few", studies=k, least=least_studies)
    if k < p + 2:
        return Reason("pairwise.small_few_for_coefficients", studies=k, coefficients=p, least=p + 2)
    error = np.sqrt(v)
    if np.linalg.matrix_rank(np.column_stack([X, error / error.max()])) < p:
        return Reason("pairwise.small_alike")
    return None


def _dispersion(y: Array, v: Array, X: Array, fit: StudiesPooled) -> float:
    residuals = y - np.column_stack([X, np.sqrt(v)]) @ fit.coefficients
    return float(np.sum(residuals**2 / (v + fit.tau2)) / fit.q_df)


def _test(model: str, fit: StudiesPooled, limit: Interval, dispersion: float) -> SmallStudyTest:
    slope, error = float(fit.coefficients[-1]), float(fit.standard_errors[-1])
    return SmallStudyTest(
        model=model,
        slope=slope,
        standard_error=error,
        statistic=slope / error,
        df=fit.df,
        p=float(2 * t_sf(abs(slope / error), fit.df)),
        limit=float(fit.coefficients[0]),
        limit_interval=limit,
        tau2=fit.tau2 if model == "mixed-effects" else None,
        dispersion=dispersion,
        studies=fit.studies,
    )
