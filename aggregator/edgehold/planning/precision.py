"""How precisely runs at one or several tables tell two people's edges, or two blades, apart: least squares on their labels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.records.model.plan import Plan
from edgehold.records.sharpeners import planned_by

TOLERANCE = 1e-9  # of sums of ones and minus ones: far above rounding, far below the least real figure


@dataclass(frozen=True)
class Cut:
    """One run, by its labels.

    Attributes
    ----------
    table : where it is made: 1, 2 …
    sharpener, blade, tester : who and what.
    evening, lot : of the table.
    pair : which two runs of the table are cut in turn; None where runs stand alone.
    edge_part : half of the edge, of pairs.
    """

    table: int
    sharpener: str
    blade: str
    tester: str
    evening: int
    lot: int
    pair: int | None
    edge_part: str

    def label(self, factor: str) -> str:
        """The level of ``sharpener`` or ``blade``."""
        return self.sharpener if factor == "sharpener" else self.blade


@dataclass(frozen=True)
class Precision:
    """Of one difference between two levels.

    Attributes
    ----------
    unscaled : variance of its estimate divided by the variance between runs; infinite where it cannot be told.
    df : degrees of freedom that are left for the variance.
    """

    unscaled: float
    df: int


def cuts_of(plan: Plan, table: int = 1) -> tuple[Cut, ...]:
    """The runs of a plan at a table."""
    return tuple(
        Cut(
            table=table,
            sharpener=planned_by(run),
            blade=run.blade,
            tester=run.tester,
            evening=run.evening or 1,
            lot=run.lot or 1,
            pair=None if run.partner is None else min(run.order, run.partner),
            edge_part=run.edge_part,
        )
        for run in plan.runs
    )


def precision(cuts: Sequence[Cut], factor: str, first: str, second: str) -> Precision:
    """Precision of the difference between two levels under the additive model of runs.

    Columns are those of ``estimates.design``: pair, half, sharpener and blade where runs are cut in turn, else sharpener, blade, tester,
    and evenings and lots of a table where they hold two runs on average. People and blades count as fixed, so that nothing rests on a
    guess about them. With X their indicators and c the difference, it is cᵀ(XᵀX)⁺c, and infinite where c is no sum of rows of X.

    Parameters
    ----------
    cuts : all runs.
    factor : ``sharpener`` or ``blade``.
    first, second : two of its levels.
    """
    columns, names = _indicators(cuts)
    crossed = columns.T @ columns
    inverse = np.asarray(np.linalg.pinv(crossed, rcond=TOLERANCE, hermitian=True), dtype=float)
    c = np.zeros(len(names))
    c[names.index((factor, first))], c[names.index((factor, second))] = 1, -1
    told = bool(np.abs(crossed @ inverse @ c - c).max() < math.sqrt(TOLERANCE))
    rank = int(np.linalg.matrix_rank(crossed, tol=TOLERANCE * len(cuts), hermitian=True))
    return Precision(float(c @ inverse @ c) if told else math.inf, len(cuts) - rank)


def least_precise(cuts: Sequence[Cut], factor: str, levels: Sequence[str]) -> Precision:
    """Of all differences between some levels the one known least."""
    found = [precision(cuts, factor, a, b) for a, b in combinations(levels, 2)]
    return max(found, key=lambda one: one.unscaled)


def _indicators(cuts: Sequence[Cut]) -> tuple[Array, list[tuple[str, str]]]:
    """(runs, levels) ones and zeros, and (factor, level) of each column."""
    labels = _labels(cuts)
    names = [(factor, level) for factor, column in labels.items() for level in sorted(set(column))]
    columns = np.array([[float(labels[factor][row] == level) for factor, level in names] for row in range(len(cuts))])
    return columns, names


def _labels(cuts: Sequence[Cut]) -> dict[str, list[str]]:
    people = {"sharpener": [cut.sharpener for cut in cuts], "blade": [cut.blade for cut in cuts]}
    if cuts[0].pair is not None:
        return people | {"pair": [f"{cut.table} {cut.pair}" for cut in cuts], "half": [cut.edge_part for cut in cuts]}
    blocks = {"evening": [f"{cut.table} {cut.evening}" for cut in cuts], "lot": [f"{cut.table} {cut.lot}" for cut in cuts]}
    kept = {name: column for name, column in blocks.items() if len(cuts) >= 2 * len(set(column))}
    return people | {"tester": [cut.tester for cut in cuts]} | kept
