"""What the levels of some factors tell beside those of others, from which run is of which level.

Nothing is runs by runs or runs by levels. With B the indicators of the two factors that have most levels, one level of the second left out
in every component that the two make, BᵀWB is sparse and positive definite, and the rank of the two is known from their components (Searle
1987, Linear Models for Unbalanced Data, section 5.3). What is left of all other factors beside the two is a small dense matrix, in which
dependent columns are found by a pivoted Cholesky factor (LAPACK ``dpstrf``).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from scipy.linalg import solve_triangular
from scipy.linalg.lapack import dpstrf
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from .arrays import Array, Ints
from .indicators import indicator

INDEPENDENT = 1e-8  # of the square of a column of unit length: a chain of m people still leaves about 1/m


def information_beside(factor: Ints, others: Sequence[Ints], weights: Array) -> Array:
    """Zᵀ(I − P)Z of a factor's levels, P projecting on the levels of the others, the mean among them.

    Parameters
    ----------
    factor, others : (n,) codes of levels, from 0.
    weights : (n,) how often each row counts.

    Returns
    -------
    (a, a)
    """
    needed = without_functions([*others, np.zeros_like(factor)])
    z = indicator(factor)
    a = z.shape[1]
    rest = [_of_unit_length(indicator(one), weights) for one in needed[2:]]
    left = _beside_two(sp.hstack([z, *rest], format="csr"), needed[:2], weights)
    if left.shape[0] == a:
        return left
    root, kept = _independent(left[a:, a:])
    half = solve_triangular(root, left[a:, :a][kept], lower=True)
    found: Array = left[:a, :a] - half.T @ half
    return found


def rank_of(factors: Sequence[Ints]) -> int:
    """Rank of the indicators of some factors, (n,) codes each."""
    needed = without_functions(factors)
    if len(needed) == 1:
        return int(needed[0].max()) + 1
    member = joined(*needed[:2])
    two = len(member) - int(member.max()) - 1
    if len(needed) == 2:
        return two
    weights = np.ones(len(needed[0]))
    columns = sp.hstack([_of_unit_length(indicator(one), weights) for one in needed[2:]], format="csr")
    return two + len(_independent(_beside_two(columns, needed[:2], weights))[1])


def joined(a: Ints, b: Ints) -> Ints:
    """(levels of a + levels of b,) number of the component of each level, joined by the rows."""
    p, q = a.max() + 1, b.max() + 1
    graph = sp.coo_array((np.ones(len(a)), (a, b + p)), shape=(p + q, p + q))
    member: Ints = connected_components(graph, directed=False)[1]
    return member


def crossed(a: Ints, b: Ints) -> Ints:
    """Codes of the combinations of two factors."""
    return np.unique(a * (b.max() + 1) + b, return_inverse=True)[1]


def without_functions(factors: Sequence[Ints]) -> list[Ints]:
    """Factors with the most levels first, without those that are functions of another."""
    numbered: list[Ints] = [np.unique(one, return_inverse=True)[1] for one in factors]
    kept: list[Ints] = []
    for factor in sorted(numbered, key=lambda one: -one.max()):
        if not any(crossed(finer, factor).max() == finer.max() for finer in kept):
            kept.append(factor)
    return kept


def _independent(gram: Array) -> tuple[Array, Ints]:
    """Cholesky factor of a largest part that is not singular, and which columns it is of."""
    if gram.diagonal().max() <= INDEPENDENT:  # LAPACK takes the first column whatever is left of it
        return np.zeros((0, 0)), np.zeros(0, dtype=int)
    root, pivots, rank, _ = dpstrf(gram, tol=INDEPENDENT, lower=1)
    return root[:rank, :rank], pivots[:rank] - 1


def _of_unit_length(columns: sp.csr_matrix, weights: Array) -> sp.csr_matrix:
    return sp.csr_matrix(columns @ sp.diags(1 / np.sqrt(columns.T @ weights)))


def _beside_two(columns: sp.csr_matrix, factors: Sequence[Ints], weights: Array) -> Array:
    """Cᵀ W(I − P)C of some columns, P projecting on the levels of one factor or two, of which neither is a function of the other."""
    blocks = [indicator(factors[0])]
    if len(factors) > 1:
        member = joined(*factors)
        of_second = member[blocks[0].shape[1] :]
        grounded = np.unique(of_second, return_index=True)[1]
        blocks.append(indicator(factors[1])[:, np.setdiff1d(np.arange(len(of_second)), grounded)])
    B = sp.hstack(blocks, format="csr")
    weighted = sp.csr_matrix(sp.diags(weights) @ columns)
    gram = sp.csc_matrix(B.T @ sp.diags(weights) @ B)
    across = np.asarray((B.T @ weighted).todense())
    solved = splu(gram, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}).solve(across)
    found = np.asarray((columns.T @ weighted).todense()) - across.T @ solved
    return np.asarray((found + found.T) / 2, dtype=float)
