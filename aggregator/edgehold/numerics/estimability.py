"""Which linear functions of the coefficients a design can tell, and what their variance is.

A design may have more columns than it can hold (one per level of every factor): the pseudo-inverse picks one of the
many least-squares solutions, and everything that is returned for an estimable function is the same for all of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arrays import Array

TOLERANCE = 1e-8  # a function is estimable when its part outside the row space is below this share of its length
RANK_TOLERANCE = 1e-10  # relative to the largest eigenvalue of A, whose diagonal is 1: far below any real imbalance


WORST_CONDITION = 1e-8  # smallest over largest singular value of columns of unit length, below which half of all digits are lost


def nearly_dependent(x: Array) -> int | None:
    """The column that the others come closest to adding up to; None where the columns, scaled to unit length, are conditioned well enough.

    Parameters
    ----------
    x : (n, p) columns, none of them all zero; or any matrix with the same XᵀX.

    Notes
    -----
    The ratio of singular values of scaled columns, and the column with the largest share in the smallest one: Belsley, Kuh & Welsch
    1980, Regression Diagnostics, ch. 3.
    """
    if x.shape[1] < 2:
        return None
    sizes, parts = np.linalg.svd(x / np.linalg.norm(x, axis=0), full_matrices=False)[1:]
    return int(np.argmax(np.abs(parts[-1]))) if sizes[-1] < WORST_CONDITION * sizes[0] else None


@dataclass(frozen=True, eq=False)
class Design:
    """A design prepared for estimability questions.

    Attributes
    ----------
    x : (n, p) columns, none of them all zero.
    scale : (p,) lengths of the columns; A = XᵀX with rows and columns divided by them.
    inverse : (p, p) pseudo-inverse of A.
    projector : (p, p) A⁺A, the projector on the row space.
    basis : (n, r) orthonormal basis of the column space.
    rank : r.
    """

    x: Array
    scale: Array
    inverse: Array
    projector: Array
    basis: Array
    rank: int


def prepare(x: Array) -> Design:
    """Factor A = XᵀX, scaled to unit diagonal.

    Parameters
    ----------
    x : (n, p) design with n ≥ 1 and no column of zeros.
    """
    x = np.asarray(x, dtype=float)
    scale = np.sqrt((x**2).sum(axis=0))
    values, vectors = np.linalg.eigh((x / scale).T @ (x / scale))
    kept = values > RANK_TOLERANCE * values.max()
    values, vectors = values[kept], vectors[:, kept]
    return Design(
        x=x,
        scale=scale,
        inverse=(vectors / values) @ vectors.T,
        projector=vectors @ vectors.T,
        basis=(x / scale) @ vectors / np.sqrt(values),
        rank=int(kept.sum()),
    )


def estimable(design: Design, c: Array) -> bool:
    """Whether cᵀb is the same for every least-squares solution: ‖c − cA⁺A‖ ≤ 1e-8‖c‖ (Searle 1971, Linear Models, 5.4).

    Parameters
    ----------
    c : (p,) coefficients of the function.
    """
    scaled = np.asarray(c, dtype=float) / design.scale
    return bool(np.linalg.norm(scaled - scaled @ design.projector) <= TOLERANCE * np.linalg.norm(scaled))


def in_basis(design: Design, c: Array) -> Array:
    """Estimable functions as functions of the coordinates θ of the fit in the orthonormal basis: cᵀb = lᵀθ.

    Parameters
    ----------
    c : (..., p) coefficients of estimable functions.

    Returns
    -------
    (..., r) l; the variance of cᵀb is σ² lᵀl for independent rows of variance σ².
    """
    return (np.asarray(c, dtype=float) / design.scale) @ design.inverse @ (design.x / design.scale).T @ design.basis
