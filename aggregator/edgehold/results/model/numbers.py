"""Numbers as they are published: ten significant digits, so that two machines agree to nine."""

from __future__ import annotations

import json
import math
from typing import TypeVar

PUBLISHED_DIGITS = 10

Figure = TypeVar("Figure")


def published(value: float | None) -> float | None:
    """Round to the published digits; infinities and NaN, which JSON has no word for, become None."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{PUBLISHED_DIGITS}g}")


def ratio(ln_value: float | None) -> float | None:
    """exp of a value on the ln scale, published; None where that is 0, unbounded or missing."""
    if ln_value is None or not math.isfinite(ln_value):
        return None
    try:
        return published(math.exp(ln_value)) or None
    except OverflowError:
        return None


def needed(figure: Figure | None) -> Figure:
    """A figure that is never missing where it is asked for, such as the interval of what was pooled.

    Raises
    ------
    ValueError
        It is missing after all.
    """
    if figure is None:
        raise ValueError("a figure is missing without which nothing can be published here")
    return figure


def readable_json(plain: object) -> str:
    """Plain values as JSON for people and programs to read: numbers as they are, infinities and NaN as null."""
    return json.dumps(_finite(plain), indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: object) -> object:
    if isinstance(value, dict):
        return {name: _finite(inside) for name, inside in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inside) for inside in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
