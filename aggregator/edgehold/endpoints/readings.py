"""One reading: its keenness, what censors it, and how well it was read."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array

BELOW, ABOVE = "below", "above"


@dataclass(frozen=True)
class Keenness:
    """Signed mean ln of the repeats of one reading; larger is sharper.

    Attributes
    ----------
    low, high : keenness lies between them; equal when every repeat was on the scale.
    bound : the figure that is drawn: the value, or the finite bound of a censored one; nan where there is none.
    n : number of repeats.
    limit : None, ``below`` or ``above``: what a repeat was, on the scale of the reading.
    mean : arithmetic mean of the repeats, unsigned, in the reading's canonical unit.
    """

    low: float
    high: float
    bound: float
    n: int
    limit: str | None
    mean: float


_SIGNS: dict[str | None, int] = {"higher": 1, "lower": -1}


def sign(keener: str | None) -> int:
    """+1 where a higher reading is keener, −1 where a lower one is; a rule for values always says which."""
    return _SIGNS[keener]


def keenness(
    values: Sequence[float] | Array,
    limits: Iterable[str | None],
    keener: str | None,
    resolution: float | None,
    scale_end: float | None,
) -> Keenness:
    """k = s · mean ln x over the repeats of one reading.

    A repeat of 0, below the resolution, or over the end of the scale is known only to lie on that side of it: its limit
    takes its place, and k becomes a bound. Where no limit is known (a 0 on a scale of unknown resolution) nothing is
    known on that side. ln 0 is never taken.

    Parameters
    ----------
    values : (m,) repeats in the canonical unit, m ≥ 1.
    limits : per repeat None, ``below`` or ``above``, as marked when read.
    keener : ``higher`` or ``lower``.
    resolution, scale_end : smallest step and largest value, in the same unit; None where not known.
    """
    read = [float(x) for x in values]
    marks = [_mark(x, limit, resolution, scale_end) for x, limit in zip(read, limits, strict=True)]
    limit = next((m for m in marks if m is not None), None)
    lowest = _mean([_log_limit(x, m, BELOW, resolution, scale_end) for x, m in zip(read, marks, strict=True)])
    exact = limit is None  # then both ends are one
    highest = lowest if exact else _mean([_log_limit(x, m, ABOVE, resolution, scale_end) for x, m in zip(read, marks, strict=True)])
    low, high = sorted((sign(keener) * lowest, sign(keener) * highest))
    bound = next((k for k in (low, high) if math.isfinite(k)), math.nan)
    return Keenness(low, high, bound, len(read), limit, _mean(read))


def whole(values: Iterable[float], limits: Iterable[str | None], resolution: float | None, scale_end: float | None) -> bool:
    """Whether every repeat of a reading was on the scale; parameters as for `keenness`."""
    return all(_mark(x, limit, resolution, scale_end) is None for x, limit in zip(values, limits, strict=True))


def _mean(numbers: list[float]) -> float:
    """The mean to the bit as numpy finds it, which takes ten times as long for two or three: it adds fewer than eight one by one."""
    if len(numbers) >= 8:
        return float(np.mean(numbers))
    total = numbers[0]
    for number in numbers[1:]:
        total += number
    return total / len(numbers)


def _mark(x: float, limit: str | None, resolution: float | None, scale_end: float | None) -> str | None:
    """The side on which a repeat is censored, as marked or as it must be."""
    if limit is not None:
        return limit
    if x <= 0 or (resolution is not None and x < resolution):
        return BELOW
    return ABOVE if scale_end is not None and x > scale_end else None


def _log_limit(x: float, mark: str | None, side: str, resolution: float | None, scale_end: float | None) -> float:
    """Smallest (side below) or largest (side above) value that ln of a repeat can have."""
    if mark is None:
        return math.log(x)
    open_end = -math.inf if side == BELOW else math.inf
    if mark == side:
        return open_end
    # A written limit counts where the instrument was worse than the protocol asks.
    known = [edge for edge in (x, resolution if mark == BELOW else scale_end) if edge]
    if not known:
        return open_end
    return math.log(max(known) if mark == BELOW else min(known))


def pooled_variance(series: Iterable[Sequence[float] | Array]) -> float:
    """Pooled variance of ln x within readings, s²_read; nan where no reading has two repeats.

    A run's own two or three repeats say next to nothing about how well it was read; all readings of the protocol do.

    Parameters
    ----------
    series : per reading its repeats, all positive and on the scale.
    """
    logs = [np.log(np.asarray(values, dtype=float)) for values in series if len(values) > 1]
    df = sum(len(x) - 1 for x in logs)
    return float(sum(((x - x.mean()) ** 2).sum() for x in logs) / df) if df else float("nan")


def reading_se(s2_read: float, n: int, mean: float, resolution: float | None) -> float:
    """Standard error of a keenness from reading: se² = max(s²_read/m, δ²/(12 x̄²)).

    The floor is the variance of rounding to the step δ, δ²/12 (a rectangular distribution; JCGM 100:2008, 4.3.7 and
    F.2.2.1), carried to the ln scale: equal repeats do not make a reading exact.

    Parameters
    ----------
    s2_read : pooled variance of ln x; nan where not known.
    n, mean : number of repeats m and their mean x̄ in the unit of ``resolution``.
    resolution : δ; None where not known.

    Returns
    -------
    Standard error on the ln scale; nan where neither part is known.
    """
    spread = s2_read / n
    floor = resolution**2 / (12 * mean**2) if resolution is not None and mean > 0 else float("nan")
    return float(np.sqrt(np.fmax(spread, floor)))
