"""Restricted likelihood of a linear mixed model at given standard deviations, with exact, interval and one-sided responses.

y ~ N(Xb, Σ σₖ²ZₖZₖᵀ + R), R diagonal. Everything comes from one sparse factor of Henderson's equations in scaled form
(Bates et al. 2015, J. Stat. Softw. 67(1), section 3.4; ``mixed`` says the same in variance ratios)::

    C = | ΛᵀZᵀR⁻¹ZΛ + I   ΛᵀZᵀR⁻¹X |      ln|C| + ln|R| = ln|Σ| + ln|XᵀΣ⁻¹X|,  Λ = diag(σ)
        | XᵀR⁻¹ZΛ          XᵀR⁻¹X  |

so that a standard deviation of 0 costs no division and no n × n matrix is formed; ``elimination`` factors C, and gives the entries of
its inverse on the pattern of the factor.

A response of which only limits are known is a normal value with a variance of its own, its site (expectation propagation; Minka
2001, Uncertainty in Artificial Intelligence 17:362–369). Scale factors of the sites make the likelihood whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from .arrays import Array, Ints
from .elimination import Factor, Plan, analyse, factorise, half_solve, inverse_entries, last_covariance, solve
from .positive_definite import inverse_of
from .truncated_moments import between

SWEEPS, SETTLED = 60, 1e-5  # sweeps over all sites; change in the last, in units of what the others say, at which they end
SLOWER, DAMPED = 12, 0.6  # sweep from which steps are shortened, and to which share
LEAST_PRECISION = 1e-9  # of a site, in units of the precision without it: a limit so far off that it says nothing
FIRST_VARIANCE = 1e3  # of the first site of a one-sided response, in units of the spread of all
MANY_ROWS, WELL_CONDITIONED = 20_000, 1e-4  # rows, and least eigenvalue of XᵀX with unit diagonal, from which the products of columns serve
FEW = 16  # limited rows up to which their covariance costs less than the entries of the inverse, and no sweep a factor of its own


@dataclass(frozen=True, eq=False)
class MixedRows:
    """One data set, prepared; responses are less ``X @ origin``. The m = q + p columns of [Z X] are effects, then coefficients.

    Attributes
    ----------
    n : rows, of which some are exact and the others limited.
    plan : of the elimination of C.
    row, column : (e,) where in the lower triangle of [Z X]ᵀ[Z X] something stands.
    times : (e,) how often each of these entries stands in the whole matrix: once on the diagonal, else twice.
    gram : (e,) the entries of [Z X]ᵀW[Z X] over the exact rows; W holds the inverse known variances, or ones.
    pairs : (e, l) what each limited row adds to the entries, so that ``pairs @ w`` is its [Z X]ᵀ diag(w) [Z X].
    diagonal : (m,) which of the entries is the diagonal's of each column.
    rhs, squares : (m,) [Z X]ᵀWy and yᵀWy over the exact rows.
    log_known : sum of the logarithms of the known variances.
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
    plan: Plan
    row: Ints
    column: Ints
    times: Array
    gram: Array
    pairs: sp.csr_matrix
    diagonal: Ints
    rhs: Array
    squares: float
    log_known: float
    exact: int
    near: sp.csr_matrix
    low: Array
    high: Array
    extra: Array
    spread: float
    owner: Ints
    sizes: Ints
    p: int
    origin: Array

    @property
    def q(self) -> int:
        """Number of effects."""
        return len(self.owner)


@dataclass(frozen=True, eq=False)
class Sites:
    """What limits say: normal values with precisions ``precision`` and means ``shift / precision``."""

    precision: Array
    shift: Array


@dataclass(frozen=True, eq=False)
class LikelihoodPoint:
    """The likelihood at one point, and what is normal given it.

    Attributes
    ----------
    log_likelihood : restricted, with all constants.
    slopes : (K + 1,) its derivatives by the standard deviations, the residual's last; None unless asked for.
    coefficients, covariance : (p,) and (p, p) of b given the standard deviations.
    factor, solution : factor of C, and C⁻¹ times its right-hand side.
    scale : (m,) σ of each effect, 1 for coefficients.
    sites : settled.
    """

    log_likelihood: float
    slopes: Array | None
    coefficients: Array
    covariance: Array
    factor: Factor
    solution: Array
    scale: Array
    sites: Sites

    def combined(self, targets: Array) -> tuple[Array, Array]:
        """Means and variances, (T,) each, of sums of effects and coefficients with weights ``targets``, (T, m)."""
        scaled = targets * self.scale
        return scaled @ self.solution, (half_solve(self.factor, scaled.T) ** 2).sum(axis=0)


def prepare_rows(low: Array, high: Array, X: Array, terms: Sequence[sp.spmatrix], known: Array | None) -> MixedRows:
    """Centre, and gather what does not depend on the standard deviations.

    Parameters
    ----------
    low, high : (n,) limits, equal where exact, infinite where open.
    X : (n, p) of full column rank.
    terms : K matrices (n, qₖ).
    known : (n,) known variances of the responses; None where they have one unknown residual variance.
    """
    stand_in = np.where(np.isfinite(low), np.where(np.isfinite(high), (low + high) / 2, low), high)
    origin = _least_squares(X, stand_in)
    fitted = X @ origin
    columns = sp.csr_matrix(sp.hstack([*terms, sp.csr_matrix(X)], format="csr"))
    sizes = np.array([term.shape[1] for term in terms], dtype=int)
    exact = low == high
    mine, near = columns[exact], sp.csr_matrix(columns[~exact])
    y = low[exact] - fitted[exact]
    variances = np.ones(len(y)) if known is None else known[exact]
    weighted = sp.diags(1 / variances) @ mine
    row, column = _pattern(columns)
    return MixedRows(
        n=len(low),
        plan=analyse(row, column, columns.shape[1], X.shape[1]),
        row=row,
        column=column,
        times=np.where(row == column, 1.0, 2.0),
        gram=_entries(sp.csr_matrix(mine.T @ weighted), row, column),
        pairs=_pairs(near, row, column),
        diagonal=np.flatnonzero(row == column),
        rhs=weighted.T @ y,
        squares=float((y**2 / variances).sum()),
        log_known=float(np.log(variances).sum()),
        exact=len(y),
        near=near,
        low=low[~exact] - fitted[~exact],
        high=high[~exact] - fitted[~exact],
        extra=np.zeros(int((~exact).sum())) if known is None else known[~exact],
        spread=float(np.var(stand_in - fitted)) or 1.0,
        owner=np.repeat(np.arange(len(sizes)), sizes),
        sizes=sizes,
        p=X.shape[1],
        origin=origin,
    )


def full_rank(X: Array) -> bool:
    """Whether no column of X, (n, p), is a combination of the others; of many rows their products usually tell."""
    return _well_conditioned(X) or bool(np.linalg.matrix_rank(X) == X.shape[1])


def _well_conditioned(X: Array) -> bool:
    if len(X) < MANY_ROWS:
        return False
    length = np.sqrt(np.einsum("ij,ij->j", X, X))
    return bool((length > 0).all()) and bool(np.linalg.eigvalsh(X.T @ X / np.outer(length, length)).min(initial=1.0) > WELL_CONDITIONED)


def _least_squares(X: Array, y: Array) -> Array:
    """Coefficients of ordinary least squares; by the normal equations, and once more on what they leave, where that loses no digits."""
    if not _well_conditioned(X):
        return np.asarray(np.linalg.lstsq(X, y, rcond=None)[0], dtype=float)
    moments = X.T @ X
    first = np.linalg.solve(moments, X.T @ y)
    return np.asarray(first + np.linalg.solve(moments, X.T @ (y - X @ first)), dtype=float)


def _pattern(columns: sp.csr_matrix) -> tuple[Ints, Ints]:
    """Where the lower triangle of [Z X]ᵀ[Z X] may hold something, whatever the values: sorted by row, then column."""
    there = sp.csr_matrix((np.ones(columns.nnz), columns.indices, columns.indptr), shape=columns.shape)
    met = sp.tril(there.T @ there + sp.identity(columns.shape[1]), format="csr")
    met.sort_indices()
    return np.repeat(np.arange(met.shape[0], dtype=np.int64), np.diff(met.indptr)), met.indices.astype(np.int64)


def _places(row: Ints, column: Ints, i: Ints, j: Ints) -> Ints:
    """Which entries of the pattern (i, j) are, i ≥ j."""
    m = int(row[-1]) + 1
    return np.searchsorted(row * m + column, i * m + j)


def _entries(gram: sp.csr_matrix, row: Ints, column: Ints) -> Array:
    lower = sp.tril(gram).tocoo()
    found = np.zeros(len(row))
    found[_places(row, column, lower.row.astype(np.int64), lower.col.astype(np.int64))] = lower.data
    return found


def _pairs(near: sp.csr_matrix, row: Ints, column: Ints) -> sp.csr_matrix:
    """Products of every two entries of each limited row, at their entries of the pattern."""
    places, values = [], []
    for i in range(near.shape[0]):
        own = slice(near.indptr[i], near.indptr[i + 1])
        at, entries = near.indices[own].astype(np.int64), near.data[own]
        left, right = np.broadcast_arrays(at[:, None], at)
        lower = left >= right
        places.append(_places(row, column, left[lower], right[lower]))
        values.append(np.outer(entries, entries)[lower])
    owner = np.repeat(np.arange(near.shape[0]), [len(one) for one in places])
    none = np.zeros(0)
    where = (np.concatenate([*places, none]).astype(np.int64), owner)
    return sp.csr_matrix((np.concatenate([*values, none]), where), shape=(len(row), near.shape[0]))


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
    sds: Array,
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
    if not len(rows.low):
        nothing = np.zeros(0)
        factored = _factor(at, nothing, nothing)
        if factored is None:
            return None
        return _solved(at, factored, nothing, nothing, nothing, Sites(nothing, nothing), 0.0, slopes)
    return _with_limits(at, sites or first_sites(rows), slopes, settled)


@dataclass(frozen=True, eq=False)
class _Place:
    """Where the likelihood is wanted: standard deviations, by effect too, and the weight 1/σ² of an exact row."""

    rows: MixedRows
    sds: Array
    scale: Array
    weight: float
    residual: float | None

    @cached_property
    def of_entries(self) -> Array:
        """What scales each entry of C."""
        return self.scale[self.rows.row] * self.scale[self.rows.column]


@dataclass(frozen=True, eq=False)
class _Factored:
    """Factor of C, its right-hand side, and its inverse times that."""

    factor: Factor
    rhs: Array
    solution: Array

    @cached_property
    def inverse(self) -> Array:
        """Entries of C⁻¹, which limits and slopes both ask for."""
        return inverse_entries(self.factor)


def _with_limits(at: _Place, sites: Sites, slopes: bool, settled: float) -> LikelihoodPoint | None:
    rows = at.rows
    noise = rows.extra + (0.0 if at.residual is None else at.residual**2)
    precision, shift = sites.precision, sites.shift
    factored: _Factored | None = None
    limited: _Limited | None = None
    for sweep in range(SWEEPS):
        if not (precision > 0).all():
            return None
        y, variance = shift / precision, noise + 1 / precision
        if factored is None or limited is None:
            factored = _factor(at, y, variance)
            if factored is None:
                return None
            limited = _limited(at, factored, y, variance) if len(y) <= FEW else None
        fitted, fitted_variance = _fitted(at, factored) if limited is None else limited.with_values(y, variance)
        rest = 1 / fitted_variance - 1 / variance
        if not (rest > 0).all():
            return None
        centre = (fitted / fitted_variance - y / variance) / rest
        without = 1 / rest + noise
        told = told_by_limits(centre, without, rows.low, rows.high)
        wanted, push = told.precision, told.shift
        change = float(told.change(precision, shift).max())
        if change < settled:
            if limited is not None and sweep:
                factored = _factor(at, y, variance)
                if factored is None:
                    return None
            scales = float(told.log_scale(precision, shift).sum())
            return _solved(at, factored, y, variance, fitted_variance, Sites(precision, shift), scales, slopes)
        step = 1.0 if sweep < SLOWER else DAMPED
        precision, shift = precision + step * (wanted - precision), shift + step * (push - shift)
    return None


@dataclass(frozen=True, eq=False)
class ToldByLimits:
    """What limits say of responses that are normal without them, one site each.

    Attributes
    ----------
    centre, without : means and variances of the responses without their own limits.
    log_p, mean, spread : probabilities of lying between the limits, and means and variances then.
    precision, shift : of the sites that say the same.
    """

    centre: Array
    without: Array
    log_p: Array
    mean: Array
    spread: Array
    precision: Array
    shift: Array

    def change(self, precision: Array, shift: Array) -> Array:
        """How far other sites are from these, in units of what is said of the response."""
        return np.maximum(np.abs((self.precision - precision) * self.spread), np.abs((self.shift - shift) * np.sqrt(self.spread)))

    def log_scale(self, precision: Array, shift: Array) -> Array:
        """ln of the factors by which other sites give the limits their probabilities."""
        total = self.without + 1 / precision
        scale: Array = self.log_p + 0.5 * np.log(2 * np.pi * total) + (shift / precision - self.centre) ** 2 / (2 * total)
        return scale


def told_by_limits(centre: Array, without: Array, low: Array, high: Array) -> ToldByLimits:
    """Sites of responses N(centre, without) that lie between two limits."""
    log_p, mean, spread = between(centre, without, low, high)
    precision = np.maximum(1 / spread - 1 / without, LEAST_PRECISION / without)
    return ToldByLimits(centre, without, log_p, mean, spread, precision, (precision + 1 / without) * mean - centre / without)


@dataclass(frozen=True, eq=False)
class _Limited:
    """Fitted values of the limited rows and their (l, l) covariance, both at one factor of C, in which they had these weights and pulls."""

    fitted: Array
    covariance: Array
    weights: Array
    pull: Array

    def with_values(self, y: Array, variance: Array) -> tuple[Array, Array]:
        """Fitted values and their variances where these rows have other values: for weights that differ by Δ, (I + A diag(Δ))⁻¹A."""
        A, change = self.covariance, 1 / variance - self.weights
        pulled = self.fitted + A @ (y / variance - self.pull)
        moved = np.asarray(np.linalg.solve(np.eye(len(y)) + A * change, np.column_stack([A, pulled])), dtype=float)
        return moved[:, -1], np.diag(moved)


def _limited(at: _Place, found: _Factored, y: Array, variance: Array) -> _Limited:
    near = at.rows.near.toarray() * at.scale
    half = half_solve(found.factor, near.T)
    return _Limited(near @ found.solution, half.T @ half, 1 / variance, y / variance)


def _fitted(at: _Place, found: _Factored) -> tuple[Array, Array]:
    """Fitted values of the limited rows and their variances."""
    rows = at.rows
    return rows.near @ (at.scale * found.solution), rows.pairs.T @ (found.inverse * rows.times * at.of_entries)


def _factor(at: _Place, y: Array, variance: Array) -> _Factored | None:
    """Factor C for limited rows with values ``y`` and these variances; None where it is not positive definite."""
    rows = at.rows
    factor = factorise(rows.plan, _of_c(at, variance))
    if factor is None:
        return None
    rhs = at.scale * (rows.rhs * at.weight + (rows.near.T @ (y / variance) if len(y) else 0.0))
    return _Factored(factor, rhs, solve(factor, rhs[:, None])[:, 0])


def _of_c(at: _Place, variance: Array) -> Array:
    """Entries of C where limited rows have these variances."""
    rows = at.rows
    entries: Array = rows.gram * at.weight
    if len(variance):
        entries = entries + rows.pairs @ (1 / variance)
    entries *= at.of_entries
    entries[rows.diagonal[: rows.q]] += 1.0
    return entries


def _solved(
    at: _Place, found: _Factored, y: Array, variance: Array, leverage: Array, sites: Sites, scales: float, slopes: bool
) -> LikelihoodPoint | None:
    rows, p = at.rows, at.rows.p
    rss = rows.squares * at.weight + float((y**2 / variance).sum()) - float(found.rhs @ found.solution)
    log_det = rows.log_known - rows.exact * np.log(at.weight) + float(np.log(variance).sum())
    log_det += found.factor.log_determinant + found.factor.log_determinant_last
    if not np.isfinite(rss + log_det):
        return None
    return LikelihoodPoint(
        log_likelihood=-0.5 * ((rows.n - p) * np.log(2 * np.pi) + log_det + rss) + scales,
        slopes=_slopes(at, found, y, variance, leverage) if slopes else None,
        coefficients=rows.origin + found.solution[rows.q :],
        covariance=last_covariance(found.factor),
        factor=found.factor,
        solution=found.solution,
        scale=at.scale,
        sites=sites,
    )


def _slopes(at: _Place, found: _Factored, y: Array, variance: Array, leverage: Array) -> Array:
    """∂/∂σₖ = −((qₖ − tr(C⁻¹)ₖ) − ‖C⁻¹rhs‖²ₖ)/σₖ, and for the residual −σ(tr P − ‖Py‖²)."""
    rows, w, q = at.rows, at.weight, at.rows.q
    diagonal = found.inverse[rows.diagonal[:q]]
    by_term = -(rows.sizes - np.bincount(rows.owner, diagonal + found.solution[:q] ** 2, minlength=len(rows.sizes))) / at.sds
    if at.residual is None:
        return np.append(by_term, 0.0)
    trace = w * (q + rows.p - float(diagonal.sum()) - float((leverage / variance).sum())) + float((leverage / variance**2).sum())
    x = at.scale * found.solution
    fitted = float((rows.times * rows.gram * x[rows.row]) @ x[rows.column])
    errors = w**2 * (rows.squares - 2 * float(rows.rhs @ x) + fitted)
    errors += float((((y - rows.near @ x) / variance) ** 2).sum()) if len(y) else 0.0
    return np.append(by_term, -at.residual * (rows.exact * w + float((1 / variance).sum()) - trace - errors))


def average_information(rows: MixedRows, sds: Array, residual: float | None, point: LikelihoodPoint) -> Array:
    """Average of observed and expected information about the standard deviations, with the sites of the point.

    Parameters
    ----------
    rows, sds, residual : as for ``likelihood_at``; standard deviations positive.
    point : the likelihood there.

    Returns
    -------
    (K, K), or (K + 1, K + 1) with the residual's last.

    Notes
    -----
    ½ wₖᵀPwₗ with wₖ = (∂V/∂σₖ)Py, which is (2/σₖ)Zₖuₖ, and 2σ(y − [Z X]x)/σ² for the residual (Gilmour, Thompson & Cullis 1995,
    Biometrics 51:1440–1450).
    """
    weight, sites = 1.0 if residual is None else residual**-2, point.sites
    variance = rows.extra + (0.0 if residual is None else residual**2) + 1 / sites.precision
    x, off = point.scale * point.solution, sites.shift / sites.precision
    moved = np.zeros((len(x), len(sds)))
    moved[np.arange(rows.q), rows.owner] = 2 * x[: rows.q] / sds[rows.owner]
    gram = _whole(rows, rows.gram)
    pulled = weight * (gram @ moved) + rows.near.T @ ((rows.near @ moved) / variance[:, None])
    products = moved.T @ pulled
    if residual is not None:
        errors, missed = rows.rhs - gram @ x, off - rows.near @ x
        own = 2 * residual * (weight**2 * errors + rows.near.T @ (missed / variance**2))
        length = weight**3 * (rows.squares - float((rows.rhs + errors) @ x)) + float((missed**2 / variance**3).sum())
        across = (moved.T @ own)[:, None]
        products, pulled = np.block([[products, across], [across.T, 4 * residual**2 * length]]), np.column_stack([pulled, own])
    pulled = point.scale[:, None] * pulled
    found: Array = (products - pulled.T @ solve(point.factor, pulled)) / 2
    return found


def whole_inverse(rows: MixedRows, sds: Array, residual: float | None, point: LikelihoodPoint) -> Array:
    """(m, m) C⁻¹ with the sites of a point, every entry of it, by LAPACK.

    Parameters
    ----------
    rows, sds, residual : as for ``likelihood_at``.
    point : the likelihood there.
    """
    at = _Place(rows, sds, point.scale, 1.0 if residual is None else residual**-2, residual)
    lower = np.zeros((rows.q + rows.p,) * 2, order="F")
    lower[rows.row, rows.column] = _of_c(at, rows.extra + (0.0 if residual is None else residual**2) + 1 / point.sites.precision)
    return inverse_of(lower)


def _whole(rows: MixedRows, entries: Array) -> sp.csr_matrix:
    """The symmetric matrix of which these are the entries."""
    lower = sp.csr_matrix((entries, (rows.row, rows.column)), shape=(rows.q + rows.p,) * 2)
    return lower + sp.tril(lower, -1).T
