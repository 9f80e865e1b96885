"""One fit at a time: where its numbers fail, the result is "not fitted" with the reason, and everything else goes on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import NotSettledError
from edgehold.words import Reason

Result = TypeVar("Result")

SINGULAR, NOT_FINITE, NOT_SETTLED = "numerics.singular", "numerics.not_finite", "numerics.not_settled"
LARGEST = 700.0  # on the ln scale: e to more than this is no number any more
SCIPY_NOT_FINITE = "infs or NaNs"  # all that scipy says of an array that is not finite, in a plain ValueError


class NotFitted(Reason):
    """The reason why a fit has no figures although the runs are enough for it: its numbers failed.

    It stands wherever a reason stands, and is known from all others by its class, so that what was not fitted can be listed.
    """

    __slots__ = ()


def attempt(
    fit: Callable[[], Result],
    otherwise: Callable[[NotFitted], Result],
    numbers: Callable[[Result], Iterable[ArrayLike | None]] | None = None,
) -> Result:
    """What a fit gives; where its numbers fail, what the stage says instead.

    A singular matrix, a figure that is not finite and a search that did not settle are failures of numbers. A caller's
    mistake (a TypeError, a KeyError, an InputError) is raised as ever.

    Parameters
    ----------
    fit : makes the result.
    otherwise : makes the stage's own "not fitted" result from the reason.
    numbers : the figures of a result that must be finite, numbers or arrays on the ln scale; None among them is passed over.
    """
    try:
        found = fit()
        if numbers is None or all_tellable(numbers(found)):
            return found
        why = NOT_FINITE
    except np.linalg.LinAlgError:
        why = SINGULAR
    except NotSettledError:
        why = NOT_SETTLED
    except ArithmeticError:
        why = NOT_FINITE
    except ValueError as failure:  # not one of ours: those are caught above or are a caller's mistake
        if SCIPY_NOT_FINITE not in str(failure):
            raise
        why = NOT_FINITE
    return otherwise(NotFitted(why))


def all_tellable(numbers: Iterable[ArrayLike | None]) -> bool:
    """Whether e to every number and array is a number; None is passed over."""
    return all(abs(one) <= LARGEST if isinstance(one, float) else (np.abs(one) <= LARGEST).all() for one in numbers if one is not None)


def open_limits(*limits: ArrayLike | None) -> tuple[ArrayLike, ...]:
    """Numbers and arrays of which some may be infinite, for ``numbers``: only what is no number at all fails."""
    return tuple((one if math.isnan(one) else 0.0) if isinstance(one, float) else np.clip(one, -1, 1) for one in limits if one is not None)
