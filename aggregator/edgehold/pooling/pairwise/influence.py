"""How much one study moves the pooled result: the fit without it, and what changed.

The symbols are those of ``edgehold.pooling``; (−i) marks what is computed without study i. Every study costs one fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array
from edgehold.numerics.weighted_regression import Rows, covariance, prepare, weigh
from edgehold.pooling.inputs import checked_studies, frozen
from edgehold.words import Reason

from .random_effects import Options, RandomEffectsFit, StudiesNotPooled, random_effects


@dataclass(frozen=True, eq=False)
class Influence:
    """What one study does to the fit.

    Attributes
    ----------
    study : 0-based place of the study.
    hat : its leverage hᵢ = wᵢxᵢᵀ(XᵀWX)⁻¹xᵢ; without moderators its share of the weights. The hᵢ sum to p.
    deleted_residual : yᵢ − xᵢb(−i), its distance from what the others foretell.
    deleted_residual_standard_error : √(vᵢ + tau2(−i) + xᵢᵀCov(b(−i))xᵢ).
    studentised_residual : their ratio, the externally studentised residual.
    dffits : xᵢ(b − b(−i))/√(hᵢ(vᵢ + tau2(−i))), the change of its fitted value.
    cooks_distance : (b − b(−i))ᵀ(XᵀWX)(b − b(−i)).
    covariance_ratio : |Cov(b(−i))|/|Cov(b)|; below 1 the fit is more precise without the study.
    dfbetas : (p,) (b − b(−i))/their standard errors from all studies at tau2(−i).
    tau2_without, q_without : tau2(−i) and Cochran's Q of the others.
    """

    study: int
    hat: float
    deleted_residual: float
    deleted_residual_standard_error: float
    studentised_residual: float
    dffits: float
    cooks_distance: float
    covariance_ratio: float
    dfbetas: Array
    tau2_without: float
    q_without: float


@dataclass(frozen=True)
class NoInfluence:
    """A study without which there is nothing to compare with.

    Attributes
    ----------
    study, hat : as in `Influence`.
    reason : why it cannot be told.
    """

    study: int
    hat: float
    reason: str


def leave_one_out(
    y: ArrayLike,
    v: ArrayLike,
    *,
    X: ArrayLike | None = None,
    tau2_method: str = "reml",
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    v_df: float | None = None,
) -> tuple[RandomEffectsFit | Reason, ...]:
    """Fit the studies again and again, each time without one of them.

    Parameters
    ----------
    y, v, X, tau2_method, interval, level, v_df : as for ``random_effects``.

    Returns
    -------
    tuple of RandomEffectsFit or Reason
        One a study, in the order of ``y``. The fits carry no prediction. Where the others cannot carry the model (no study
        is left, or a column of X lived on this study alone) the reason stands instead of a fit.

    Raises
    ------
    InputError
        If ``random_effects`` of all studies would.

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97). The mean is 0.084; without the
    fourth study, which reports 1.18, the R package metafor has 0.0577 with tau2 0.0080.

    >>> from edgehold.pooling import leave_one_out
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> fourth = leave_one_out(y, v)[3]
    >>> round(float(fourth.coefficients[0]), 3), round(fourth.tau2, 3)
    (0.058, 0.008)
    """
    y, v, X = checked_studies(y, v, X)
    asked: Options = {"tau2_method": tau2_method, "interval": interval, "level": level, "v_df": v_df, "predict": False}
    random_effects(y, v, X=X, **asked)  # what is wrong with all studies is the caller's mistake, not one study's
    return tuple(_without(y, v, X, i, asked) for i in range(len(y)))


def influence(y: ArrayLike, v: ArrayLike, *, X: ArrayLike | None = None, tau2_method: str = "reml") -> tuple[Influence | NoInfluence, ...]:
    """Measures of a study's influence on the pooled result (Viechtbauer & Cheung 2010, Outlier and influence diagnostics for
    meta-analysis, Res. Synth. Methods 1:112–125).

    tau2 is estimated anew without each study. Covariances are the model's own (XᵀWX)⁻¹, without a Knapp–Hartung factor: a
    factor that itself moves with the study would hide what the study does.

    Parameters
    ----------
    y, v, X, tau2_method : as for ``random_effects``.

    Returns
    -------
    tuple of Influence or NoInfluence
        One a study, in the order of ``y``. No study is called an outlier and none is dropped.

    Raises
    ------
    InputError
        If ``random_effects`` of all studies would.

    Notes
    -----
    For a common effect the measures are those of weighted least squares with known variances (Belsley, Kuh & Welsch 1980).

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97). For the fourth, which reports 1.18,
    the R package metafor has a studentised residual of 2.907, DFFITS 0.521 and Cook's distance 0.253.

    >>> from edgehold.pooling import influence
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> fourth = influence(y, v)[3]
    >>> round(fourth.studentised_residual, 3), round(fourth.dffits, 3), round(fourth.cooks_distance, 3)
    (2.907, 0.521, 0.253)
    """
    y, v, X = checked_studies(y, v, X)
    asked: Options = {"tau2_method": tau2_method, "interval": "wald", "predict": False}
    # No measure changes with y − Xb for any b, and small changes of large coefficients would lose their digits.
    y = y - X @ random_effects(y, v, X=X, **asked).coefficients
    full = random_effects(y, v, X=X, **asked)
    rows = prepare(y, v, X)
    tau2 = 0.0 if isinstance(full, StudiesNotPooled) else full.tau2
    hats = np.einsum("ij,jk,ik->i", X, full.covariance, X) / (v + tau2)
    return tuple(_influence(rows, X, y, v, full, i, float(hat), _without(y, v, X, i, asked)) for i, hat in enumerate(hats))


def _without(y: Array, v: Array, X: Array, i: int, asked: Options) -> RandomEffectsFit | Reason:
    others = np.arange(len(y)) != i
    if not others.any():
        return Reason("pairwise.no_other_study")
    if np.linalg.matrix_rank(X[others]) < X.shape[1]:
        return Reason("pairwise.column_alone")
    try:
        return random_effects(y[others], v[others], X=X[others], **asked)
    except InputError as error:  # all studies together could be fitted, so this is the others' state and not a mistake
        return Reason("pairwise.others_not_fitted", why=str(error))


def _influence(
    rows: Rows, X: Array, y: Array, v: Array, full: RandomEffectsFit, i: int, hat: float, fit: RandomEffectsFit | Reason
) -> Influence | NoInfluence:
    if isinstance(fit, Reason):
        return NoInfluence(i, hat, fit)
    if isinstance(fit, StudiesNotPooled):
        return NoInfluence(i, hat, fit.reason)
    change = full.coefficients - fit.coefficients
    residual = float(y[i] - X[i] @ fit.coefficients)
    error = float(np.sqrt(v[i] + fit.tau2 + X[i] @ fit.covariance @ X[i]))
    return Influence(
        study=i,
        hat=hat,
        deleted_residual=residual,
        deleted_residual_standard_error=error,
        studentised_residual=residual / error,
        dffits=float(X[i] @ change / np.sqrt(hat * (v[i] + fit.tau2))),
        cooks_distance=float(change @ np.linalg.solve(full.covariance, change)),
        covariance_ratio=float(np.linalg.det(np.linalg.solve(full.covariance, fit.covariance))),
        dfbetas=frozen(change / np.sqrt(np.diag(covariance(rows, weigh(rows, fit.tau2))))),
        tau2_without=fit.tau2,
        q_without=fit.q,
    )
