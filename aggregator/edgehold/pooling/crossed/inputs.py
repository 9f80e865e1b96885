"""What is asked of the input of ``crossed``, and its rows made ready."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.mixed import System
from edgehold.numerics.whitening import Whitening, whitening
from edgehold.words import Reason

RESIDUAL = "residual"
CRITERIA = ("reml", "ml")
SMALLEST_VARIANCE, LARGEST_VARIANCE, LARGEST_VALUE = 1e-70, 1e70, 1e70  # squares and inverses must stay finite numbers
EXACT = 1e-13  # residual spread, relative to the responses, that is rounding
ASYMMETRY = 1e-10  # of V, relative to its largest entry


@dataclass(frozen=True, eq=False)
class Term:
    """One random term: its name, the labels of its levels and its (n, q) matrix."""

    name: str
    levels: tuple[Hashable, ...]
    matrix: sp.csr_matrix


@dataclass(frozen=True, eq=False)
class Rows:
    """Checked input; ``nothing`` says why there is nothing to fit, and is empty otherwise."""

    y: Array
    X: Array | sp.csr_matrix
    terms: tuple[Term, ...]
    known: Whitening | None
    restricted: bool
    criterion: str
    level: float
    nothing: str

    @property
    def n(self) -> int:
        """Number of rows."""
        return len(self.y)


def checked_rows(
    y: npt.ArrayLike,
    X: npt.ArrayLike | sp.spmatrix,
    groups: Mapping[str, object],
    V: npt.ArrayLike | sp.spmatrix | None,
    criterion: str,
    level: float,
) -> Rows:
    """Check every argument of ``crossed``; raise InputError with the value got and the value wanted."""
    if criterion not in CRITERIA:
        raise InputError(f"criterion must be one of {', '.join(CRITERIA)}; got {criterion!r}")
    if not 0 < level < 1:
        raise InputError(f"level must lie strictly between 0 and 1; got {level!r}")
    y = _finite("y", np.asarray(y, dtype=float))
    if y.ndim != 1:
        raise InputError(f"y must have one dimension; got shape {y.shape}")
    X = _checked_design(X, len(y))
    if not isinstance(groups, Mapping):
        raise InputError(f"groups must be a mapping from names to labels; got {type(groups).__name__}")
    if V is None and RESIDUAL in groups:
        raise InputError(f"{RESIDUAL!r} is the name of the variance estimated when V is None; got a term of that name, give it another")
    terms = tuple(_term(str(name), value, len(y)) for name, value in groups.items()) if len(y) else ()
    known = None if V is None or not len(y) else _known(V, len(y))
    if len(y) == 0 and V is not None:
        known = Whitening(sp.csr_matrix((0, 0)), 0.0)
    nothing = "" if len(y) else Reason("crossed.no_rows")
    return Rows(y, X, terms, known, criterion == "reml", criterion, float(level), nothing)


def exactly_fitted(rows: Rows, system: System) -> bool:
    """Whether nothing but rounding is left of the responses where a residual variance should be estimated."""
    largest = float(np.abs(rows.y).max(initial=0.0))
    return rows.known is None and system.unit <= EXACT * largest


def _finite(name: str, values: Array) -> Array:
    if not np.isfinite(values).all() or np.abs(values).max(initial=0.0) > LARGEST_VALUE:
        raise NumbersError(f"{name} must hold finite numbers below {LARGEST_VALUE:g}; got {values[~(np.abs(values) <= LARGEST_VALUE)][:3]}")
    return values


def _checked_design(X: npt.ArrayLike | sp.spmatrix, n: int) -> Array | sp.csr_matrix:
    if sp.issparse(X):
        X = sp.csr_matrix(X, dtype=float)
        _finite("X", X.data)
    else:
        X = _finite("X", np.asarray(X, dtype=float))
    if X.ndim != 2 or X.shape[0] != n:
        raise InputError(f"X must have {n} rows, as many as y, and two dimensions; got shape {X.shape}")
    return X


def _term(name: str, value: object, n: int) -> Term:
    if sp.issparse(value):
        return _matrix_term(name, sp.csr_matrix(value, dtype=float), n)
    labels, weights = value if isinstance(value, tuple) and len(value) == 2 else (value, None)
    labels = np.asarray(labels)
    if labels.shape != (n,):
        raise InputError(f"groups[{name!r}] must hold {n} labels, as many as y; got shape {labels.shape}")
    if weights is not None:
        weights = _finite(f"weights of groups[{name!r}]", np.asarray(weights, dtype=float))
        if weights.shape != (n,):
            raise InputError(f"weights of groups[{name!r}] must hold {n} numbers, as many as y; got shape {weights.shape}")
    codes, levels = _factorised(labels)
    if (codes < 0).any():
        raise InputError(f"groups[{name!r}] needs a label in every row; got none in row {int(np.flatnonzero(codes < 0)[0])}")
    matrix = sp.csr_matrix((np.ones(n) if weights is None else weights, codes, np.arange(n + 1)), shape=(n, len(levels)))
    found = tuple(levels.tolist())
    return Term(name, found, matrix) if weights is None else _without_empty(name, found, matrix)


def _factorised(labels: npt.NDArray[np.generic]) -> tuple[Ints, npt.NDArray[np.generic]]:
    """Codes and sorted levels; in order of appearance where labels of different kinds cannot be sorted."""
    if labels.dtype.kind in "iu":
        whole, numbers = np.unique(labels, return_inverse=True)
        return numbers.astype(np.int64), whole
    found: dict[object, int] = {}
    codes = np.fromiter((_number(found, label) for label in labels.tolist()), dtype=np.int64, count=len(labels))
    levels = np.array(list(found), dtype=labels.dtype)
    try:
        order = np.argsort(levels, kind="stable")
    except TypeError:
        return codes, levels
    place = np.empty(len(levels) + 1, dtype=np.int64)
    place[order], place[-1] = np.arange(len(levels)), -1
    return place[codes], levels[order]


def _number(found: dict[object, int], label: object) -> int:
    """The number of a label in order of appearance; −1 for None and for what is not a number."""
    return -1 if label is None or label != label else found.setdefault(label, len(found))


def _matrix_term(name: str, matrix: sp.csr_matrix, n: int) -> Term:
    _finite(f"groups[{name!r}]", matrix.data)
    if matrix.shape[0] != n:
        raise InputError(f"groups[{name!r}] must have {n} rows, as many as y; got shape {matrix.shape}")
    return _without_empty(name, tuple(range(matrix.shape[1])), matrix)


def _without_empty(name: str, levels: tuple[Hashable, ...], matrix: sp.csr_matrix) -> Term:
    occupied = np.asarray(abs(matrix).sum(axis=0)).ravel() > 0
    if not occupied.any():
        raise InputError(f"groups[{name!r}] must enter at least one row; got zero for every weight")
    if occupied.all():
        return Term(name, levels, matrix)
    return Term(name, tuple(level for level, there in zip(levels, occupied, strict=True) if there), matrix[:, np.flatnonzero(occupied)])


def _known(V: npt.ArrayLike | sp.spmatrix, n: int) -> Whitening:
    if sp.issparse(V):
        V = sp.csr_matrix(V, dtype=float)
        entries: Array = V.data
    else:
        V = entries = np.asarray(V, dtype=float)
    if V.shape not in ((n,), (n, n)):
        raise InputError(f"V must hold {n} variances or be an ({n}, {n}) matrix; got shape {V.shape}")
    _finite("V", entries)
    diagonal = V if V.ndim == 1 else V.diagonal()
    if not ((diagonal >= SMALLEST_VARIANCE) & (diagonal <= LARGEST_VARIANCE)).all():
        raise NumbersError(
            f"variances in V must lie between {SMALLEST_VARIANCE:g} and {LARGEST_VARIANCE:g}; got {diagonal.min()!r} to {diagonal.max()!r}"
        )
    if V.ndim == 2 and abs(V - V.T).max() > ASYMMETRY * diagonal.max():
        raise InputError(f"V must be symmetric; got entries that differ by {abs(V - V.T).max():g} from their mirror images")
    root = whitening(V)
    if root is None:
        raise NumbersError("V must be positive definite; got one with a block that is not")
    return root
