"""Two runs that share too many readings.

Two runs read independently agree in a value by chance. With repeats that spread by σ (ln scale), a value v, and steps of s, the chance that
another one falls on the same step is at most s/(v σ √(4π)), whatever the two edges are: the density of a normal difference of SD v σ √2 is
nowhere higher. That many of n agree is then no more likely than a binomial with the mean of those chances (Hoeffding 1956, Ann. Math.
Statist. 27:713-721). A common shift or ratio is first read off one pair of values, so that it costs one agreement and n tries.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgehold.numerics.distributions import binom_sf

from .readings import Array, ReadRun

KINDS = ("equal", "shifted", "ratio")
FEWEST = 8  # values that two runs must have at the same places
SLACK = 2.0  # testers read more alike than the pool by up to this factor: chances are raised by it


@dataclass(frozen=True)
class Copy:
    """Two runs with more agreements than chance explains.

    Attributes
    ----------
    run, other : ids of the two.
    whose : the submission of the other.
    kind : ``equal``, ``shifted`` by one amount, or in one ``ratio``.
    agree, of : values that agree, and values at the same places.
    p : an upper bound of the chance of so many, over all that was compared.
    """

    run: str
    other: str
    whose: str
    kind: str
    agree: int
    of: int
    p: float


@dataclass(frozen=True)
class Table:
    """Runs of one pool, a row each and a column for each place: work and repeat.

    Attributes
    ----------
    whose, runs : (R,) submission and run.
    places : work and repeat of each column.
    values : (R, C) NaN where nothing was read.
    steps : (R,) of their files.
    """

    whose: tuple[str, ...]
    runs: tuple[ReadRun, ...]
    places: dict[tuple[float, float], int]
    values: Array
    steps: Array


def table(runs: Iterable[tuple[str, ReadRun]]) -> Table:
    """Runs of one pool, each with the id of its submission."""
    whose, rows = zip(*runs, strict=True)
    places = {place: n for n, place in enumerate(sorted({place for run in rows for place in _places(run)}))}
    values = np.full((len(rows), len(places)), np.nan)
    for n, run in enumerate(rows):
        values[n, [places[place] for place in _places(run)]] = run.value
    return Table(whose, rows, places, values, np.array([run.step for run in rows]))


def _places(run: ReadRun) -> list[tuple[float, float]]:
    return list(zip(run.work.tolist(), run.repeat.tolist(), strict=True))


def likeliest(of: Table, row: int, others: npt.NDArray[np.bool_], spread: float) -> Copy | None:
    """The least likely agreement of a run with any of some others; None where none has enough values in common.

    Parameters
    ----------
    row : which run.
    others : (R,) with which it is compared.
    spread : SD of the repeats of one reading, ln scale.
    """
    mine = ~np.isnan(of.values[row])
    a, step = of.values[row, mine], np.maximum(of.steps, of.steps[row])
    both = ~np.isnan(of.values[:, mine])
    usable = np.flatnonzero(others & (both.sum(axis=1) >= FEWEST) & (of.steps > 0) & (of.steps[row] > 0))
    if not len(usable) or spread <= 0:
        return None
    b, step, both = of.values[np.ix_(usable, np.flatnonzero(mine))], step[usable, None], both[usable]
    count = both.sum(axis=1)
    chances = np.minimum(1.0, SLACK * step / (a * spread * math.sqrt(4 * math.pi)))
    chance = np.where(both, chances, 0).sum(axis=1) / count
    near, shifts, ratios = 0.51 * step, a - b, a / b  # half a step, and rounding of the arithmetic
    with np.errstate(invalid="ignore"):
        equal = (np.abs(shifts) < near).sum(axis=1)
        columns = range(len(a))
        shifted = np.max([(np.abs(shifts - shifts[:, [c]]) < near).sum(axis=1) for c in columns], axis=0)
        # both are rounded, so that one times the ratio misses the other by half a step of each
        scaled = np.max([(np.abs(a - b * ratios[:, [c]]) < near * (1 + ratios[:, [c]])).sum(axis=1) for c in columns], axis=0)
    wider = np.minimum(1.0, chance * (1 + np.nanmax(ratios, axis=1)))
    p = np.array([
        binom_sf(equal - 1, count, chance),
        count * binom_sf(shifted - 2, count - 1, chance),
        count * binom_sf(scaled - 2, count - 1, wider),
    ])  # fmt: skip
    kind, n = np.unravel_index(int(p.argmin()), p.shape)
    agree = int((equal, shifted, scaled)[kind][n])
    at = int(usable[n])
    return Copy(of.runs[row].id, of.runs[at].id, of.whose[at], KINDS[kind], agree, int(count[n]), min(1.0, float(p.min()) * p.size))
