"""Rows with a known covariance, divided by its square root.

V is block-diagonal: rows that share no entry are independent. Each block V_b = L_b L_bᵀ is factored by itself and blocks of
one size are factored together, so that n rows in small blocks cost n, not n³.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from .arrays import Array, Ints


@dataclass(frozen=True, eq=False)
class Whitening:
    """The inverse root of V.

    Attributes
    ----------
    root : (n, n) sparse L⁻¹, LLᵀ = V.
    log_determinant : ln |V|.
    """

    root: sp.csr_matrix
    log_determinant: float


def whitening(V: Array | sp.spmatrix) -> Whitening | None:
    """L⁻¹ and ln |V|; None where a block is not positive definite.

    Parameters
    ----------
    V : (n,) positive variances, or (n, n) symmetric, sparse or dense.
    """
    if not sp.issparse(V) and V.ndim == 1:
        return Whitening(sp.diags(1 / np.sqrt(V)).tocsr(), float(np.log(V).sum()))
    V = sp.csr_matrix(V)
    label = connected_components(V, directed=False)[1]
    order = np.argsort(label, kind="stable")
    sizes = np.bincount(label)
    first = np.concatenate([[0], np.cumsum(sizes)])
    pieces = [_blocks_of_one_size(V, order, first[:-1][sizes == size], int(size)) for size in np.unique(sizes)]
    if any(piece is None for piece in pieces):
        return None
    rows, columns, values, log_determinants = (np.concatenate(part) for part in zip(*pieces, strict=True))
    return Whitening(sp.csr_matrix((values, (rows, columns)), shape=V.shape), float(log_determinants.sum()))


def _blocks_of_one_size(V: sp.csr_matrix, order: Ints, first: Ints, size: int) -> tuple[Ints, Ints, Array, Array] | None:
    members = order[first[:, None] + np.arange(size)]
    rows = np.broadcast_to(members[:, :, None], (len(first), size, size)).ravel()
    columns = np.broadcast_to(members[:, None, :], (len(first), size, size)).ravel()
    blocks = np.asarray(V[rows, columns]).reshape(len(first), size, size)
    try:
        roots = np.linalg.cholesky(blocks)
    except np.linalg.LinAlgError:
        return None
    inverse = np.linalg.solve(roots, np.broadcast_to(np.eye(size), roots.shape))
    kept = np.broadcast_to(np.tri(size, dtype=bool), inverse.shape).ravel()
    logs = 2 * np.log(np.diagonal(roots, axis1=1, axis2=2)).ravel()
    return rows[kept], columns[kept], inverse.ravel()[kept], logs
