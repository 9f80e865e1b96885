"""What a caller of this stage's methods may pass, checked before any arithmetic; and arrays that nobody can change."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Bools
from edgehold.numerics.estimability import nearly_dependent

Kind = TypeVar("Kind", bound=np.generic)

# Cubes of weights and squares of residuals must stay finite numbers; ln ratios are nowhere near these bounds.
SMALLEST_VARIANCE, LARGEST_VARIANCE, LARGEST_EFFECT = 1e-70, 1e70, 1e70


def checked_studies(y: npt.ArrayLike, v: npt.ArrayLike, X: npt.ArrayLike | None) -> tuple[Array, Array, Array]:
    """Estimates (k,), their variances (k,) and a design (k, p) of full column rank, as float arrays.

    Raises
    ------
    InputError
        If lengths differ, a value is not finite or out of range, or X lacks full column rank, comes too close to that or has more
        columns than rows.
    """
    y, v = np.asarray(y, dtype=float), np.asarray(v, dtype=float)
    if y.ndim != 1 or v.shape != y.shape or len(y) == 0:
        raise InputError(f"y and v must be vectors of the same length, at least 1; got shapes {y.shape} and {v.shape}")
    X = np.ones((len(y), 1)) if X is None else np.asarray(X, dtype=float)
    if X.ndim != 2 or len(X) != len(y) or not 1 <= X.shape[1] <= len(y):
        raise InputError(f"X must have {len(y)} rows and 1 to {len(y)} columns; got shape {X.shape}")
    check_estimates(y)
    check_variances("v", v)
    check_each("X", X, np.isfinite(X), "finite numbers")
    rank = np.linalg.matrix_rank(X)
    if rank < X.shape[1]:
        raise InputError(f"X must have full column rank {X.shape[1]}; got rank {rank}")
    nearly = nearly_dependent(X)
    if nearly is not None:
        raise InputError(f"no column of X may be nearly a combination of the others; got one in column {nearly} (counted from 0)")
    return y, v, X


def check_estimates(y: Array) -> None:
    """Refuse estimates that are not finite or too large to be squared."""
    check_each("y", y, np.abs(y) <= LARGEST_EFFECT, f"numbers no larger than {LARGEST_EFFECT:g}")


def check_variances(name: str, v: Array) -> None:
    """Refuse variances that are not positive or whose powers leave the range of floating-point numbers."""
    in_range = (v >= SMALLEST_VARIANCE) & (v <= LARGEST_VARIANCE)
    check_each(name, v, in_range, f"positive variances, {SMALLEST_VARIANCE:g} to {LARGEST_VARIANCE:g}")


def check_each(name: str, values: Array, good: Bools, wanted: str) -> None:
    """Refuse the first value that is not good, naming its place and what was wanted."""
    if not good.all():
        place = tuple(int(i) for i in np.argwhere(~good)[0])
        raise NumbersError(f"{name} must be {wanted}; got {values[place]} at {list(place)}")


def check_level(level: float) -> None:
    """Refuse a level of confidence outside (0, 1)."""
    if not 0 < level < 1:
        raise InputError(f"level must lie strictly between 0 and 1; got {level!r}")


def frozen(array: npt.NDArray[Kind]) -> npt.NDArray[Kind]:
    """A copy of an array that cannot be written to."""
    copy = np.array(array)
    copy.setflags(write=False)
    return copy
