"""The restricted likelihood of a linear mixed model at many points at once, by the covariance of its rows.

``restricted_likelihood`` is for one point and any number of rows; here rows are hundreds and points many. Symbols, sites and results are
the same. What does not depend on the standard deviations is computed once: exact rows, divided by the roots of their known variances, are
turned so that some span the columns of Z and the others are orthogonal to them. The others have their own variance alone, and enter by
sums of squares and products. With the limited rows below those that are left, V = Σσₖ²ZₖZₖᵀ + R is factored at every point, and all the
rest are products with the inverse of its root (Harville 1977, J. Am. Stat. Assoc. 72:320–338).

Given the exact responses, b integrated, the limited ones t have as their precision Q their block of P = V⁻¹ − V⁻¹X(XᵀV⁻¹X)⁻¹XᵀV⁻¹: a
sweep over all sites takes one factor of Q + diag(precisions), however many the effects.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import scipy.sparse as sp
from scipy.linalg import lapack, qr

from .arrays import Array, Bools, Ints
from .restricted_likelihood import DAMPED, SLOWER, SWEEPS, MixedRows, Sites, told_by_limits

LARGEST = 500  # rows that span Z or are limited, above which the sparse factor of one point costs less
TURNED = 1_000_000  # entries of Z that are turned
INDEPENDENT = 1e-10  # of the longest column; what is shorter after those before it were taken off is rounding
AT_ONCE = 1_000_000  # entries of the covariances that are in memory together


@dataclass(frozen=True, eq=False)
class DenseRows:
    """One data set and what is asked of it. Responses are less ``X @ origin``; of r rows the last l are the limited ones.

    Attributes
    ----------
    covariances : (K, r, r) ZₖZₖᵀ.
    columns : (p + 1, r) of X, and the responses, 0 where limited.
    apart : (p + 1, p + 1) products of these over the rows that are orthogonal to Z.
    orthogonal : how many those are.
    n : rows in all.
    low, high : (l,) limits.
    extra : (l,) known variances of limited rows; 0 where the residual's is unknown.
    log_known : sum of the logarithms of the known variances of exact rows.
    origin : (p,) coefficients taken off.
    effects : (r, q) Z.
    owner : (q,) number of the term of each effect.
    targets : (T, q + p) weights of effects and coefficients.
    moved : (K, T, r) Zₖcₖ, cₖ the weights of the term's effects in each target.
    """

    covariances: Array
    columns: Array
    apart: Array
    orthogonal: int
    n: int
    low: Array
    high: Array
    extra: Array
    log_known: float
    origin: Array
    effects: Array
    owner: Ints
    targets: Array
    moved: Array

    @property
    def of_effects(self) -> Array:
        """(T, q)"""
        return self.targets[:, : len(self.owner)]

    @property
    def of_coefficients(self) -> Array:
        """(T, p)"""
        return self.targets[:, len(self.owner) :]


@dataclass(frozen=True, eq=False)
class ManyPoints:
    """What ``LikelihoodPoint`` says, at S points.

    Attributes
    ----------
    log_likelihood : (S,) −infinity where it has no value; the rest then means nothing.
    coefficients, covariances : (S, p) and (S, p, p).
    target_means, target_variances : (S, T), with the origin.
    """

    log_likelihood: Array
    coefficients: Array
    covariances: Array
    target_means: Array
    target_variances: Array


def dense_rows(
    rows: MixedRows, low: Array, high: Array, X: Array, terms: Sequence[sp.spmatrix], known: Array | None, targets: Array
) -> DenseRows | None:
    """Prepare; None where there are too many rows for it.

    Parameters
    ----------
    rows : the same data, prepared for one point.
    low, high, X, terms, known : as for ``prepare_rows``.
    targets : (T, q + p) weights of sums of effects and coefficients.
    """
    if len(low) * rows.q > TURNED:
        return None
    exact = low == high
    own = np.ones((rows.exact, 1)) if known is None else np.sqrt(known[exact])[:, None]
    Z = sp.hstack([*terms, sp.csr_matrix((len(low), 0))], format="csr").toarray()
    columns = np.column_stack([X, np.where(exact, low, 0.0) - np.where(exact, X @ rows.origin, 0.0)])
    basis = _basis(Z[exact] / own)
    along = basis.T @ (columns[exact] / own)
    across = columns[exact] / own - basis @ along
    turned = np.vstack([basis.T @ (Z[exact] / own), Z[~exact]])
    if len(turned) > LARGEST:
        return None
    ends = np.cumsum(rows.sizes)[:-1]
    K, m = len(rows.sizes), len(turned)
    parts, weights = (np.split(whole, ends, axis=1)[:K] for whole in (turned, targets[:, : rows.q]))  # without terms, none
    return DenseRows(
        covariances=np.reshape([part @ part.T for part in parts], (K, m, m)),
        columns=np.vstack([along, columns[~exact]]).T,
        apart=across.T @ across,
        orthogonal=rows.exact - basis.shape[1],
        n=rows.n,
        low=rows.low,
        high=rows.high,
        extra=rows.extra,
        log_known=rows.log_known,
        origin=rows.origin,
        effects=turned,
        owner=rows.owner,
        targets=targets,
        moved=np.reshape([weight @ part.T for part, weight in zip(parts, weights, strict=True)], (K, len(targets), m)),
    )


def _basis(columns: Array) -> Array:
    """(n, rank) orthonormal, spanning the columns."""
    Q, R, _ = qr(columns, mode="economic", pivoting=True)
    lengths = np.abs(np.diag(R))
    found: Array = Q[:, : int((lengths > INDEPENDENT * lengths.max(initial=0.0)).sum())]
    return found


def likelihoods_at(rows: DenseRows, sds: Array, residual: Array | None, sites: Sites, settled: float) -> ManyPoints:
    """The restricted likelihood at many standard deviations, and what is normal given them.

    Parameters
    ----------
    rows : prepared.
    sds : (S, K) standard deviations of the terms.
    residual : (S,) standard deviation of a run; None where variances are known.
    sites : where the sweeps over the limits begin, at every point.
    settled : as for ``likelihood_at``.
    """
    noise = np.ones(len(sds)) if residual is None else residual**2
    of_limited = rows.extra + (0.0 if residual is None else noise[:, None])
    of_limited = np.broadcast_to(of_limited, (len(sds), len(rows.low)))
    size = max(1, AT_ONCE // max(rows.columns.shape[1], 1) ** 2)
    parts = []
    for begin in range(0, len(sds), size):
        some = slice(begin, begin + size)
        points, limited = _complete(rows, sds[some] ** 2, noise[some], of_limited[some])
        parts.append(points if limited is None else _with_limits(rows, points, limited, sites, settled))
    return ManyPoints(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(ManyPoints)))


@dataclass(frozen=True, eq=False)
class _Limited:
    """What the exact rows say of the limited responses t, and these of everything else.

    Attributes
    ----------
    precision, shift : (S, l, l) precision of t, and (S, l) that times its mean.
    coefficients, targets : (S, p, l) and (S, T, l): by how much their means move with t.
    """

    precision: Array
    shift: Array
    coefficients: Array
    targets: Array


def _complete(rows: DenseRows, variances: Array, noise: Array, of_limited: Array) -> tuple[ManyPoints, _Limited | None]:
    """What all rows say, the limited ones taken as exact and 0; of the likelihood, all but what the limited ones add.

    Variances are (S, K) of the terms, (S,) of exact rows and (S, l) of limited ones. A target's variance is that of its best prediction
    from the rows, ``taken @ rows``, as a sum of squares and not as a difference: what it misses of effects and residuals (universal
    kriging; Cressie 1993, Statistics for Spatial Data, section 3.4).
    """
    S, (many, r), limits = len(variances), rows.columns.shape, of_limited.shape[1]
    p, T = many - 1, len(rows.targets)
    own = np.hstack([np.repeat(noise[:, None], r - limits, axis=1), of_limited])
    V = np.tensordot(variances, rows.covariances, 1)
    V[:, np.arange(r), np.arange(r)] += own
    half = np.empty((S, many + T, r))  # stored by rows, as what is solved in its place must be
    half[:, :many], half[:, many:] = rows.columns, np.tensordot(variances, rows.moved, 1)
    log_det, there = _roots(V)
    _solve_in_place(V, half, 1)
    products = half @ half.transpose(0, 2, 1)
    products[:, :many, :many] += rows.apart / noise[:, None, None]
    inverse = products[:, :p, :p].copy()
    log_det_last, estimable = _roots(inverse)
    _inverses(inverse)
    covariance = inverse.transpose(0, 2, 1) @ inverse
    b = (covariance @ products[:, :p, p, None])[:, :, 0]
    rss = products[:, p, p] - (b * products[:, :p, p]).sum(axis=1)
    log_det = log_det + rows.orthogonal * np.log(noise) + rows.log_known + log_det_last
    log_likelihood = np.where(there & estimable, -0.5 * ((rows.n - p) * np.log(2 * np.pi) + log_det + rss), -np.inf)
    points = ManyPoints(log_likelihood, rows.origin + b, covariance, np.zeros((S, T)), np.zeros((S, T)))
    if not (T or limits):
        return points, None
    _solve_in_place(V, half, 0)
    of_b = covariance @ half[:, :p]
    rest = rows.of_coefficients - products[:, many:, :p]
    taken = half[:, many:] + rest @ of_b
    if T:
        means = (rest @ b[:, :, None])[:, :, 0] + products[:, many:, p] + rows.of_coefficients @ rows.origin
        off = (rows.of_effects - taken @ rows.effects) * np.sqrt(variances)[:, None, rows.owner]
        across = rest @ covariance
        of_apart = ((across @ rows.apart[:p, :p]) * across).sum(axis=2) / noise[:, None]
        spreads = (off**2).sum(axis=2) + (taken**2 @ own[:, :, None])[:, :, 0] + of_apart
        points = replace(points, target_means=means, target_variances=spreads)
    if not limits:
        return points, None
    corner = V[:, r - limits :, r - limits :].copy()
    _inverses(corner)
    of_b, x, y = of_b[:, :, r - limits :], half[:, :p, r - limits :], half[:, p, r - limits :]
    precision = corner.transpose(0, 2, 1) @ corner - x.transpose(0, 2, 1) @ of_b
    return points, _Limited(precision, (b[:, None, :] @ x)[:, 0] - y, of_b, taken[:, :, r - limits :])


def _with_limits(rows: DenseRows, points: ManyPoints, limited: _Limited, sites: Sites, settled: float) -> ManyPoints:
    """The same with the limits."""
    added, mean, root = _sweeps(rows, limited, sites, settled, np.flatnonzero(np.isfinite(points.log_likelihood)))
    back = root.transpose(0, 2, 1)
    of_b, of_targets = limited.coefficients @ back, limited.targets @ back
    return ManyPoints(
        log_likelihood=points.log_likelihood + added,
        coefficients=points.coefficients + (limited.coefficients @ mean[:, :, None])[:, :, 0],
        covariances=points.covariances + of_b @ of_b.transpose(0, 2, 1),
        target_means=points.target_means + (limited.targets @ mean[:, :, None])[:, :, 0],
        target_variances=points.target_variances + (of_targets**2).sum(axis=2),
    )


def _sweeps(rows: DenseRows, limited: _Limited, sites: Sites, settled: float, going: Ints) -> tuple[Array, Array, Array]:
    """Expectation propagation at every point that is ``going``, until its own sites settle.

    Returns
    -------
    (S,) what the limits add to the log-likelihood, −infinity where the sites did not settle; (S, l) means of t; (S, l, l) L⁻¹, of which
    L⁻ᵀL⁻¹ is its covariance.
    """
    S, size = limited.shift.shape
    precision, shift = np.tile(sites.precision, (S, 1)), np.tile(sites.shift, (S, 1))
    added, mean, root = np.full(S, -np.inf), np.zeros((S, size)), np.zeros((S, size, size))
    for sweep in range(SWEEPS):
        if not len(going):
            break
        tau, push, pulled, inverse = precision[going], shift[going], limited.shift[going] + shift[going], limited.precision[going]
        inverse[:, np.arange(size), np.arange(size)] += tau
        log_det, there = _roots(inverse)
        _inverses(inverse)
        t = (inverse.transpose(0, 2, 1) @ (inverse @ pulled[:, :, None]))[:, :, 0]
        rest = 1 / np.einsum("sij,sij->sj", inverse, inverse) - tau
        there &= (rest > 0).all(axis=1) & (tau > 0).all(axis=1)
        if not there.all():
            going = going[there]
            tau, push, log_det, inverse, t, pulled, rest = (one[there] for one in (tau, push, log_det, inverse, t, pulled, rest))
        told = told_by_limits(((rest + tau) * t - push) / rest, 1 / rest, *np.broadcast_arrays(rows.low, rows.high, rest)[:2])
        done = told.change(tau, push).max(axis=1) < settled
        scales = np.log(tau) - push**2 / tau + pulled * t + 2 * told.log_scale(tau, push)
        ready, left, step = going[done], ~done, 1.0 if sweep < SLOWER else DAMPED
        added[ready], mean[ready], root[ready] = (scales.sum(axis=1) - log_det)[done] / 2, t[done], inverse[done]
        going = going[left]
        precision[going] += step * (told.precision - tau)[left]
        shift[going] += step * (told.shift - push)[left]
    return added, mean, root


def _roots(matrices: Array) -> tuple[Array, Bools]:
    """Put (S, m, m) lower Cholesky factors in the place of symmetric matrices of which lower triangles count.

    Returns
    -------
    (S,) logarithms of determinants, and whether each was positive definite to working precision; the identity stands for one that was not.
    """
    there = np.ones(len(matrices), dtype=bool)
    for s, matrix in enumerate(matrices):  # LAPACK's upper triangle is the lower one of an array stored by rows
        if matrix.size and lapack.dpotrf(matrix.T, lower=0, clean=1, overwrite_a=1)[1] != 0:
            matrix[:], there[s] = np.eye(len(matrix)), False
    return 2 * np.log(np.diagonal(matrices, axis1=1, axis2=2)).sum(axis=1), there


def _solve_in_place(roots: Array, right: Array, transposed: int) -> None:
    """Put L⁻¹x, or L⁻ᵀx where not ``transposed``, in the place of every row x of (S, c, m) for lower triangles L, (S, m, m)."""
    for root, rows in zip(roots, right, strict=True):
        if rows.size:
            lapack.dtrtrs(root.T, rows.T, lower=0, trans=transposed, overwrite_b=1)


def _inverses(roots: Array) -> None:
    """Put L⁻¹ in the place of (S, m, m) lower triangles L, whose other triangles are 0: L⁻ᵀL⁻¹ is the inverse of LLᵀ."""
    for root in roots:
        if root.size:
            lapack.dtrtri(root.T, lower=0, overwrite_c=1)
