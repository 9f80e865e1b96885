"""Sparse Cholesky factor, solves and selected inverse of a symmetric positive definite matrix whose pattern stays the same.

The pattern is analysed once. Unknowns are eliminated in rounds: a round takes unknowns of low degree of which no two are
neighbours, so that all of them go at once with array operations (an independent set chosen as Luby 1986, A simple parallel
algorithm for the maximal independent set problem, SIAM J. Comput. 15:1036–1053, among the unknowns of nearly minimum
degree, Liu 1985, Modification of the minimum-degree algorithm by multiple elimination, ACM Trans. Math. Softw.
11:141–153). When the rest is small or full of entries it is factored as one dense core by LAPACK. A larger rest has supernodes
(``dissection``), which are eliminated one by one as dense blocks (``fronts``) before a smaller core.

The entries of the inverse on the pattern of the factor follow by the same rounds backwards (Takahashi, Fagan & Chen 1973,
Formation of a sparse bus impedance matrix and its application to short circuit study; Erisman & Tinney 1975, On computing
certain elements of the inverse of a sparse matrix, Comm. ACM 18:177–179).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.sparse as sp
from scipy.linalg import lapack

from . import dissection
from .arrays import Array, Ints
from .fronts import Front, backward, factor_front, forward, invert_front, laid_out, log_determinant

SMALL_CORE = 350  # unknowns: below this a dense factor costs less than more rounds
LARGEST_DEGREE, LARGEST_OF_MANY = 60, 80  # of an unknown eliminated alone, of few and of MANY: above it the dense core is faster
SOME = 1000  # unknowns: of fewer, a dense core costs no more than supernodes
MANY = 20_000  # unknowns: only of more is a rest ever dissected, so that no figure of fewer hangs on whether the library is there
LARGE_CORE = 2500  # unknowns: a larger rest is dissected
LARGE_DEGREE = 30  # of an unknown that is eliminated alone before supernodes are
WIDTHS = np.array([0, 1, 2, 3, 4, 6, 8, 11, 15, 20, 26, 34, 44, 60, 80])  # degrees are rounded up to these, so that rounds stay few arrays
MANY_PRODUCTS = 50_000  # of a batch's entries with right-hand sides, above which a sparse matrix costs less than an array of them
KEPT_PLANS = 4  # rounds of fits to one pattern, and to parts of its rows, ask for their plans again and again
TIE_BREAK_SEED = 1  # neighbours of equal degree need some fixed order


@dataclass(frozen=True, eq=False)
class Batch:
    """Unknowns of one round with the same number of neighbours (rounded up; surplus neighbours are a zero).

    Attributes
    ----------
    first, count, width : the unknowns are ``first … first + count − 1`` in the order of elimination.
    start : place of their (count, width) block of entries in the value buffer.
    neighbours : (count, width) positions of their neighbours in the order of elimination.
    inner : (count, width, width) places of the neighbours' mutual entries; of MANY unknowns in half the bytes.
    take, starts, targets : which products of two entries (half of them), sorted by the place they are subtracted from,
        where each place's run of products starts, and those places.
    row_take, row_starts, row_targets : the same for right-hand sides.
    """

    first: int
    count: int
    width: int
    start: int
    neighbours: Ints
    inner: Ints
    take: Ints
    starts: Ints
    targets: Ints
    row_take: Ints
    row_starts: Ints
    row_targets: Ints


@dataclass(frozen=True, eq=False)
class Plan:
    """The symbolic analysis of one pattern.

    Attributes
    ----------
    size : number of unknowns.
    order : (size,) unknown at each position of the elimination.
    single : how many are eliminated in rounds.
    eliminated : how many are eliminated before the dense core, in rounds or fronts.
    last : how many of the core's last unknowns are those asked to be kept to the end.
    batches : the rounds' arrays, in order.
    fronts : the supernodes after them.
    places : (entries,) place in the value buffer of every entry of the lower triangle that was given.
    length : length of the value buffer: pivots, one zero, entries of the rounds, blocks of the fronts, dense core.
    """

    size: int
    order: Ints
    single: int
    eliminated: int
    last: int
    batches: tuple[Batch, ...]
    fronts: tuple[Front, ...]
    places: Ints
    length: int

    @property
    def core(self) -> int:
        """Number of unknowns in the dense core."""
        return self.size - self.eliminated


@dataclass(frozen=True, eq=False)
class Factor:
    """A numeric factor LDLᵀ of the rounds and RRᵀ of the core.

    Attributes
    ----------
    plan : the analysis it was made with.
    values : (length,) pivots, zero, entries of L.
    core : (m, m) upper triangle Rᵀ of the core's Cholesky factor.
    log_determinant : of the matrix without the ``last`` unknowns.
    log_determinant_last : what the ``last`` unknowns add.
    """

    plan: Plan
    values: Array
    core: Array
    log_determinant: float
    log_determinant_last: float


Round = tuple[Ints, Ints, Ints]  # unknowns, their degrees, their neighbours in a row
Laid = tuple[int, int, int, int, Ints]  # first, count, width, start and neighbours of a batch
Limits = tuple[int, int, int, int]  # SMALL_CORE, LARGEST_DEGREE, the size above which a rest has supernodes, and LARGE_DEGREE
Finder = Callable[[Ints, Ints], Ints]  # the place of entries (low, high)


def analyse(rows: Ints, columns: Ints, size: int, last: int, small_core: int | None = None) -> Plan:
    """Choose the order of elimination and prepare every index that a numeric factor needs.

    Parameters
    ----------
    rows, columns : positions of the entries of the lower triangle (rows ≥ columns), the whole diagonal among them.
    size : number of unknowns.
    last : this many unknowns, the highest-numbered, are kept to the end of the dense core.
    small_core : a rest of so many unknowns or fewer is the dense core; ``SMALL_CORE`` when None.
    """
    dissected = size > MANY and dissection.available()
    large_core = LARGE_CORE if dissected else SMALL_CORE if SOME < size <= MANY else size
    largest_degree = LARGEST_OF_MANY if size > MANY else LARGEST_DEGREE
    limits = (SMALL_CORE if small_core is None else small_core, largest_degree, large_core, LARGE_DEGREE)
    return _analysis(rows.astype(np.int64).tobytes(), columns.astype(np.int64).tobytes(), size, last, limits, dissected)


@lru_cache(maxsize=KEPT_PLANS)
def _analysis(row_bytes: bytes, column_bytes: bytes, size: int, last: int, limits: Limits, dissected: bool) -> Plan:
    """``analyse`` by its content; the limits that the rounds keep are part of the key."""
    rows, columns = np.frombuffer(row_bytes, dtype=np.int64), np.frombuffer(column_bytes, dtype=np.int64)
    rounds, rest, graph = _rounds(_adjacency(rows, columns, size), size - last, limits, dissected)
    supernodes: list[dissection.Supernode] = []
    if len(rest) - last > limits[2]:
        *supernodes, core = dissection.supernodes(graph, last, dissected)
        fronts, core_unknowns = [rest[one.unknowns] for one in supernodes], rest[core.unknowns]
    else:
        fronts, core_unknowns = [], rest
    order = np.concatenate([r[0] for r in rounds] + [*fronts, core_unknowns]).astype(np.int64)
    single, eliminated = size - len(rest), size - len(core_unknowns)
    position = np.empty(size, dtype=np.int64)
    position[order] = np.arange(size)
    blocks, keys, key_places, length = _layout(rounds, position, size, single)
    held = [(position[rest[one.unknowns]], np.sort(position[rest[one.after]])) for one in supernodes]
    laid, core_start = laid_out(held, single, length, len(core_unknowns))
    find = _finder(keys, key_places, laid, size, single, eliminated, core_start)
    batches = tuple(_batch(block, find, size, single) for block in blocks)
    low, high = np.minimum(position[rows], position[columns]), np.maximum(position[rows], position[columns])
    return Plan(size, order, single, eliminated, last, batches, tuple(laid), find(low, high), core_start + len(core_unknowns) ** 2)


def _adjacency(rows: Ints, columns: Ints, size: int) -> sp.csr_matrix:
    off = rows != columns
    half = sp.csr_matrix((np.ones(off.sum(), dtype=np.float32), (rows[off], columns[off])), shape=(size, size))
    return (half + half.T).tocsr()


def _rounds(graph: sp.csr_matrix, movable_below: int, limits: Limits, dissected: bool) -> tuple[list[Round], Ints, sp.csr_matrix]:
    """The rounds as (unknowns, their degrees, their neighbours in a row), what is left after them, and its pattern."""
    small_core, largest_degree, large_core, large_degree = limits
    last = graph.shape[0] - movable_below
    names = np.arange(graph.shape[0])
    tie = np.random.default_rng(TIE_BREAK_SEED).random(len(names))
    rounds: list[Round] = []
    while True:
        degree = np.diff(graph.indptr)
        spread = degree if not dissected or graph.shape[0] - last <= large_core else degree - _touched(graph, len(names) - last)
        movable = (names < movable_below) & (degree <= largest_degree)
        least = spread[movable].min(initial=largest_degree + 1)
        large = least > large_degree and len(names) - last > large_core
        if least > largest_degree or len(names) <= small_core or large:
            return rounds, names, graph
        limit = min(max(least + least // 3 + 1, 3), largest_degree)
        rank = np.where(movable & (spread <= limit), spread + tie[names], np.inf)
        chosen = (rank < _lowest_neighbour(graph, rank)) & np.isfinite(rank)
        now, later = np.flatnonzero(chosen), np.flatnonzero(~chosen)
        now = now[np.argsort(degree[now], kind="stable")]
        across = graph[now]
        rounds.append((names[now], degree[now], names[across.indices]))
        graph = _without_diagonal(graph[later][:, later] + across[:, later].T @ across[:, later])
        names = names[later]


def _touched(graph: sp.csr_matrix, beyond: int) -> Ints:
    """How many of the unknowns from ``beyond`` on each is a neighbour of; these stay to the end, whoever is eliminated before."""
    before = np.concatenate([[0], np.cumsum(graph.indices >= beyond)])
    found: Ints = before[graph.indptr[1:]] - before[graph.indptr[:-1]]
    return found


def _lowest_neighbour(graph: sp.csr_matrix, rank: Array) -> Array:
    lowest = np.full(len(rank), np.inf)
    occupied = np.diff(graph.indptr) > 0
    if occupied.any():
        lowest[occupied] = np.minimum.reduceat(rank[graph.indices], graph.indptr[:-1][occupied])
    return lowest


def _without_diagonal(graph: sp.spmatrix) -> sp.csr_matrix:
    graph = graph.tocsr()
    size = graph.shape[0]
    row = np.repeat(np.arange(size, dtype=graph.indices.dtype), np.diff(graph.indptr))
    off = row != graph.indices
    indptr = np.concatenate([[0], np.cumsum(np.bincount(row[off], minlength=size))])
    return sp.csr_matrix((np.ones(int(off.sum()), dtype=np.float32), graph.indices[off], indptr), shape=graph.shape)


def _layout(rounds: list[Round], position: Ints, size: int, single: int) -> tuple[list[Laid], Ints, Ints, int]:
    """Cut the rounds into blocks of one width, give every entry its place, and list (key, place) of the real ones."""
    blocks: list[Laid] = []
    keys: list[Ints] = []
    places: list[Ints] = []
    first, start = 0, single + 1  # place ``single`` holds a zero for surplus neighbours
    for _, degrees, neighbours in rounds:
        widths = WIDTHS[np.searchsorted(WIDTHS, degrees)]
        ends = np.cumsum(degrees)
        neighbours = position[neighbours]
        for width in np.unique(widths):
            members = np.flatnonzero(widths == width)
            count = len(members)
            near = np.full((count, width), size, dtype=np.int64)
            filled = np.arange(width) < degrees[members][:, None]
            near[filled] = neighbours[ends[members[0]] - degrees[members[0]] : ends[members[-1]]]
            near.sort(axis=1)
            filled = near < size
            owner = first + np.arange(count)[:, None]
            keys.append((owner * size + near)[filled])
            places.append((start + np.arange(count * width).reshape(count, width))[filled])
            blocks.append((first, count, int(width), start, near))
            first, start = first + count, start + count * int(width)
    none = np.zeros(0, dtype=np.int64)
    return blocks, np.concatenate([*keys, none]), np.concatenate([*places, none]), start


def _finder(keys: Ints, key_places: Ints, fronts: Sequence[Front], size: int, single: int, eliminated: int, core_start: int) -> Finder:
    """A function that gives the place of entry (low, high), low ≤ high in the order of elimination; ``size`` is nothing."""
    core = size - eliminated
    firsts, starts, counts = (np.array([getattr(one, name) for one in fronts]) for name in ("first", "start", "count"))
    held = [np.concatenate([np.arange(one.first, one.first + one.count), one.after]) for one in fronts]
    ends = np.cumsum([0, *map(len, held)])
    held_keys = np.concatenate([k * size + rows for k, rows in enumerate(held)]) if fronts else np.zeros(0, dtype=np.int64)

    def find(low: Ints, high: Ints) -> Ints:
        place = np.full(low.shape, single, dtype=np.int64)
        inside = (low >= eliminated) & (high < size)
        place[inside] = core_start + (high[inside] - eliminated) * core + (low[inside] - eliminated)
        front = (low >= single) & (low < eliminated) & (high < size)
        if front.any():
            owner = np.searchsorted(firsts, low[front], side="right") - 1
            row = np.searchsorted(held_keys, owner * size + high[front]) - ends[owner]
            place[front] = starts[owner] + row * counts[owner] + low[front] - firsts[owner]
        pivot = (low == high) & (low < single)
        place[pivot] = low[pivot]
        entry = (low < single) & (high < size) & (low != high)
        place[entry] = key_places[np.searchsorted(keys, low[entry] * size + high[entry])]
        return place

    return find


def _batch(block: Laid, find: Finder, size: int, single: int) -> Batch:
    first, count, width, start, near = block
    left, right = np.broadcast_arrays(near[:, :, None], near[:, None, :])
    inner = find(np.minimum(left, right), np.maximum(left, right))
    half = np.flatnonzero((np.arange(width)[:, None] >= np.arange(width)).ravel()[None, :].repeat(count, axis=0).ravel())
    half = half[inner.ravel()[half] != single]
    take, starts, targets = _sorted_runs(half, inner.ravel()[half])
    real = np.flatnonzero(near.ravel() < size)
    return Batch(
        first,
        count,
        width,
        start,
        near,
        inner.astype(np.int32) if size > MANY else inner,
        take,
        starts,
        targets,
        *_sorted_runs(real, near.ravel()[real]),
    )


def _sorted_runs(sources: Ints, targets: Ints) -> tuple[Ints, Ints, Ints]:
    by_target = np.argsort(targets, kind="stable")
    ordered = targets[by_target]
    starts = np.flatnonzero(np.concatenate([[True], ordered[1:] != ordered[:-1]])[: len(ordered)])
    return sources[by_target], starts, ordered[starts]


def factorise(plan: Plan, entries: Array) -> Factor | None:
    """Factor the matrix with these entries; None where it is not positive definite to working precision.

    Parameters
    ----------
    entries : (entries,) values in the order of the positions given to ``analyse``.
    """
    values = np.zeros(plan.length)
    values[plan.places] = entries
    for batch in plan.batches:
        _eliminate(values, batch)
    pivots = values[: plan.single]
    if not (pivots > 0).all() or not all(factor_front(values, front) for front in plan.fronts):
        return None
    core, info = lapack.dpotrf(_core_of(plan, values).T, lower=0, clean=0, overwrite_a=1)
    if info != 0 or not np.isfinite(values[-1:]).all():
        return None
    logs = 2 * np.log(np.diag(core))
    split = plan.core - plan.last
    before = np.log(pivots).sum() + sum(log_determinant(values, front) for front in plan.fronts)
    return Factor(plan, values[: plan.length - plan.core**2], core, float(before + logs[:split].sum()), float(logs[split:].sum()))


def _core_of(plan: Plan, values: Array) -> Array:
    return values[plan.length - plan.core**2 :].reshape(plan.core, plan.core)


def _block(values: Array, batch: Batch) -> Array:
    return values[batch.start : batch.start + batch.count * batch.width].reshape(batch.count, batch.width)


def _eliminate(values: Array, batch: Batch) -> None:
    entries = _block(values, batch)
    scaled = entries / values[batch.first : batch.first + batch.count, None]
    if len(batch.targets):
        products = (entries[:, :, None] * scaled[:, None, :]).ravel()[batch.take]
        values[batch.targets] -= np.add.reduceat(products, batch.starts)
    entries[:] = scaled


def solve(factor: Factor, rhs: Array) -> Array:
    """Solution x of Cx = rhs.

    Parameters
    ----------
    rhs : (size, columns).
    """
    plan = factor.plan
    x = _forward(factor, rhs)
    x[: plan.single] /= factor.values[: plan.single, None]
    return _backward(factor, x, np.empty_like(rhs, dtype=float))


def last_columns(factor: Factor) -> Array:
    """(size, last) columns of the inverse that belong to the unknowns kept to the end: no forward substitution moves their ones."""
    plan = factor.plan
    x = np.zeros((plan.size + 1, plan.last))
    x[np.arange(plan.size - plan.last, plan.size), plan.order[plan.size - plan.last :] - (plan.size - plan.last)] = 1.0
    return _backward(factor, x, np.empty((plan.size, plan.last)))


def _backward(factor: Factor, x: Array, solution: Array) -> Array:
    """Fill in the solution, in the order of the unknowns, from right-hand sides after the forward substitution."""
    plan = factor.plan
    if plan.core:
        x[plan.eliminated : plan.size] = lapack.dpotrs(factor.core, x[plan.eliminated : plan.size], lower=0)[0]
    for front in reversed(plan.fronts):
        backward(factor.values, front, x)
    for batch in reversed(plan.batches):
        own, entries = slice(batch.first, batch.first + batch.count), _block(factor.values, batch)
        if entries.size * x.shape[1] > MANY_PRODUCTS:
            ends = batch.width * np.arange(batch.count + 1)
            x[own] -= sp.csr_matrix((entries.ravel(), batch.neighbours.ravel(), ends), shape=(batch.count, len(x))) @ x
            continue
        x[own] -= np.einsum("nw,nwc->nc", entries, x[batch.neighbours])
    solution[plan.order] = x[: plan.size]
    return solution


def half_solve(factor: Factor, rhs: Array) -> Array:
    """H, (size, columns), so that HᵀH = rhsᵀC⁻¹rhs, for half of what the solution costs; its rows are in the order of elimination."""
    plan = factor.plan
    x = _forward(factor, rhs)[: plan.size]
    x[: plan.single] /= np.sqrt(factor.values[: plan.single, None])
    if plan.core:
        x[plan.eliminated :] = lapack.dtrtrs(factor.core, x[plan.eliminated :], lower=0, trans=1)[0]
    return x


def _forward(factor: Factor, rhs: Array) -> Array:
    """(size + 1, columns) right-hand sides after rounds and fronts, in the order of elimination; the last row is for surplus neighbours."""
    plan = factor.plan
    x = np.zeros((plan.size + 1, rhs.shape[1]))
    x[: plan.size] = rhs[plan.order]
    for batch in plan.batches:
        if len(batch.row_targets):
            mine, entries = x[batch.first : batch.first + batch.count], _block(factor.values, batch)
            if entries.size * x.shape[1] > MANY_PRODUCTS:
                x[batch.row_targets] -= _moving(batch, entries) @ mine
                continue
            moved = (entries[:, :, None] * mine[:, None, :]).reshape(-1, x.shape[1])
            x[batch.row_targets] -= np.add.reduceat(moved[batch.row_take], batch.row_starts, axis=0)
    for front in plan.fronts:
        forward(factor.values, front, x)
    return x


def _moving(batch: Batch, entries: Array) -> sp.csr_matrix:
    """(targets, count) what each unknown of a batch takes off the right-hand sides of its neighbours."""
    ends = np.append(batch.row_starts, len(batch.row_take))
    shape = (len(batch.row_targets), batch.count)
    return sp.csr_matrix((entries.ravel()[batch.row_take], batch.row_take // batch.width, ends), shape=shape)


def inverse_diagonal(factor: Factor, with_last: bool = True) -> Array:
    """Diagonal of the inverse, (size,), by the selected inverse.

    Parameters
    ----------
    with_last : whether the ``last`` unknowns belong to the matrix. If False the inverse is that of the matrix without
        them, and their diagonal is zero.
    """
    plan, inverse = factor.plan, _selected_inverse(factor, with_last)
    diagonal = np.empty(plan.size)
    diagonal[plan.order[: plan.single]] = inverse[: plan.single]
    for front in plan.fronts:
        diagonal[plan.order[front.own]] = np.diag(front.block(inverse))
    diagonal[plan.order[plan.eliminated :]] = np.diag(_core_of(plan, inverse))
    return diagonal


def inverse_entries(factor: Factor) -> Array:
    """Entries of the inverse, (entries,), at the positions given to ``analyse``, by the selected inverse."""
    return _selected_inverse(factor, True)[factor.plan.places]


def ordered_inverse(factor: Factor) -> Array:
    """The whole inverse, (size, size), rows and columns in the order of elimination; of a plan without fronts."""
    plan, size = factor.plan, factor.plan.size
    inverse = np.zeros((size + 1, size))  # the last row is for surplus neighbours
    if plan.core:
        upper = np.triu(lapack.dpotri(np.array(factor.core, order="F"), lower=0, overwrite_c=1)[0])
        inverse[plan.eliminated : size, plan.eliminated :] = upper + np.triu(upper, 1).T
    for batch in reversed(plan.batches):
        end = batch.first + batch.count
        own, entries = slice(batch.first, end), _block(factor.values, batch)
        far = np.zeros((batch.count, size - end))
        for near, weights in zip(batch.neighbours.T, entries.T, strict=True):
            part = inverse[near, end:]
            part *= weights[:, None]
            far -= part
        inverse[own, end:], inverse[end:size, own] = far, far.T
        mutual = np.zeros((batch.count, batch.count))
        for near, weights in zip(batch.neighbours.T, entries.T, strict=True):
            part = inverse[near, own]
            part *= weights[:, None]
            mutual -= part
        mutual[np.diag_indices(batch.count)] += 1 / factor.values[own]
        inverse[own, own] = mutual
    return inverse[:size]


def last_covariance(factor: Factor) -> Array:
    """(last, last) corner of the inverse that belongs to the unknowns kept to the end."""
    split = factor.plan.core - factor.plan.last
    if not factor.plan.last:
        return np.zeros((0, 0))
    corner: Array = np.triu(lapack.dtrtri(np.triu(factor.core[split:, split:]), lower=0)[0])
    return corner @ corner.T


def _selected_inverse(factor: Factor, with_last: bool) -> Array:
    """The inverse in the places of the value buffer."""
    plan = factor.plan
    inverse = np.zeros(plan.length)
    kept = plan.core if with_last else plan.core - plan.last
    if kept:
        core = lapack.dpotri(np.array(factor.core[:kept, :kept], order="F"), lower=0, overwrite_c=1)[0]
        _core_of(plan, inverse)[:kept, :kept] = core.T
    for front in reversed(plan.fronts):
        invert_front(factor.values, inverse, front)
    for batch in reversed(plan.batches):
        entries = _block(factor.values, batch)
        far = -np.matmul(inverse.take(batch.inner, mode="wrap"), entries[:, :, None])[:, :, 0]
        far[batch.neighbours == plan.size] = 0.0
        _block(inverse, batch)[:] = far
        own = 1 / factor.values[batch.first : batch.first + batch.count]
        inverse[batch.first : batch.first + batch.count] = own - np.einsum("nw,nw->n", far, entries)
    return inverse
