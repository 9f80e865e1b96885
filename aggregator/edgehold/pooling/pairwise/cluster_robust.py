"""Standard errors that do not believe the model's covariance inside a cluster: studies that share people or blades.

The symbols are those of ``edgehold.pooling``. Clusters are numbered s = 1…m; Xₛ, rₛ, Σₛ are a cluster's rows, Wₛ = Σₛ⁻¹
and M = (XᵀWX)⁻¹.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import cho_factor, cho_solve

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval
from edgehold.pooling.inputs import check_each, check_level, check_variances, checked_studies, frozen
from edgehold.words import Reason

KINDS = ("cr0", "cr1", "cr2")
LEAST_CLUSTERS = 10
SYMMETRY = 1e-10  # of V, relative to its variances: more is no rounding
ZERO_EIGENVALUE = 1e-10  # of a cluster's residual covariance, relative to its own: below it the cluster fits itself
# Under the working model CR2 has the model's variance on average, unless clusters fit themselves. Where it then falls short
# by more than this, one cluster alone settles much of the coefficient and the scatter of clusters cannot tell its variance.
SHORTFALL = 0.1


@dataclass(frozen=True, eq=False)
class ClusterRobust:
    """Coefficients with a cluster-robust covariance.

    Attributes
    ----------
    coefficients : (p,) weighted least-squares coefficients.
    covariance : (p, p) cluster-robust.
    standard_errors, df, intervals, reasons : one a coefficient. Where a reason is not empty it says why the interval
        is not available and the interval is None; where one cluster alone settles much of the coefficient, all three are None
        and the diagonal of ``covariance`` is no use either.
    kind : ``"cr0"``, ``"cr1"`` or ``"cr2"``.
    clusters : m.
    studies : k.
    level : of the intervals.
    """

    coefficients: Array
    covariance: Array
    standard_errors: tuple[float | None, ...]
    df: tuple[float | None, ...]
    intervals: tuple[Interval | None, ...]
    reasons: tuple[str, ...]
    kind: str
    clusters: int
    studies: int
    level: float


@dataclass(frozen=True, eq=False)
class _Cluster:
    """One cluster's rows: design, working covariance, WₛXₛ, residuals."""

    X: Array
    sigma: Array
    weighted: Array
    residuals: Array


def cluster_robust(
    y: ArrayLike,
    v: ArrayLike,
    cluster: Sequence[Hashable],
    *,
    X: ArrayLike | None = None,
    tau2: float,
    kind: str = "cr2",
    level: float = 0.95,
    least_clusters: int = LEAST_CLUSTERS,
) -> ClusterRobust:
    """Coefficients of y ~ (Xb, V + tau2·I) with a covariance from how the clusters' residuals scatter.

    Parameters
    ----------
    y : (k,) estimates.
    v : (k,) sampling variances, or (k, k) a working covariance that joins rows of the same cluster only (a random study
        within person goes in here).
    cluster : (k,) labels, such as people.
    X : (k, p) design; a column of ones when None.
    tau2 : between-study variance that ``random_effects`` found; not negative.
    kind : ``"cr0"``: M(Σ Xₛᵀ Wₛ rₛ rₛᵀ Wₛ Xₛ)M (Liang & Zeger 1986). ``"cr1"``: times m/(m − p). ``"cr2"``: each rₛ first
        multiplied by Aₛ = Dₛᵀ(Dₛ(Σₛ − XₛMXₛᵀ)Dₛᵀ)^(+½)Dₛ, the ½ standing for an inverse root and Dₛ for the Cholesky factor
        of Σₛ (Bell & McCaffrey 2002; Pustejovsky & Tipton 2018, eq. 5–7).
    level : level of the intervals.
    least_clusters : below this the intervals are withheld with their reason.

    Returns
    -------
    ClusterRobust
        Degrees of freedom m − p for CR0 and CR1; for CR2 Satterthwaite's, (tr Ω)²/tr Ω² for the clusters' joint covariance
        Ω of their contributions under the working model (Pustejovsky & Tipton 2018, eq. 11).

    Raises
    ------
    InputError
        If lengths differ, a value is out of range, V is not symmetric or positive definite or reaches across clusters, the
        design lacks full column rank, or the kind is unknown.

    Notes
    -----
    With equal variances, no moderators and one study a cluster, CR2 is the variance of a sample mean with k − 1 degrees of
    freedom.

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97), grouped by the weeks that teachers had
    known their pupils. The R package clubSandwich has a CR2 standard error of 0.0756 on 6.89 degrees of freedom.

    >>> from edgehold.pooling import cluster_robust
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> weeks = [2, 21, 19, 0, 0, 3, 17, 24, 0, 1, 0, 0, 1, 2, 17, 5, 1, 2, 7]
    >>> found = cluster_robust(y, v, weeks, tau2=0.018818)
    >>> round(float(found.coefficients[0]), 3), round(float(found.standard_errors[0]), 3), round(float(found.df[0]), 2)
    (0.084, 0.076, 6.89)
    """
    V, blocks = _checked_working(y, v, cluster)
    y, _, X = checked_studies(y, np.diag(V), X)
    _check_choices(tau2, kind, level)
    coefficients, bread, parts = _fit(y, V + tau2 * np.eye(len(y)), X, blocks)
    m, p = len(blocks), X.shape[1]
    if kind == "cr2":
        adjusted = [_adjusted(part, bread) for part in parts]
        told, df = _satterthwaite(parts, adjusted, bread)
    else:
        adjusted = [part.weighted for part in parts]
        told, df = np.full(p, m > p), np.full(p, float(m - p))
    scores = np.array([a.T @ part.residuals for a, part in zip(adjusted, parts, strict=True)])
    covariance = bread @ scores.T @ scores @ bread * (m / (m - p) if kind == "cr1" and m > p else 1.0)
    return _result(coefficients, covariance, told, df, kind, m, len(y), level, least_clusters)


def _fit(y: Array, sigma: Array, X: Array, blocks: list[Ints]) -> tuple[Array, Array, list[_Cluster]]:
    factors = [_factor(sigma[np.ix_(rows, rows)], rows) for rows in blocks]
    weighted = [cho_solve(factor, X[rows]) for factor, rows in zip(factors, blocks, strict=True)]
    information = sum(w.T @ X[rows] for w, rows in zip(weighted, blocks, strict=True))
    bread = np.linalg.inv(information)
    start = np.linalg.lstsq(X, y, rcond=None)[0]  # a large offset goes first, so that it costs no digits
    centred = y - X @ start
    step = bread @ sum(w.T @ centred[rows] for w, rows in zip(weighted, blocks, strict=True))
    residuals = centred - X @ step
    parts = [_Cluster(X[rows], sigma[np.ix_(rows, rows)], w, residuals[rows]) for w, rows in zip(weighted, blocks, strict=True)]
    return start + step, (bread + bread.T) / 2, parts


def _factor(block: Array, rows: Ints) -> tuple[Array, bool]:
    try:
        factor, lower = cho_factor(block)
        return factor, lower
    except np.linalg.LinAlgError:
        raise NumbersError(f"v must be positive definite within each cluster; got a singular block for rows {rows.tolist()}") from None


def _adjusted(part: _Cluster, bread: Array) -> Array:
    """AₛWₛXₛ: what the cluster's residuals are weighed with."""
    root = np.linalg.cholesky(part.sigma).T
    own = root @ (part.sigma - part.X @ bread @ part.X.T) @ root.T
    values, vectors = np.linalg.eigh((own + own.T) / 2)
    kept = values > ZERO_EIGENVALUE * np.linalg.eigvalsh(root @ part.sigma @ root.T)[-1]
    inverse_root = (vectors[:, kept] / np.sqrt(values[kept])) @ vectors[:, kept].T
    weighed: Array = root.T @ (inverse_root @ (root @ part.weighted))
    return weighed


def _satterthwaite(parts: list[_Cluster], adjusted: list[Array], bread: Array) -> tuple[Bools, Array]:
    """Whether each coefficient's variance can be told, and its degrees of freedom.

    Under the working model the contributions cᵀMXₛᵀWₛAₛrₛ have covariance Ω = diag(dₛ) − UMUᵀ with dₛ = aₛᵀΣₛaₛ and rows
    uₛ = Xₛᵀaₛ, aₛ = AₛWₛXₛMc; no m × m matrix is formed.
    """
    told: list[bool] = []
    df: list[float] = []
    for c in bread:
        a = [weights @ c for weights in adjusted]
        own = np.array([one @ part.sigma @ one for one, part in zip(a, parts, strict=True)])
        joint = np.array([part.X.T @ one for one, part in zip(a, parts, strict=True)])
        shared = np.einsum("si,ij,sj->s", joint, bread, joint)
        crossed = bread @ (joint.T @ joint)
        trace, square = own.sum() - shared.sum(), np.sum(own**2) - 2 * np.sum(own * shared) + np.trace(crossed @ crossed)
        told.append(len(parts) > 1 and bool(trace >= (1 - SHORTFALL) * c[len(told)]))
        df.append(trace**2 / square if told[-1] else np.nan)
    return np.array(told), np.array(df)


def _result(
    coefficients: Array, covariance: Array, told: Bools, df: Array, kind: str, m: int, k: int, level: float, least_clusters: int
) -> ClusterRobust:
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    few = Reason("pairwise.clusters_few", clusters=m, least=least_clusters) if m < least_clusters else ""
    alone = Reason("pairwise.cluster_alone", clusters=m)
    reasons = tuple(few if one else alone for one in told)
    half = [t_ppf((1 + level) / 2, one) * error if ok else np.nan for one, error, ok in zip(df, errors, told, strict=True)]
    intervals = [
        None if reason else Interval(float(b - h), float(b + h), level, kind)
        for b, h, reason in zip(coefficients, half, reasons, strict=True)
    ]
    return ClusterRobust(
        coefficients=frozen(coefficients),
        covariance=frozen(covariance),
        standard_errors=tuple(float(error) if ok else None for error, ok in zip(errors, told, strict=True)),
        df=tuple(float(one) if ok else None for one, ok in zip(df, told, strict=True)),
        intervals=tuple(intervals),
        reasons=reasons,
        kind=kind,
        clusters=m,
        studies=k,
        level=level,
    )


def _checked_working(y: ArrayLike, v: ArrayLike, cluster: Sequence[Hashable]) -> tuple[Array, list[Ints]]:
    """V as a matrix, and the rows of each cluster."""
    V = np.asarray(v, dtype=float)
    V = np.diag(V) if V.ndim == 1 else V
    k = np.shape(y)[0] if np.ndim(y) == 1 else -1
    if V.shape != (k, k) or len(cluster) != k:
        raise InputError(f"y, v and cluster must agree in length; got {np.shape(y)}, {np.shape(v)} and {len(cluster)} labels")
    check_each("v", V, np.isfinite(V), "finite numbers")
    check_variances("v", np.diag(V))
    places = {label: i for i, label in enumerate(dict.fromkeys(cluster))}
    label = np.array([places[one] for one in cluster])
    scale = np.sqrt(np.outer(np.diag(V), np.diag(V)))
    if (np.abs(V - V.T) > SYMMETRY * scale).any():
        raise InputError("v must be symmetric; got a matrix that differs from its transpose")
    across = np.argwhere((label[:, None] != label) & (V != 0))
    if len(across):
        raise InputError(f"v may join rows of one cluster only; got a covariance between clusters at {across[0].tolist()}")
    return V, [np.flatnonzero(label == s) for s in range(len(places))]


def _check_choices(tau2: float, kind: str, level: float) -> None:
    if not (np.isfinite(tau2) and tau2 >= 0):
        raise NumbersError(f"tau2 must be a finite number, not negative; got {tau2!r}")
    if kind not in KINDS:
        raise InputError(f"kind must be one of {', '.join(KINDS)}; got {kind!r}")
    check_level(level)
