"""The posteriors behind the answers: of every hierarchical model, the standard deviations at their mode and at weighted points.

Given the standard deviations, every answer is normal, with a mean and a variance that generalised least squares gives; over the points it
is a mixture of these. So whoever has these two tables can compute each limit again, to as many digits as stand in them.
"""

from __future__ import annotations

import math

from edgehold.numerics.arrays import Array
from edgehold.results.publish.assemble import EverythingFound

from .asked import ENDPOINT_OR_READINGS
from .cells import Cell, Table

DIGITS = 7  # of a standard deviation: a limit then moves by less than a millionth of its half-width
SAMPLED, NORMAL = "weighted points", "normal about the mode"
MODEL = {
    "how": f"string: {SAMPLED}, or {NORMAL} where there are too many readings for that",
    "rows": "integer: rows of the model, references among them",
    "spreads": "string: names of the standard deviations, with semicolons between",
    "mode": "string: the standard deviations at the mode of their posterior, in that order with spaces between, ln units; the mode is that"
    " in coordinates in which each prior is standard normal",
    "points": "integer: points that stand for the posterior",
    "effective": "number: how many points of equal weight they are worth; empty where none are weighted",
    "pareto_k": "number: shape of the tail of the weights, below 0.7 where they can be relied on; empty where none are weighted",
    "largest_error": "number: largest Monte-Carlo standard error of a limit, in half-widths of its interval; empty where none are weighted",
}
POINT = {
    "point": "integer: number of the point",
    "weight": "number: its weight; those of a model sum to 1",
    "sds": "string: standard deviations, in the order that posteriors.csv has, with spaces between, ln units",
}


def posteriors(found: EverythingFound) -> Table:
    """Every hierarchical model: its standard deviations, their mode, and how good its points are."""
    rows: list[tuple[Cell, ...]] = []
    for (pool, endpoint), one in found.spreads.items():
        record = one.convergence
        told = (record.effective, record.pareto_k, record.largest_error)
        rows.append(
            (
                pool.origin, pool.protocol, pool.major, endpoint or None, NORMAL if one.normal else SAMPLED, one.rows, "; ".join(one.names),
                _numbers(one.mode), len(one.weights), *(None if math.isnan(value) else value for value in told),
            )
        )  # fmt: skip
    return ENDPOINT_OR_READINGS | MODEL, rows


def posterior_points(found: EverythingFound) -> Table:
    """Every point of every model."""
    rows = [
        (pool.origin, pool.protocol, pool.major, endpoint or None, number, float(weight), _numbers(sds))
        for (pool, endpoint), one in found.spreads.items()
        for number, (weight, sds) in enumerate(zip(one.weights, one.sds, strict=True), 1)
    ]
    return ENDPOINT_OR_READINGS | POINT, rows


def _numbers(values: Array) -> str:
    return " ".join(f"{value:.{DIGITS}g}" for value in values)
