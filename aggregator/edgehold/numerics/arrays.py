"""Names for the kinds of arrays: what they hold. How many dimensions they have, their descriptions say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
"""Numbers."""

Ints = npt.NDArray[np.integer[Any]]
"""Positions, counts and codes."""

Bools = npt.NDArray[np.bool_]
"""Masks."""

Texts = npt.NDArray[np.str_]
"""Labels, checked."""

Labels = Sequence[object] | npt.NDArray[Any]
"""Labels as they may be given: anything that has a text."""
