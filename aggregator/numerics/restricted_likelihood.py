"""Restricted likelihood of a linear mixed model at given standard deviations, with exact, interval and one-sided responses.

y ~ N(Xb, Σ σₖ²ZₖZₖᵀ + R), R diagonal. Everything comes from one dense Cholesky factor of Henderson's equations in scaled form
(Bates et al. 2015, J. Stat. Softw. 67(1), section 3.4; ``mixed`` says the same for sparse factors)::

    C = | ΛᵀZᵀR⁻¹ZΛ + I   ΛᵀZᵀR⁻¹X |      ln|C| + ln|R| = ln|Σ| + ln|XᵀΣ⁻¹X|,  Λ = diag(σ)
        | XᵀR⁻¹ZΛ          XᵀR⁻¹X  |

so that a standard deviation of 0 costs no division and no n × n matrix is formed. Effects that share no row with each other, and
none with a limited response, are eliminated first in closed form; the factor is that of what is left.

A response of which only limits are known is a normal value with a variance of its own, its site (expectation propagation; Minka
2001, Uncertainty in Artificial Intelligence 17:362–369). Scale factors of the sites make the likelihood whole.
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
WORTH_ELIMINATING = 100  # effects and coefficients from which eliminating some first costs less than it saves
FIRST_VARIANCE = 1e3  # of the first site of a one-sided response, in units of the spread of all


@dataclass(frozen=True, eq=False)
class Products:
    """Products of every two entries of each of l sparse vectors of length m.

    Attributes
    ----------
    places : (u,) where in a flat (m, m) matrix they are not zero.
    values : (u, l) the products there.
    """

    places: np.ndarray
    values: sp.csr_matrix


@dataclass(frozen=True, eq=False)
class MixedRows:
    """One data set, prepared; responses are less ``X @ origin``.

    Attributes
    ----------
    n : rows, of which some are exact and the others limited.
    order : (m,) original column of each column, m = q + p: effects eliminated first, the other effects, coefficients.
    first : (a,) [Z X]ᵀW[Z X] of the effects eliminated first, which is diagonal; W holds the inverse known variances of the exact
        rows, or ones.
    across : (m − a, a) the same between the others and them, sparse.
    outer : products of every two entries of a column of ``across``.
    gram : (m − a, m − a) the same of the others.
    rhs, squares : (m,) [Z X]ᵀWy and yᵀWy over the exact rows.
    log_known : sum of the logarithms of the known variances.
    exact : number of exact rows.
    near : (l, m − a) rows of [Z X] that are limited.
    pairs : products of every two entries of a limited row, so that ``pairs`` times w is their [Z X]ᵀ diag(w) [Z X].
    low, high : (l,) their limits.
    extra : (l,) their known variances; 0 where the residual's is unknown.
    spread : variance of the responses, in which a first guess is made.
    owner : (q,) number of the term of each effect.
    sizes : (K,) effects a term.
    p : coefficients.
    origin : (p,) coefficients taken off.
    """

    n: int
    order: np.ndarray
    first: np.ndarray
    across: sp.csr_matrix
    outer: Products
    gram: np.ndarray
    rhs: np.ndarray
    squares: float
    log_known: float
    exact: int
    near: np.ndarray
    pairs: Products
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
    factor, solution : lower Cholesky factor of what is left of C, and C⁻¹ times its right-hand side.
    pivots, across, weight : (a,) pivots of the effects eliminated first, how they meet the others, and 1/σ².
    scale : (m,) σ of each effect, 1 for coefficients.
    sites : settled.
    """

    log_likelihood: float
    slopes: np.ndarray | None
    coefficients: np.ndarray
    covariance: np.ndarray
    factor: np.ndarray
    solution: np.ndarray
    pivots: np.ndarray
    across: sp.csr_matrix
    weight: float
    scale: np.ndarray
    sites: Sites

    def combined(self, targets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Means and variances, (T,) each, of sums of effects and coefficients with weights ``targets``, (T, m), columns in ``order``."""
        scaled = targets * self.scale
        a = len(self.pivots)
        first, rest = scaled[:, :a], scaled[:, a:]
        left = rest.T - self.scale[a:, None] * (self.across @ (self.weight * self.scale[:a] * first / self.pivots).T)
        halves = lapack.dtrtrs(self.factor, left, lower=1)[0]
        return scaled @ self.solution, (first**2 / self.pivots).sum(axis=1) + (halves**2).sum(axis=0)


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
    gram = sp.csr_matrix(mine.T @ weighted)
    first = _independent(gram, columns[limited], int(sizes.sum()))
    order = np.concatenate([np.flatnonzero(first), np.flatnonzero(~first)])
    a = int(first.sum())
    gram, near = gram[order][:, order], columns[limited][:, order[a:]]
    across = sp.csr_matrix(gram[a:, :a])
    return MixedRows(
        n=len(low),
        order=order,
        first=gram.diagonal()[:a],
        across=across,
        outer=_pairs(sp.csr_matrix(across.T)),
        gram=gram[a:, a:].toarray(order="C"),
        rhs=(weighted.T @ y)[order],
        squares=float((y**2 / variances).sum()),
        log_known=float(np.log(variances).sum()),
        exact=len(y),
        near=near.toarray(),
        pairs=_pairs(near),
        low=low[limited] - fitted[limited],
        high=high[limited] - fitted[limited],
        extra=np.zeros(int(limited.sum())) if known is None else known[limited],
        spread=float(np.var(stand_in - fitted)) or 1.0,
        owner=np.repeat(np.arange(len(sizes)), sizes)[order[: int(sizes.sum())]],
        sizes=sizes,
        p=X.shape[1],
        origin=origin,
    )


def _independent(gram: sp.csr_matrix, limited: sp.csr_matrix, q: int) -> np.ndarray:
    """(m,) effects of which no two share a row and none has a limited one, those with the fewest neighbours taken first."""
    m = gram.shape[0]
    chosen, free = np.zeros(m, dtype=bool), np.zeros(m, dtype=bool)
    if m < WORTH_ELIMINATING:
        return chosen
    free[:q] = np.asarray(abs(limited).sum(axis=0)).ravel()[:q] == 0
    for j in np.argsort(np.diff(gram.indptr)[:q], kind="stable"):
        if free[j]:
            chosen[j] = True
            free[gram.indices[gram.indptr[j] : gram.indptr[j + 1]]] = False
    return chosen


def _pairs(rows: sp.csr_matrix) -> Products:
    """Products of every two entries of a row, for all rows."""
    m, places, values = rows.shape[1], [], []
    for i in range(rows.shape[0]):
        own = slice(rows.indptr[i], rows.indptr[i + 1])
        at, entries = rows.indices[own].astype(np.int64), rows.data[own]
        places.append((at[:, None] * m + at).ravel())
        values.append(np.outer(entries, entries).ravel())
    if not places:
        return Products(np.zeros(0, dtype=np.int64), sp.csr_matrix((0, rows.shape[0])))
    owner = np.repeat(np.arange(rows.shape[0]), [len(one) for one in places])
    met, which = np.unique(np.concatenate(places), return_inverse=True)
    return Products(met, sp.csr_matrix((np.concatenate(values), (which, owner)), shape=(len(met), rows.shape[0])))


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
    at = _Place(rows, sds, scale, 1.0 if residual is None else residual**-2, residual)
    if not len(rows.near):
        nothing = np.zeros(0)
        factored = _factor(at, nothing, nothing)
        return factored and _solved(at, factored, nothing, nothing, nothing, Sites(nothing, nothing), 0.0, slopes)
    return _with_limits(at, sites or first_sites(rows), slopes, settled)


@dataclass(frozen=True, eq=False)
class _Place:
    """Where the likelihood is wanted: standard deviations, by effect too, and the weight 1/σ² of an exact row."""

    rows: MixedRows
    sds: np.ndarray
    scale: np.ndarray
    weight: float
    residual: float | None


@dataclass(frozen=True, eq=False)
class _Factored:
    """Lower factor of what is left of C, its inverse times the right-hand side, and what was eliminated first."""

    L: np.ndarray
    half: np.ndarray
    pivots: np.ndarray
    rhs: np.ndarray


def _with_limits(at: _Place, sites: Sites, slopes: bool, settled: float) -> LikelihoodPoint | None:
    rows = at.rows
    noise = rows.extra + (0.0 if at.residual is None else at.residual**2)
    scaled = (rows.near * at.scale[len(rows.first) :]).T
    precision, shift = sites.precision, sites.shift
    for sweep in range(SWEEPS):
        y, variance = shift / precision, noise + 1 / precision
        factored = _factor(at, y, variance)
        if factored is None:
            return None
        moved = lapack.dtrtrs(factored.L, scaled, lower=1)[0]
        fitted_variance, fitted = np.einsum("ij,ij->j", moved, moved), factored.half @ moved
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
            return _solved(at, factored, y, variance, fitted_variance, Sites(precision, shift), float(scales.sum()), slopes)
        step = 1.0 if sweep < SLOWER else DAMPED
        precision, shift = precision + step * (wanted - precision), shift + step * (push - shift)
    return None


def _factor(at: _Place, y: np.ndarray, variance: np.ndarray) -> _Factored | None:
    """Factor C for limited rows with values ``y`` and these variances; None where it is not positive definite."""
    rows, a, w = at.rows, len(at.rows.first), at.weight
    mine, others = at.scale[:a], at.scale[a:]
    pivots = 1 + w * mine**2 * rows.first
    C = rows.gram * w
    flat = C.ravel()
    if len(y):
        flat[rows.pairs.places] += rows.pairs.values @ (1 / variance)
    if a:
        flat[rows.outer.places] -= rows.outer.values @ (w**2 * mine**2 / pivots)
    C *= others[:, None]
    C *= others
    flat[: (rows.q - a) * (len(others) + 1) : len(others) + 1] += 1.0
    L, info = lapack.dpotrf(C.T, lower=1, clean=0, overwrite_a=1)
    if info != 0:
        return None
    first, rest = mine * w * rows.rhs[:a], w * rows.rhs[a:]
    if len(y):
        rest = rest + rows.near.T @ (y / variance)
    if a:
        rest = rest - rows.across @ (w * mine * first / pivots)
    return _Factored(L, lapack.dtrtrs(L, others * rest, lower=1)[0], pivots, first)


def _solved(
    at: _Place, found: _Factored, y: np.ndarray, variance: np.ndarray, leverage: np.ndarray, sites: Sites, scales: float, slopes: bool
) -> LikelihoodPoint | None:
    rows, L, p = at.rows, found.L, at.rows.p
    rest = lapack.dtrtrs(L, found.half, lower=1, trans=1)[0]
    a = len(rows.first)
    first = found.rhs - at.weight * at.scale[:a] * (rows.across.T @ (at.scale[a:] * rest)) if a else found.rhs
    solution = np.concatenate([first / found.pivots, rest])
    explained = float((found.rhs**2 / found.pivots).sum()) + float(found.half @ found.half)
    rss = rows.squares * at.weight + float((y**2 / variance).sum()) - explained
    log_det = rows.log_known - rows.exact * np.log(at.weight) + float(np.log(variance).sum() + np.log(found.pivots).sum())
    log_det += 2 * float(np.log(np.diag(L)).sum())
    if not np.isfinite(rss + log_det):
        return None
    end = len(L) - p
    corner = np.tril(lapack.dtrtri(L[end:, end:], lower=1)[0]) if p else np.zeros((0, 0))
    return LikelihoodPoint(
        log_likelihood=-0.5 * ((rows.n - p) * np.log(2 * np.pi) + log_det + rss) + scales,
        slopes=_slopes(at, found, solution, y, variance, leverage) if slopes else None,
        coefficients=rows.origin + solution[rows.q :],
        covariance=corner.T @ corner,
        factor=L,
        solution=solution,
        pivots=found.pivots,
        across=rows.across,
        weight=at.weight,
        scale=at.scale,
        sites=sites,
    )


def _slopes(at: _Place, found: _Factored, solution: np.ndarray, y: np.ndarray, variance: np.ndarray, leverage: np.ndarray) -> np.ndarray:
    """∂/∂σₖ = −((qₖ − tr(C⁻¹)ₖ) − ‖C⁻¹rhs‖²ₖ)/σₖ, and for the residual −σ(tr P − ‖Py‖²)."""
    rows, w, a, q = at.rows, at.weight, len(at.rows.first), at.rows.q
    inverse = lapack.dpotri(found.L, lower=1)[0]
    inverse = np.tril(inverse) + np.tril(inverse, -1).T
    mine, others = at.scale[:a], at.scale[a:]
    first = 1 / found.pivots
    if a:
        first = first + (w * mine / found.pivots) ** 2 * (
            rows.outer.values.T @ (inverse * others[:, None] * others).ravel()[rows.outer.places]
        )
    diagonal = np.concatenate([first, np.diag(inverse)[: q - a]])
    by_term = -(rows.sizes - np.bincount(rows.owner, diagonal + solution[:q] ** 2, minlength=len(rows.sizes))) / at.sds
    if at.residual is None:
        return np.append(by_term, 0.0)
    trace = w * (q + rows.p - float(diagonal.sum()) - float((leverage / variance).sum())) + float((leverage / variance**2).sum())
    x = at.scale * solution
    head, tail = x[:a], x[a:]
    fitted = float(rows.first @ head**2) + 2 * float(tail @ (rows.across @ head)) + float(tail @ rows.gram @ tail)
    errors = w**2 * (rows.squares - 2 * float(rows.rhs @ x) + fitted)
    errors += float((((y - rows.near @ tail) / variance) ** 2).sum()) if len(y) else 0.0
    return np.append(by_term, -at.residual * (rows.exact * w + float((1 / variance).sum()) - trace - errors))
