"""Least squares with the weights 1/(v + tau2), for many values of tau2, in time and memory linear in the rows.

The columns are made orthonormal once (thin QR) and the responses are centred on their ordinary least-squares fit, so
that huge offsets and badly scaled columns cost no digits. After that a change of ``tau2`` needs only p × p algebra and
a few passes over the rows: set the weights, update the p × p factor, evaluate. No k × k matrix is formed, but for the
spectrum of few rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arrays import Array, Ints


@dataclass(frozen=True, eq=False)
class Rows:
    """The prepared data of one weighted regression.

    Attributes
    ----------
    y : (k,) responses minus their ordinary least-squares fit.
    v : (k,) known variances, positive.
    basis : (k, p) orthonormal columns that span the design.
    products : (k, p·p) products of pairs of basis columns, row by row.
    triangle : (p, p) upper triangle R of the design X = basis · R.
    origin : (p,) ordinary least-squares coefficients that were subtracted from the responses.
    spread : mean squared deviation of the responses from their mean.
    """

    y: Array
    v: Array
    basis: Array
    products: Array
    triangle: Array
    origin: Array
    spread: float

    @property
    def k(self) -> int:
        """Number of rows."""
        return len(self.basis)

    @property
    def p(self) -> int:
        """Number of columns of the design."""
        return int(self.basis.shape[1])


@dataclass(frozen=True, eq=False)
class Fit:
    """A weighted fit at one value of tau2.

    Attributes
    ----------
    tau2 : variance added to every known variance.
    w : (k,) weights 1/(v + tau2).
    inverse : (p, p) inverse of BᵀWB, B the orthonormal basis.
    residuals : (k,) y − Xb.
    q : weighted residual sum of squares Σ w (y − Xb)².
    coefficients : (p,) in the original columns.
    """

    tau2: float
    w: Array
    inverse: Array
    residuals: Array
    q: float
    coefficients: Array


def prepare(y: Array, v: Array, X: Array) -> Rows:
    """Orthonormalise the design and centre the responses.

    Parameters
    ----------
    y, v : (k,) responses and their known variances.
    X : (k, p) design of full column rank.
    """
    basis, triangle = np.linalg.qr(X)
    basis = np.asfortranarray(basis)  # columns in one piece: sums down a column are then several times faster
    fitted = _project(basis, y)
    centred = y - _expand(basis, fitted)
    correction = _project(basis, centred)  # restores the digits that a huge offset costs the first pass
    centred = centred - _expand(basis, correction)
    origin = np.linalg.solve(triangle, fitted + correction)
    products = np.asfortranarray((basis[:, :, None] * basis[:, None, :]).reshape(len(y), -1))
    deviations = y - y[0]
    return Rows(centred, v, basis, products, triangle, origin, float(np.var(deviations)))


def weigh(rows: Rows, tau2: float) -> Fit:
    """Fit at ``tau2``: set the weights, update the p × p factor, evaluate."""
    w = 1 / (rows.v + tau2)
    inverse = np.asarray(np.linalg.inv(power_moment(rows, w)), dtype=float)
    step = inverse @ _project(rows.basis, w * rows.y)
    residuals = rows.y - _expand(rows.basis, step)
    refinement = inverse @ _project(rows.basis, w * residuals)
    residuals = residuals - _expand(rows.basis, refinement)
    coefficients = rows.origin + np.linalg.solve(rows.triangle, step + refinement)
    return Fit(tau2, w, inverse, residuals, float(np.sum(w * residuals**2)), coefficients)


def power_moment(rows: Rows, powers: Array) -> Array:
    """The (p, p) matrix Bᵀ diag(powers) B."""
    return _project(rows.products, powers).reshape(rows.p, rows.p)


def _project(columns: Array, values: Array) -> Array:
    """columnsᵀ·values. Not by BLAS, whose threads cost more than they bring on tall thin arrays and change the last
    digits."""
    projected: Array = np.einsum("kj,k->j", columns, values)
    return projected


def _expand(columns: Array, values: Array) -> Array:
    """columns·values, for the same reason not by BLAS."""
    expanded: Array = np.einsum("kj,j->k", columns, values)
    return expanded


def covariance(rows: Rows, fit: Fit) -> Array:
    """(XᵀWX)⁻¹ in the original columns."""
    undo = np.linalg.solve(rows.triangle, fit.inverse)
    full = np.linalg.solve(rows.triangle, undo.T)
    return (full + full.T) / 2


def log_determinant(rows: Rows, fit: Fit) -> float:
    """ln |XᵀWX| in the original columns."""
    return float(2 * np.log(np.abs(np.diag(rows.triangle))).sum() - np.linalg.slogdet(fit.inverse)[1])


def projection_traces(rows: Rows, fit: Fit, powers: int = 2) -> Array:
    """tr P, and tr P² if ``powers`` is 2, for P = W − WX(XᵀWX)⁻¹XᵀW.

    With leverages hᵢ = wᵢxᵢᵀ(XᵀWX)⁻¹xᵢ: tr P = Σwᵢ(1 − hᵢ), and tr P² = Σwᵢ²(1 − hᵢ)² plus the squares off the
    diagonal. Rows that nearly determine the fit alone (hᵢ above a half; fewer than 2p of them) are taken by themselves,
    so that one very precise study does not drown the others in rounding.
    """
    leverage = fit.w * _expand(rows.products, fit.inverse.ravel())
    heavy = np.flatnonzero(leverage > 0.5)
    rest = 1 - leverage
    for i in heavy:
        rest[i] = _remaining_share(rows, fit, int(i))
    traces = [float(np.sum(fit.w * rest))]
    if powers == 2:
        traces.append(float(np.sum((fit.w * rest) ** 2)) + _off_diagonal_squares(rows, fit, leverage, heavy))
    least = (rows.k - rows.p) * fit.w.min() ** np.arange(1, powers + 1)  # no eigenvalue of P is below the least weight
    kept: Array = np.maximum(traces, least)
    return kept


def _remaining_share(rows: Rows, fit: Fit, i: int) -> float:
    """1 − hᵢ without cancellation: 1/(1 + wᵢxᵢᵀA⁻¹xᵢ), A = XᵀWX without row i; 0 where the other rows leave A
    singular."""
    others = fit.w.copy()
    others[i] = 0.0
    row = rows.basis[i]
    try:
        return float(1 / (1 + fit.w[i] * row @ np.linalg.solve(power_moment(rows, others), row)))
    except np.linalg.LinAlgError:
        return 0.0


def _off_diagonal_squares(rows: Rows, fit: Fit, leverage: Array, heavy: Ints) -> float:
    """Σ over i ≠ j of (wᵢwⱼxᵢᵀ(XᵀWX)⁻¹xⱼ)², the heavy rows apart from the light ones."""
    light = fit.w.copy()
    light[heavy] = 0.0
    moment = fit.inverse @ power_moment(rows, light**2)
    among_light = np.trace(moment @ moment) - np.sum((light * leverage) ** 2)
    scaled = fit.w[heavy, None] * rows.basis[heavy]
    between = 2 * np.trace(moment @ fit.inverse @ scaled.T @ scaled)
    among_heavy = (scaled @ fit.inverse @ scaled.T) ** 2
    np.fill_diagonal(among_heavy, 0.0)
    return float(max(among_light, 0.0) + between + among_heavy.sum())


def projection_spectrum(rows: Rows, fit: Fit, classes: int) -> tuple[Array, Array]:
    """The k − p non-zero eigenvalues of P, and how often each counts.

    Up to ``classes`` rows they are exact, from one dense matrix of that size. More rows are sorted into that many
    classes of equal width in ln w and share their class's mean weight: n rows of equal weight are p rows and an
    eigenvalue w counted n − p times.
    """
    if rows.k <= classes:
        return _dense_eigenvalues(fit.w, rows.basis), np.ones(rows.k - rows.p)
    edges = np.geomspace(fit.w.min(), fit.w.max(), classes + 1)[1:-1]
    label = np.unique(np.searchsorted(edges, fit.w, side="right"), return_inverse=True)[1]
    sizes = np.bincount(label)
    mean = np.bincount(label, fit.w) / sizes
    few = sizes[label] <= rows.p  # rows of classes too small to condense stay as they are
    condensed = np.flatnonzero(sizes > rows.p)
    grams = np.stack([np.bincount(label, column) for column in rows.products.T], axis=-1)[condensed]
    values, vectors = np.linalg.eigh(grams.reshape(-1, rows.p, rows.p))
    roots = np.sqrt(np.maximum(values, 0.0))[..., None] * vectors.swapaxes(-1, -2)
    basis = np.concatenate([rows.basis[few], roots.reshape(-1, rows.p)])
    weights = np.concatenate([fit.w[few], np.repeat(mean[condensed], rows.p)])
    eigenvalues = _dense_eigenvalues(weights, basis)
    surplus = sizes[condensed] - rows.p
    return np.concatenate([eigenvalues, mean[condensed]]), np.concatenate([np.ones(len(eigenvalues)), surplus])


def _dense_eigenvalues(w: Array, basis: Array) -> Array:
    """All but the p zero eigenvalues of P, from the dense matrix: for a few hundred rows at most."""
    p = basis.shape[1]
    root = np.sqrt(w)[:, None]
    span = np.linalg.qr(root * basis)[0]
    dense = np.diag(w) - (root * span) @ (root * span).T
    eigenvalues: Array = np.maximum(np.linalg.eigvalsh(dense)[p:], w.min())  # interlacing: none is smaller than the least weight
    return eigenvalues
