"""Restricted likelihood of a linear mixed model at given standard deviations, with exact, interval and one-sided responses.

y ~ N(Xb, Σ σₖ²ZₖZₖᵀ + R), R diagonal. Everything comes from one dense Cholesky factor of Henderson's equations in scaled form
(Bates et al. 2015, J. Stat. Softw. 67(1), section 3.4; ``mixed`` says the same for sparse factors)::

    C = | ΛᵀZᵀR⁻¹ZΛ + I   ΛᵀZᵀR⁻¹X |      ln|C| + ln|R| = ln|Σ| + ln|XᵀΣ⁻¹X|,  Λ = diag(σ)
        | XᵀR⁻¹ZΛ          XᵀR⁻¹X  |

so that a standard deviation of 0 costs no division and no n × n matrix is formed. A response of which only limits are known is a
normal value with a variance of its own, its site (expectation propagation; Minka 2001, Uncertainty in Artificial Intelligence
17:362–369): the sites are settled anew at every point, and their scale factors make the likelihood whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.linalg import lapack

from .truncated_moments import between

SWEEPS, SETTLED = 60, 1e-5  # sweeps over all sites; change in the last, in units of what the others say, at which they end
SLOWER, DAMPED = 12, 0.6  # sweep from which steps are shortened, and to which share
LEAST_PRECISION = 1e-9  # of a site, in units of the precision without it: a limit so far off that it says nothing
FIRST_VARIANCE = 1e3  # of the first site of a one-sided response, in units of the spread of all


@dataclass(frozen=True, eq=False)
class MixedRows:
    """One data set, prepared; responses are less ``X @ origin``.

    Attributes
    ----------
    n : rows, of which some are exact and the others limited.
    gram, rhs, squares : (m, m) [Z X]ᵀW[Z X], (m,) [Z X]ᵀWy and yᵀWy over the exact rows, m = q + p; W holds their inverse known
        variances, or ones.
    log_known : sum of the logarithms of those variances.
    exact : number of exact rows.
    near : (l, m) rows of [Z X] that are limited.
    low, high : (l,) their limits.
    extra : (l,) their known variances; 0 where the residual's is unknown.
    spread : variance of the responses, in which a first guess is made.
    owner : (q,) number of the term of each effect.
    sizes : (K,) effects a term.
    p : coefficients.
    origin : (p,) coefficients taken off.
    """

    n: int
    gram: np.ndarray
    rhs: np.ndarray
    squares: float
    log_known: float
    exact: int
    near: np.ndarray
    low: np.ndarray
    high: np.ndarray
    extra: np.ndarray
    spread: float
    owner: np.ndarray
    sizes: np.ndarray
    p: int
    origin: np.ndarray

    @property
    def q(self) -> int:
        """Number of effects."""
        return len(self.owner)


@dataclass(frozen=True, eq=False)
class Sites:
    """What limits say: normal values with precisions ``precision`` and means ``shift / precision``."""

    precision: np.ndarray
    shift: np.ndarray


@dataclass(frozen=True, eq=False)
class LikelihoodPoint:
    """The likelihood at one point, and what is normal given it.

    Attributes
    ----------
    log_likelihood : restricted, with all constants.
    slopes : (K + 1,) its derivatives by the standard deviations, the residual's last; None unless asked for.
    coefficients, covariance : (p,) and (p, p) of b given the standard deviations.
    factor, solution : (m, m) lower Cholesky factor of C, and C⁻¹ times its right-hand side.
    scale : (m,) σ of each effect, 1 for coefficients.
    sites : settled.
    """

    log_likelihood: float
    slopes: np.ndarray | None
    coefficients: np.ndarray
    covariance: np.ndarray
    factor: np.ndarray
    solution: np.ndarray
    scale: np.ndarray
    sites: Sites

    def combined(self, targets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Means and variances, (T,) each, of sums of effects and coefficients with weights ``targets``, (T, m)."""
        scaled = targets * self.scale
        moved = lapack.dtrtrs(self.factor, scaled.T, lower=1)[0]
        return scaled @ self.solution, (moved**2).sum(axis=0)


def prepare_rows(low: np.ndarray, high: np.ndarray, X: np.ndarray, terms: Sequence[sp.spmatrix], known: np.ndarray | None) -> MixedRows:
    """Centre, and gather what does not depend on the standard deviations.

    Parameters
    ----------
    low, high : (n,) limits, equal where exact, infinite where open.
    X : (n, p) of full column rank.
    terms : K matrices (n, qₖ).
    known : (n,) known variances of the responses; None where they have one unknown residual variance.
    """
    stand_in = np.where(np.isfinite(low), np.where(np.isfinite(high), (low + high) / 2, low), high)
    origin = np.linalg.lstsq(X, stand_in, rcond=None)[0]
    fitted = X @ origin
    columns = sp.csr_matrix(sp.hstack([*terms, sp.csr_matrix(X)], format="csr"))
    sizes = np.array([term.shape[1] for term in terms], dtype=int)
    exact = low == high
    mine, y = columns[exact], low[exact] - fitted[exact]
    variances = np.ones(len(y)) if known is None else known[exact]
    weighted = sp.diags(1 / variances) @ mine
    limited = ~exact
    return MixedRows(
        n=len(low),
        gram=(mine.T @ weighted).toarray(order="C"),
        rhs=weighted.T @ y,
        squares=float((y**2 / variances).sum()),
        log_known=float(np.log(variances).sum()),
        exact=len(y),
        near=columns[limited].toarray(),
        low=low[limited] - fitted[limited],
        high=high[limited] - fitted[limited],
        extra=np.zeros(int(limited.sum())) if known is None else known[limited],
        spread=float(np.var(stand_in - fitted)) or 1.0,
        owner=np.repeat(np.arange(len(sizes)), sizes),
        sizes=sizes,
        p=X.shape[1],
        origin=origin,
    )


def first_sites(rows: MixedRows) -> Sites:
    """Where the sweeps begin: the middle of an interval with a twelfth of its width squared, a wide value at a single limit."""
    bounded_low, bounded_high = np.isfinite(rows.low), np.isfinite(rows.high)
    both = bounded_low & bounded_high
    low, high = np.where(bounded_low, rows.low, 0.0), np.where(bounded_high, rows.high, 0.0)
    middle = np.where(both, (low + high) / 2, low + high)
    variance = np.where(both, (high - low) ** 2 / 12, FIRST_VARIANCE * rows.spread)
    return Sites(1 / variance, middle / variance)


def likelihood_at(
    rows: MixedRows,
    sds: np.ndarray,
    residual: float | None,
    sites: Sites | None = None,
    slopes: bool = False,
    settled: float = SETTLED,
) -> LikelihoodPoint | None:
    """The restricted likelihood at given standard deviations.

    Parameters
    ----------
    rows : prepared.
    sds : (K,) standard deviations of the terms, ≥ 0; positive where slopes are wanted.
    residual : standard deviation of a run; None where variances are known.
    sites : where to begin; ``first_sites`` when None.
    slopes : whether derivatives are wanted.
    settled : change of the sites, in units of what the others say, below which they count as settled.

    Returns
    -------
    LikelihoodPoint
        None where C is not positive definite to working precision or the sites do not settle.
    """
    scale = np.concatenate([sds[rows.owner], np.ones(rows.p)])
    weight = 1.0 if residual is None else residual**-2
    if not len(rows.near):
        nothing = np.zeros(0)
        factored = _factor(rows, scale, weight, nothing, nothing)
        return factored and _solved(rows, factored, scale, weight, nothing, nothing, Sites(nothing, nothing), 0.0, residual, slopes)
    return _with_limits(rows, scale, weight, sites or first_sites(rows), residual, slopes, settled)


def _with_limits(rows: MixedRows, scale, weight: float, sites: Sites, residual, slopes: bool, settled: float) -> LikelihoodPoint | None:
    noise = rows.extra + (0.0 if residual is None else residual**2)
    scaled = rows.near * scale
    precision, shift = sites.precision, sites.shift
    for sweep in range(SWEEPS):
        y, variance = shift / precision, noise + 1 / precision
        factored = _factor(rows, scale, weight, y, variance)
        if factored is None:
            return None
        moved = lapack.dtrtrs(factored[0], scaled.T, lower=1)[0]
        fitted_variance, fitted = np.einsum("ij,ij->j", moved, moved), factored[1] @ moved
        rest = 1 / fitted_variance - 1 / variance
        if not (rest > 0).all():
            return None
        centre = (fitted / fitted_variance - y / variance) / rest
        without = 1 / rest + noise
        log_p, mean, spread = between(centre, without, rows.low, rows.high)
        wanted = np.maximum(1 / spread - 1 / without, LEAST_PRECISION / without)
        push = (wanted + 1 / without) * mean - centre / without
        change = max(float(np.abs((wanted - precision) * spread).max()), float(np.abs((push - shift) * np.sqrt(spread)).max()))
        if change < settled:
            total = without + 1 / precision
            scales = log_p + 0.5 * np.log(2 * np.pi * total) + (y - centre) ** 2 / (2 * total)
            return _solved(rows, factored, scale, weight, y, variance, Sites(precision, shift), float(scales.sum()), residual, slopes)
        step = 1.0 if sweep < SLOWER else DAMPED
        precision, shift = precision + step * (wanted - precision), shift + step * (push - shift)
    return None


def _matrix(rows: MixedRows, weight: float, weights: np.ndarray) -> np.ndarray:
    """(m, m) [Z X]ᵀ diag [Z X] over all rows: one weight for the exact ones, one each for the limited."""
    total = rows.gram * weight
    if len(weights):
        root = rows.near * np.sqrt(weights)[:, None]
        total += root.T @ root
    return total


def _factor(rows: MixedRows, scale: np.ndarray, weight: float, y: np.ndarray, variance: np.ndarray):
    """Lower factor L of C, and L⁻¹ of its right-hand side; None where C is not positive definite."""
    C = _matrix(rows, weight, 1 / variance)
    C *= scale[:, None]
    C *= scale
    C.ravel()[: rows.q * (len(scale) + 1) : len(scale) + 1] += 1.0
    L, info = lapack.dpotrf(C.T, lower=1, clean=0, overwrite_a=1)
    if info != 0:
        return None
    return L, lapack.dtrtrs(L, scale * _right(rows, weight, y, variance), lower=1)[0]


def _right(rows: MixedRows, weight: float, y: np.ndarray, variance: np.ndarray) -> np.ndarray:
    return rows.rhs * weight + (rows.near.T @ (y / variance) if len(y) else 0.0)


def _solved(rows: MixedRows, factored, scale, weight, y, variance, sites: Sites, scales: float, residual, slopes) -> LikelihoodPoint | None:
    L, half = factored
    p, q = rows.p, rows.q
    solution = lapack.dtrtrs(L, half, lower=1, trans=1)[0]
    rss = rows.squares * weight + float((y**2 / variance).sum()) - float(half @ half)
    log_det = rows.log_known - rows.exact * np.log(weight) + float(np.log(variance).sum() + 2 * np.log(np.diag(L)).sum())
    if not np.isfinite(rss + log_det):
        return None
    corner = lapack.dtrtri(L[q:, q:], lower=1)[0] if p else np.zeros((0, 0))
    corner = np.tril(corner)
    return LikelihoodPoint(
        log_likelihood=-0.5 * ((rows.n - p) * np.log(2 * np.pi) + log_det + rss) + scales,
        slopes=_slopes(rows, L, solution, scale, weight, y, variance, residual) if slopes else None,
        coefficients=rows.origin + solution[q:],
        covariance=corner.T @ corner,
        factor=L,
        solution=solution,
        scale=scale,
        sites=sites,
    )


def _slopes(rows: MixedRows, L, solution, scale, weight, y, variance, residual) -> np.ndarray:
    """∂/∂σₖ = −((qₖ − tr(C⁻¹)ₖ) − ‖C⁻¹rhs‖²ₖ)/σₖ, and for the residual −σ(tr P − ‖Py‖²)."""
    inverse = lapack.dpotri(L, lower=1)[0]
    K, q = len(rows.sizes), rows.q
    left = np.bincount(rows.owner, np.diag(inverse)[:q] + solution[:q] ** 2, minlength=K)
    sds = scale[np.cumsum(rows.sizes) - 1] if K else np.zeros(0)
    by_term = -(rows.sizes - left) / sds
    if residual is None:
        return np.append(by_term, 0.0)
    again = _matrix(rows, weight**2, variance**-2.0) * scale[:, None] * scale
    lower = np.tril(inverse, -1)
    trace = 2 * float(np.einsum("ij,ij->", lower, again)) + float(np.diag(inverse) @ np.diag(again))
    x = scale * solution
    errors = weight**2 * (rows.squares - 2 * rows.rhs @ x + x @ rows.gram @ x)
    errors += float((((y - rows.near @ x) / variance) ** 2).sum()) if len(y) else 0.0
    return np.append(by_term, -residual * (rows.exact * weight + float((1 / variance).sum()) - trace - errors))
