"""Which random terms runs can hold, judged from the labels alone.

Work is done on levels, not on runs. Up to ``DENSE_LEVELS`` of them every two levels stand in a dense matrix; above, the information is a
mean over simulated responses, from a sparse factor.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import qr
from scipy.sparse import csr_array, csr_matrix, hstack

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Labels, Texts
from edgehold.numerics.indicators import indicator
from edgehold.numerics.known_spreads import Projector
from edgehold.numerics.positive_definite import inverse_of
from edgehold.words import Reason

from .inputs import frozen

# Guesses of the project on the ln scale, from no data: people by a fifth to a quarter, a run by 0.3.
ASSUMED_VARIANCES: Mapping[str, float] = MappingProxyType(
    {
        "sharpener": 0.20**2,
        "tester": 0.25**2,
        "blade": 0.12**2,
        "batch": 0.12**2,
        "submission": 0.10**2,
        "steel × sharpener": 0.10**2,
        "steel × tester": 0.10**2,
        "level × steel": 0.10**2,
        "level × submission": 0.10**2,
        "residual": 0.30**2,
    }
)
DROP_ORDER = ("submission", "level × submission", "level × steel", "steel × sharpener", "steel × tester")
RANK_TOLERANCE = 1e-8  # of a column of unit length, or of its square: a chain of m people still leaves about 1/m
ALIASED = 1e-6  # smallest eigenvalue of the scaled information below which terms are one
EMPTY = 1e-10  # of F times the usual variance squared: a term that tells nothing beside the fixed part; else about its levels
LARGEST_LEVELS = 100_000
DENSE_LEVELS = 2500  # above it a dense matrix of levels takes longer than simulated responses
RESPONSES, AT_ONCE, SEED = 64, 16, 1  # simulated, how many of them at a time, and of what
LARGEST_RATIO = 1e8  # beyond it the mixed-model equations keep fewer than eight digits
WORDS = {
    "steel × tester": Reason("separability.term_steel_tester"),
    "steel × sharpener": Reason("separability.term_steel_sharpener"),
    "submission": Reason("separability.term_submission"),
    "level × steel": Reason("separability.term_level_steel"),
    "level × submission": Reason("separability.term_level_submission"),
    "residual": Reason("separability.term_residual"),
}


@dataclass(frozen=True)
class DroppedTerm:
    """A random term that the data cannot hold.

    Attributes
    ----------
    name : the term.
    aliased_with : the terms it cannot be told from; empty when it has nothing to tell beside the fixed part.
    reason : the same in words.
    """

    name: str
    aliased_with: tuple[str, ...]
    reason: str


@dataclass(frozen=True, eq=False)
class TermsHeld:
    """Which random terms the data can hold, and how well, if their variances were those assumed.

    Attributes
    ----------
    held : names kept, in the order given, without the residual.
    dropped : the others, in the order in which they were dropped.
    holds : by kept name (and ``"residual"``) what its variance then stands for.
    names : (m,) kept names and ``"residual"``; the order of ``information``.
    information : (m, m) expected REML information F_ij = ½ tr(PZᵢZᵢᵀPZⱼZⱼᵀ) on the variance scale.
    cv : by name, coefficient of variation of the variance's estimate, √(F⁻¹)ₖₖ/σ²ₖ.
    smallest_eigenvalue : of the information of all terms asked for, scaled to unit diagonal.
    variances : those assumed.
    """

    held: tuple[str, ...]
    dropped: tuple[DroppedTerm, ...]
    holds: Mapping[str, str]
    names: tuple[str, ...]
    information: Array
    cv: Mapping[str, float]
    smallest_eigenvalue: float
    variances: Mapping[str, float]


def terms_held(groups: Mapping[str, Labels], *, X: ArrayLike | None = None, variances: Mapping[str, float] | None = None) -> TermsHeld:
    """Find which random terms the data can hold beside the fixed part, dropping what is aliased.

    Aliased terms are dropped in the order submission, steel × sharpener, steel × tester, then the last given first; only
    a term that takes part in the aliasing is dropped.

    Parameters
    ----------
    groups : by random term, one label a run.
    X : (n, p) fixed part, of any rank; a column of ones when None.
    variances : assumed variances by term and ``"residual"``; what is not given is taken from ``ASSUMED_VARIANCES``.

    Returns
    -------
    TermsHeld

    Raises
    ------
    InputError
        If lengths differ, a label is missing, a variance is not positive, too large or not known, there are more than
        ``LARGEST_LEVELS`` levels, or ``X`` has another number of rows or is not finite.

    Notes
    -----
    F is the expected information of the restricted likelihood (Searle, Casella & McCulloch 1992, Variance Components,
    6.6). Whether terms are aliased does not depend on the variances assumed, as long as they are positive.
    """
    columns = {name: checked_column(name, values) for name, values in groups.items()}
    if not columns:
        raise InputError("groups must name at least one random term; got none")
    check_lengths(columns)
    assumed = checked_variances(columns, variances)
    basis = _fixed_basis(X, len(next(iter(columns.values()))))
    return _reduced(columns, basis, assumed)


def checked_variances(names: Collection[str], variances: Mapping[str, float] | None) -> Mapping[str, float]:
    """The assumed variance of each named term and of the residual: the caller's where given, else the project's."""
    given = dict(variances or {})
    lacking = [name for name in names if name not in given and name not in ASSUMED_VARIANCES]
    if lacking:
        raise InputError(f"an assumed variance is needed for {', '.join(lacking)}; got {sorted(given)}")
    assumed = {name: float(given.get(name, ASSUMED_VARIANCES.get(name, 0.0))) for name in (*names, "residual")}
    for name, value in assumed.items():
        if not (np.isfinite(value) and value > 0):
            raise InputError(f"the assumed variance of {name} must be positive and finite; got {value!r}")
        if value > LARGEST_RATIO * assumed["residual"]:
            raise InputError(f"the assumed variance of {name} is more than {LARGEST_RATIO:g} times that of a run; got {value!r}")
    return MappingProxyType(assumed)


def checked_column(name: str, values: Labels) -> Texts:
    given = np.asarray(values, dtype=object)
    if given.ndim != 1 or len(given) == 0:
        raise InputError(f"{name} must be a sequence of labels, one a run; got shape {given.shape}")
    lost = [i for i, value in enumerate(given) if value is None or value != value]
    if lost:
        raise InputError(f"{name} needs a label at every run; got none at run {lost[0]}: give unknown levels a label of their own")
    return np.array([str(value) for value in given])


def check_lengths(columns: Mapping[str, Texts]) -> None:
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        raise InputError(f"every factor needs one label a run; got lengths {lengths}")
    levels = sum(len(np.unique(column)) for column in columns.values())
    if levels > LARGEST_LEVELS:
        raise InputError(f"at most {LARGEST_LEVELS} levels over all factors; got {levels}")


def _fixed_basis(X: ArrayLike | None, n: int) -> Array:
    """Orthonormal basis of the fixed part."""
    X = np.ones((n, 1)) if X is None else np.asarray(X, dtype=float)
    if X.ndim != 2 or len(X) != n or not np.isfinite(X).all():
        raise InputError(f"X must be finite with one row a run ({n}); got shape {X.shape}")
    lengths = np.linalg.norm(X, axis=0)
    X = X[:, lengths > 0] / lengths[lengths > 0]
    q, r, _ = qr(X, mode="economic", pivoting=True)
    basis: Array = q[:, np.abs(np.diag(r)) > RANK_TOLERANCE]
    return basis


def _reduced(columns: dict[str, Texts], basis: Array, assumed: Mapping[str, float]) -> TermsHeld:
    """Drop terms one by one until none is aliased."""
    names, information = [*columns, "residual"], _expected_information(columns, basis, assumed)
    sizes, usual = np.array([assumed[name] for name in names]), _usual(columns, assumed)
    dropped: list[DroppedTerm] = []
    at: int | None
    found: tuple[str, ...]
    smallest = None
    while True:
        strength = np.diag(information) * usual**2
        if (strength[:-1] <= EMPTY).any():
            at, found, lowest = _empty_term(names, strength), (), 0.0
        else:
            at, found, lowest = _aliased_term(names, information)
        smallest = lowest if smallest is None else smallest
        if at is None:
            break
        dropped.append(DroppedTerm(names[at], found, _why_dropped(names[at], found)))
        information, sizes, usual = np.delete(np.delete(information, at, 0), at, 1), np.delete(sizes, at), np.delete(usual, at)
        names.pop(at)
    return TermsHeld(
        held=tuple(names[:-1]),
        dropped=tuple(dropped),
        holds=MappingProxyType({name: _what_it_holds(name, dropped) for name in names}),
        names=tuple(names),
        information=frozen(information),
        cv=MappingProxyType(dict(zip(names, _cv(information, sizes), strict=True))),
        smallest_eigenvalue=smallest,
        variances=assumed,
    )


def _usual(columns: Mapping[str, Texts], assumed: Mapping[str, float]) -> Array:
    """Variance of the mean of a level, by term and for the residual: F times its square is about the number of levels."""
    residual = assumed["residual"]
    levels = [len(np.unique(column)) / len(column) for column in columns.values()]
    return np.array([assumed[name] + residual * share for name, share in zip(columns, levels, strict=True)] + [residual])


def _cv(information: Array, sizes: Array) -> list[float]:
    """√(F⁻¹)ₖₖ/σ²ₖ; infinite where nothing at all is left to tell."""
    if information[-1, -1] * sizes[-1] ** 2 <= EMPTY:
        return [float("inf")] * len(sizes)
    return [float(value) for value in np.sqrt(np.diag(np.linalg.inv(information))) / sizes]


def _expected_information(columns: Mapping[str, Texts], basis: Array, assumed: Mapping[str, float]) -> Array:
    """F of the terms and the residual, through the mixed-model equations: σ²P = I − BM⁻¹Bᵀ with B = [X, Z] and M = BᵀB + D,
    D = σ²Λ⁻¹ (Henderson), so that σ²ZᵀPZ = D − DM⁻¹D, and σ²PP = P − Σσ²ₖPZₖZₖᵀP."""
    z = [csr_array(indicator(np.unique(column, return_inverse=True)[1])) for column in columns.values()]
    widths = [block.shape[1] for block in z]
    if sum(widths) > DENSE_LEVELS:
        return _simulated_information(z, basis, np.array([assumed[name] for name in (*columns, "residual")]))
    residual = assumed["residual"]
    sizes = np.array([assumed[name] for name in columns])
    b = hstack([csr_array(basis), *z], format="csr")
    p, ridge = basis.shape[1], np.repeat(residual / sizes, widths)
    m = (b.T @ b).toarray(order="F")
    m[np.diag_indices(len(m))] += np.concatenate([np.zeros(p), ridge])
    projected = (np.diag(ridge) - ridge[:, None] * inverse_of(m)[p:, p:] * ridge) / residual  # ZᵀPZ
    starts = np.concatenate([[0], np.cumsum(widths)[:-1]])
    squares = np.add.reduceat(np.add.reduceat(projected**2, starts, axis=0), starts, axis=1)
    traces = np.add.reduceat(np.diag(projected), starts)
    with_residual = (traces - squares @ sizes) / residual
    trace_p = (basis.shape[0] - p - sizes @ traces) / residual
    own = (trace_p - sizes @ with_residual) / residual
    return 0.5 * np.block([[squares, with_residual[:, None]], [with_residual[None, :], np.array([[own]])]])


def _simulated_information(z: Sequence[csr_array], basis: Array, sizes: Array) -> Array:
    """F as a mean over responses y simulated with the variances assumed: ½(ZᵢZᵢᵀPy)ᵀP(ZⱼZⱼᵀPy), as Py has the covariance P.

    The average information of Gilmour, Thompson & Cullis (1995, Biometrics 51:1440–1450), whose expectation F is. Terms that are aliased
    are so in every one of its summands, PΣcₖZₖZₖᵀP being 0.
    """
    rng, n = np.random.default_rng(SEED), len(basis)
    scaled = hstack([root * block for root, block in zip(np.sqrt(sizes[:-1]), z, strict=True)], format="csr")
    project = Projector(basis, csr_matrix(scaled), np.full(n, sizes[-1])).applied
    found = np.zeros((len(sizes), len(sizes)))
    for _ in range(RESPONSES // AT_ONCE):
        effects, errors = rng.choice([-1.0, 1.0], (scaled.shape[1], AT_ONCE)), rng.choice([-1.0, 1.0], (n, AT_ONCE))
        projected = project(scaled @ effects + np.sqrt(sizes[-1]) * errors)
        moved = np.stack([*(block @ (block.T @ projected) for block in z), projected])
        turned = project(moved.transpose(1, 0, 2).reshape(n, -1)).reshape(n, len(sizes), AT_ONCE)
        found += np.einsum("inm,njm->ij", moved, turned)
    information: Array = (found + found.T) / (4 * RESPONSES)
    return information


def _first_to_go(names: list[str], candidates: list[int]) -> int:
    """By the drop order, then the last given."""
    rank = {name: i for i, name in enumerate(DROP_ORDER)}
    return min(candidates, key=lambda i: (rank.get(names[i], len(rank)), -i))


def _empty_term(names: list[str], strength: Array) -> int:
    return _first_to_go(names, [i for i in range(len(names) - 1) if strength[i] <= EMPTY])


def _aliased_term(names: list[str], information: Array) -> tuple[int | None, tuple[str, ...], float]:
    """The term to drop, what it is aliased with, and the smallest eigenvalue of the scaled information."""
    if len(names) == 1:
        return None, (), 1.0
    scale = np.sqrt(np.diag(information))
    values, vectors = np.linalg.eigh(information / np.outer(scale, scale))
    null = vectors[:, values < ALIASED]
    if null.shape[1] == 0:
        return None, (), float(values[0])
    projector = null @ null.T
    at = _first_to_go(names, [i for i in range(len(names) - 1) if projector[i, i] > 1e-4])
    others = tuple(names[i] for i in range(len(names)) if i != at and abs(projector[at, i]) > 1e-4)
    return at, others, float(values[0])


def _why_dropped(name: str, aliased_with: tuple[str, ...]) -> str:
    if not aliased_with:
        return Reason("separability.term_empty", term=name)
    return Reason("separability.term_aliased", term=name, others=" and ".join(aliased_with))


def stands_for(name: str, dropped: Sequence[DroppedTerm]) -> tuple[str, ...]:
    """A kept term with all that was dropped because of it, directly or through a term dropped later; itself first."""
    taken, found = [name], [name]
    while found:
        found = [term.name for term in dropped if term.name not in taken and set(term.aliased_with) & set(taken)]
        taken += found
    return tuple(taken)


def _what_it_holds(name: str, dropped: Sequence[DroppedTerm]) -> str:
    """What the variance of a kept term stands for."""
    return ", or ".join(WORDS.get(term, term) for term in stands_for(name, dropped))
