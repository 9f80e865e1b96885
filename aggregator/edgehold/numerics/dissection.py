"""An order of elimination for the part of a sparse matrix in which every unknown has many neighbours, and its supernodes.

The order is one of minimum degree (Liu 1985, ACM Trans. Math. Softw. 11:141–153) as SuperLU finds it or, of a large part, a nested
dissection (George 1973, SIAM J. Numer. Anal. 10:345–363) by METIS (Karypis & Kumar 1998, SIAM J. Sci. Comput. 20:359–392), an optional
library; ``available`` says whether it is there. Unknowns that have nearly the same neighbours after them are
one supernode: its entries are one dense block, a few zeros included (Ashcraft & Grimes 1989, ACM Trans. Math. Softw. 15:291–309).
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from .arrays import Ints

# Unknowns of a supernode up to which so large a share of its block may be zeros: handling counts in small ones, arithmetic in large ones.
SHARES_OF_ZEROS = ((128, 0.6), (256, 0.35), (1024, 0.15))
LARGEST = 1024  # unknowns of a supernode; the half of its square head that is not used takes memory
SEPARATORS, TWO_SIDED = 4, 2  # tried at each cut, and how they are refined: a second or two for a tenth of the arithmetic
SHARE_OF_ZEROS = 0.05  # of larger ones


@dataclass(frozen=True, eq=False)
class Supernode:
    """Unknowns eliminated together.

    Attributes
    ----------
    unknowns : in the order in which they are eliminated.
    after : unknowns eliminated later with which they share entries.
    """

    unknowns: Ints
    after: Ints


def available() -> bool:
    """Whether the library that finds the order of a large part is installed."""
    return importlib.util.find_spec("pymetis") is not None


def supernodes(graph: sp.csr_matrix, last: int, dissected: bool) -> list[Supernode]:
    """The supernodes of a symmetric pattern in an order of elimination; the ``last`` highest-numbered unknowns are the end of the last one.

    Parameters
    ----------
    graph : (n, n) pattern without its diagonal.
    dissected : whether the order is a nested dissection.
    """
    n = graph.shape[0]
    first = n - last
    find = _nested_dissection if dissected else _minimum_degree
    order = np.concatenate([find(graph[:first, :first]), np.arange(first, n)])
    parent, structure = _eliminated(graph, order)
    members, above = _merged(parent, structure, first)
    return [Supernode(order[columns], order[_bits(structure[columns[-1]], n)]) for columns in _bottom_up(members, above)]


def _minimum_degree(graph: sp.csr_matrix) -> Ints:
    n, degree = graph.shape[0], np.diff(graph.indptr)
    positive_definite = sp.csc_matrix(
        sp.diags(degree + 1.0) - sp.csr_matrix((np.ones(graph.nnz), graph.indices, graph.indptr), shape=(n, n))
    )
    factor = splu(positive_definite, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return np.argsort(factor.perm_c).astype(np.int64)


def _nested_dissection(graph: sp.csr_matrix) -> Ints:
    import pymetis  # an optional dependency, asked for by ``available`` first

    adjacency = pymetis.CSRAdjacency(graph.indptr.astype(np.int32), graph.indices.astype(np.int32))
    permutation, _ = pymetis.nested_dissection(adjacency=adjacency, options=pymetis.Options(nseps=SEPARATORS, rtype=TWO_SIDED))
    return np.asarray(permutation, dtype=np.int64)


def _eliminated(graph: sp.csr_matrix, order: Ints) -> tuple[Ints, list[int]]:
    """Parent of each position in the elimination tree (n at a root), and which positions share an entry with it afterwards, as bits.

    The pattern of a column of the factor is its own and that of its children (Liu 1990, SIAM J. Matrix Anal. Appl. 11:134–172).
    """
    n = len(order)
    position = np.empty(n, dtype=np.int64)
    position[order] = np.arange(n)
    parent = np.full(n, n, dtype=np.int64)
    structure = [0] * n
    for j, unknown in enumerate(order):
        near = position[graph.indices[graph.indptr[unknown] : graph.indptr[unknown + 1]]]
        there = np.zeros(n, dtype=bool)
        there[near[near > j]] = True
        row = structure[j] | int.from_bytes(np.packbits(there, bitorder="little").tobytes(), "little")
        structure[j] = row
        if row:
            lowest = row & -row
            parent[j] = lowest.bit_length() - 1
            structure[parent[j]] |= row ^ lowest
    return parent, structure


def _bits(row: int, n: int) -> Ints:
    size = (n + 7) // 8
    return np.flatnonzero(np.unpackbits(np.frombuffer(row.to_bytes(size, "little"), dtype=np.uint8), bitorder="little"))


def _merged(parent: Ints, structure: list[int], first: int) -> tuple[list[Ints], list[int]]:
    """Positions of each supernode, ascending, and the supernode above each (−1 at the root); all from ``first`` on are in the last one."""
    n = len(parent)
    counts = [row.bit_count() for row in structure]
    members: list[list[int]] = [[j] for j in range(n)]
    real = [1 + count for count in counts]  # entries without the zeros that merging adds
    below: list[list[int]] = [[] for _ in range(n + 1)]
    for j in range(first):
        for child in sorted(below[j], key=lambda c: -counts[c]):
            size, entries = len(members[j]) + len(members[child]), real[j] + real[child]
            whole = size * (size + 1) // 2 + size * counts[j]
            if size <= LARGEST and whole - entries <= _share_of_zeros(size) * whole:
                members[j] = members[child] + members[j]
                real[j] = entries
                below[j] += below[child]
                below[j].remove(child)
                members[child] = []
        below[min(parent[j], first)].append(j)
    root = max(below[first], default=None) if first else None
    tops = [j for j in range(first) if members[j] and j != root]
    number = {j: k for k, j in enumerate(tops)}
    above = [-1] * (len(tops) + 1)
    for j in [*tops, *([] if root is None else [root])]:
        for child in below[j]:
            above[number[child]] = number.get(j, len(tops))
    for child in below[first]:
        if child != root:
            above[number[child]] = len(tops)
    end = ([] if root is None else sorted(members[root])) + list(range(first, n))
    return [np.array(sorted(members[j])) for j in tops] + [np.array(end)], above


def _share_of_zeros(size: int) -> float:
    return next((share for limit, share in SHARES_OF_ZEROS if size <= limit), SHARE_OF_ZEROS)


def _bottom_up(members: list[Ints], above: list[int]) -> list[Ints]:
    """Supernodes with those below one directly before it."""
    below: list[list[int]] = [[] for _ in members]
    for k, one in enumerate(above):
        if one >= 0:
            below[one].append(k)
    found, waiting = [], [len(members) - 1]
    while waiting:
        k = waiting.pop()
        found.append(members[k])
        waiting += below[k]
    return found[::-1]
