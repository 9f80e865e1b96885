"""Which row is of which level, as a sparse matrix."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from .arrays import Ints


def indicator(codes: Ints, weight: float = 1.0) -> sp.csr_matrix:
    """(n, levels) matrix with a weight where a row meets its level.

    Parameters
    ----------
    codes : (n,) codes of levels, from 0, every one of which is met.
    weight : what stands there.
    """
    n = len(codes)
    return sp.csr_matrix((np.full(n, weight), codes, np.arange(n + 1)), shape=(n, int(codes.max(initial=-1)) + 1))
