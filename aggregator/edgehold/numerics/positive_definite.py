"""The inverse of a symmetric positive definite matrix, by LAPACK."""

from __future__ import annotations

import numpy as np
from scipy.linalg import lapack

from .arrays import Array


def inverse_of(matrix: Array) -> Array:
    """Every entry of the inverse, (m, m), in half the operations that solving for the columns of the unit matrix takes.

    Parameters
    ----------
    matrix : (m, m), of which the lower triangle is read; overwritten where it is laid out by columns.

    Raises
    ------
    numpy.linalg.LinAlgError
        The matrix is not positive definite to working precision.
    """
    factor, failed = lapack.dpotrf(matrix, lower=1, clean=0, overwrite_a=1)
    if failed:
        raise np.linalg.LinAlgError(f"a pivot of {len(matrix)} is not positive: the {failed}th")
    lower, _ = lapack.dpotri(factor, lower=1, overwrite_c=1)
    lower = np.tril(lower)
    inverse: Array = lower + np.tril(lower, -1).T
    return inverse
