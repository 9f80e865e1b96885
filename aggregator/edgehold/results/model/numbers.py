"""Numbers as they are published: ten significant digits, so that two machines agree to nine."""

from __future__ import annotations

import math

PUBLISHED_DIGITS = 10


def published(value: float | None) -> float | None:
    """Round to the published digits; infinities and NaN, which JSON has no word for, become None."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{PUBLISHED_DIGITS}g}")


def ratio(ln_value: float | None) -> float | None:
    """exp of a value on the ln scale, published; None where that is 0, unbounded or missing."""
    if value_missing(ln_value):
        return None
    try:
        return published(math.exp(ln_value)) or None
    except OverflowError:
        return None


def value_missing(value: float | None) -> bool:
    """Whether there is no finite number."""
    return value is None or not math.isfinite(value)
