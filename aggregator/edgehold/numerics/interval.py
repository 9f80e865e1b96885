"""The one interval type of the project."""

from __future__ import annotations

import math
from dataclasses import dataclass

from edgehold.errors import NumericalError


@dataclass(frozen=True)
class Interval:
    """An interval with its level and the method that made it.

    Attributes
    ----------
    low, high : limits, ``low <= high``. An open side is ``-inf`` or ``inf``; NaN is refused, because an interval that
        is not available is ``None`` with a reason, never an interval of NaN.
    level : coverage the method aims at, strictly between 0 and 1, such as 0.95.
    method : short name of the method, such as ``"q-profile"``.

    Raises
    ------
    NumericalError
        (a ValueError) If a limit is NaN or the limits are crossed.
    ValueError
        If the level is outside (0, 1).
    """

    low: float
    high: float
    level: float
    method: str

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or self.low > self.high:
            raise NumericalError(f"limits must be numbers with low <= high; got low {self.low!r}, high {self.high!r}")
        if not 0 < self.level < 1:
            raise ValueError(f"level must lie strictly between 0 and 1; got {self.level!r}")

    @property
    def half_width(self) -> float:
        """Half the distance of its limits; infinite where a side is open."""
        return (self.high - self.low) / 2
