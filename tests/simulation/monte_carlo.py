"""How sure a simulated coverage is."""

from __future__ import annotations

import math

ONE_SIDED_99 = 2.3263478740408408  # 99 % point of the standard normal distribution


def lower_bound(coverage: float, n: int) -> float:
    """Lower one-sided 99 % limit of a proportion (Wilson 1927, J. Am. Stat. Assoc. 22:209-212)."""
    z2 = ONE_SIDED_99**2
    middle = coverage + z2 / (2 * n)
    spread = ONE_SIDED_99 * math.sqrt(coverage * (1 - coverage) / n + z2 / (4 * n * n))
    return (middle - spread) / (1 + z2 / n)
