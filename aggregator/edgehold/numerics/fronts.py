"""Dense arithmetic on supernodes: what is left of a sparse matrix when its unknowns of few neighbours are eliminated, but the
last supernode, is factored block by block (right-looking; Ng & Peyton 1993, SIAM J. Sci. Comput. 14:1034–1056), and its inverse
follows on the same blocks backwards (Takahashi, Fagan & Chen 1973; see ``elimination``).

A front is one supernode. Its block of the value buffer has a row for each of its own unknowns, then one for each of those after it
with which it shares entries, and a column for each of its own; of its square head only the lower triangle counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import blas, lapack

from .arrays import Array, Ints

Short = npt.NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Target:
    """A later block that holds entries between unknowns after a front.

    Attributes
    ----------
    start, width : where the block begins in the value buffer, and how many columns it has.
    low, high : which of the unknowns after the front are the block's own.
    rows : rows in the block of those from ``low`` on.
    """

    start: int
    width: int
    low: int
    high: int
    rows: Short

    @property
    def columns(self) -> Short:
        """Columns in the block of its own."""
        return self.rows[: self.high - self.low]


@dataclass(frozen=True, eq=False)
class Front:
    """Attributes
    ----------
    first, count : the unknowns are ``first … first + count − 1`` in the order of elimination.
    start : place of the block in the value buffer.
    after : positions of the later unknowns with which they share entries, ascending.
    targets : where their mutual entries are.
    """

    first: int
    count: int
    start: int
    after: Ints
    targets: tuple[Target, ...]

    @property
    def own(self) -> slice:
        """Positions of the front's unknowns."""
        return slice(self.first, self.first + self.count)

    @property
    def length(self) -> int:
        """Numbers in its block."""
        return self.count * (self.count + len(self.after))

    def block(self, values: Array) -> Array:
        """(count, count + after) the block's transpose, in Fortran's order: its head is the upper triangle of the Cholesky factor."""
        return values[self.start : self.start + self.length].reshape(-1, self.count).T


def laid_out(supernodes: Sequence[tuple[Ints, Ints]], first: int, start: int, core_width: int) -> tuple[list[Front], int]:
    """Fronts of supernodes given as (own positions, positions after), their blocks from ``start`` on and the dense core behind
    them; where that begins.

    Parameters
    ----------
    first : position of the first unknown of the first front.
    core_width : number of unknowns in the core, which are the last positions.
    """
    firsts = np.array([int(own[0]) for own, _ in supernodes], dtype=np.int64)
    counts = np.array([len(own) for own, _ in supernodes], dtype=np.int64)
    lengths = counts * (counts + np.array([len(after) for _, after in supernodes], dtype=np.int64))
    starts = start + np.cumsum(lengths) - lengths
    core, core_start = first + int(counts.sum()), start + int(lengths.sum())
    fronts = []
    for k, (_, after) in enumerate(supernodes):
        owner = np.searchsorted(firsts, after, side="right") - 1
        owner[after >= core] = len(firsts)
        cuts = np.concatenate([[0], np.flatnonzero(np.diff(owner)) + 1, [len(after)]]) if len(after) else np.zeros(1, dtype=int)
        targets = []
        for low, high in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
            t, met = int(owner[low]), after[low:]
            if t == len(firsts):
                targets.append(Target(core_start, core_width, low, high, (met - core).astype(np.int32)))
                continue
            own = met < firsts[t] + counts[t]
            rows = np.where(own, met - firsts[t], counts[t] + np.searchsorted(supernodes[t][1], met))
            targets.append(Target(int(starts[t]), int(counts[t]), low, high, rows.astype(np.int32)))
        fronts.append(Front(int(firsts[k]), int(counts[k]), int(starts[k]), after, tuple(targets)))
    return fronts, core_start


def _of(values: Array, target: Target) -> Array:
    """The rows of a target's block, from its first to the last that is met."""
    return values[target.start : target.start + target.width * (int(target.rows[-1]) + 1)].reshape(-1, target.width)


def factor_front(values: Array, front: Front) -> bool:
    """Replace the block by its part of the factor and take its products off later blocks; False where it is not positive definite."""
    block = front.block(values)
    head, info = lapack.dpotrf(block[:, : front.count], lower=0, clean=0, overwrite_a=1)
    if info != 0:
        return False
    tail = block[:, front.count :]
    if not len(front.after):
        return True
    if front.count == 1:
        tail /= head[0, 0]
    else:
        tail[:] = blas.dtrsm(1.0, head, tail, lower=0, trans_a=1, overwrite_b=1)
    for target in front.targets:
        _of(values, target)[_places(target)] -= tail[:, target.low :].T @ tail[:, target.low : target.high]
    return True


def _places(target: Target) -> tuple[Ints, Ints | slice]:
    rows, columns = target.rows.astype(np.intp), target.columns
    if int(columns[-1]) - int(columns[0]) + 1 == len(columns):
        return rows, slice(int(columns[0]), int(columns[-1]) + 1)
    return rows[:, None], columns.astype(np.intp)


def log_determinant(values: Array, front: Front) -> float:
    """What the front adds to the logarithm of the determinant."""
    return float(2 * np.log(np.diag(front.block(values))).sum())


def forward(values: Array, front: Front, x: Array) -> None:
    """One step of the forward substitution, in place; ``x`` is (size + 1, columns) in the order of elimination."""
    block = front.block(values)
    mine = blas.dtrsm(1.0, block[:, : front.count], x[front.own], lower=0, trans_a=1)
    x[front.own] = mine
    if len(front.after):
        x[front.after] -= block[:, front.count :].T @ mine


def backward(values: Array, front: Front, x: Array) -> None:
    """One step of the backward substitution, in place."""
    block = front.block(values)
    mine = x[front.own] - block[:, front.count :] @ x[front.after]
    x[front.own] = blas.dtrsm(1.0, block[:, : front.count], mine, lower=0)


def invert_front(values: Array, inverse: Array, front: Front) -> None:
    """The inverse on the block's places, from that on later blocks."""
    block, found = front.block(values), front.block(inverse)
    head, tail = block[:, : front.count], block[:, front.count :]
    own = lapack.dpotri(np.array(head, order="F"), lower=0, overwrite_c=1)[0]
    if len(front.after):
        scaled = blas.dtrsm(1.0, head, tail, lower=0)
        across = np.zeros(scaled.shape, order="F")
        for target in front.targets:
            low, high, width = target.low, target.high, target.high - target.low
            met = _of(inverse, target)[_places(target)]
            square = np.tril(met[:width])
            across[:, low:high] -= scaled[:, low:high] @ (square + np.tril(square, -1).T) + scaled[:, high:] @ met[width:]
            across[:, high:] -= scaled[:, low:high] @ met[width:].T
        found[:, front.count :] = across
        own -= across @ scaled.T
    found[:, : front.count] = own
