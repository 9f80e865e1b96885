"""Simulated runs in which steels, testers, sharpeners and blades are shared in the ragged way that volunteers share them.

    python tests/benchmarks/shared_runs.py 10000 runs.csv --seed 1

40 steels, popular ones tested more; one tester for every 12 runs and as many sharpeners. A tester tests 2 to 4 steels. His
edges come from 1 to 3 sharpeners (.6, .3, .1); the first is himself in 85 of 100 cases; with two he goes to the first in 7 of 10
runs, with three in 70, 18 and 12 of 100. Other people's sharpeners are drawn with weight 1/(rank + 10), so a few are busy.
A tester's runs of one steel (a cell) number 1 + negative binomial with mean 4, on one or two blades; a quarter of the blades
are somebody else's of the same steel, passed around. The response is a normal ln value with the standard deviations below.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

import numpy as np

STEELS = 40
RUNS_A_TESTER = 12
DEVIATIONS = {"tester": 0.25, "sharpener": 0.20, "blade": 0.12, "cell": 0.10, "residual": 0.30}


def simulate(n: int, seed: int) -> dict[str, np.ndarray]:
    """Columns y, steel, tester, sharpener, blade, cell of ``n`` runs."""
    rng = np.random.default_rng(seed)
    people = max(8, n // RUNS_A_TESTER)
    cell_tester, cell_steel = _cells(rng, people)
    size = _sizes(rng, len(cell_tester), n)
    cell = np.repeat(np.arange(len(size)), size)
    columns = {
        "steel": cell_steel[cell],
        "tester": cell_tester[cell],
        "sharpener": _sharpeners(rng, people, cell_tester[cell]),
        "blade": _blades(rng, cell_steel, size, cell),
        "cell": cell,
    }
    y = np.linspace(3.4, 4.6, STEELS)[rng.permutation(STEELS)][columns["steel"]]
    for name, deviation in DEVIATIONS.items():
        levels = columns.get(name, np.arange(n))
        y = y + rng.normal(0, deviation, levels.max() + 1)[levels]
    return {"y": y} | columns


def _cells(rng: np.random.Generator, people: int) -> tuple[np.ndarray, np.ndarray]:
    """Which steels each tester tests: weighted draws without replacement by the smallest exponential arrival times."""
    arrival = rng.exponential(size=(people, STEELS)) * (np.arange(STEELS) + 5.0)
    by_arrival = np.argsort(arrival, axis=1)[:, :4]
    tested = np.arange(4) < rng.integers(2, 5, people)[:, None]
    tester, _ = np.nonzero(tested)
    return tester, by_arrival[tested]


def _sizes(rng: np.random.Generator, cells: int, n: int) -> np.ndarray:
    """Runs of each cell, at least one, brought to ``n`` in all by adding or taking single runs at random."""
    size = 1 + rng.negative_binomial(1.5, 1.5 / 4.5, cells)
    while (missing := n - int(size.sum())) != 0:
        if missing > 0:
            size += np.bincount(rng.integers(0, cells, missing), minlength=cells)
        else:
            large = np.flatnonzero(size > 1)
            size[rng.choice(large, min(-missing, len(large)), replace=False)] -= 1
    return size


def _sharpeners(rng: np.random.Generator, people: int, tester: np.ndarray) -> np.ndarray:
    weight = 1 / (rng.permutation(people) + 10.0)
    known = rng.choice(people, size=(people, 3), p=weight / weight.sum())
    known[:, 0] = np.where(rng.random(people) < 0.85, np.arange(people), known[:, 0])
    how_many = rng.choice([1, 2, 3], size=people, p=[0.6, 0.3, 0.1])[tester]
    draw = rng.random(len(tester))
    slot = np.where(draw < 0.7, 0, np.where(draw < 0.88, 1, 2))
    return known[tester, np.minimum(slot, how_many - 1)]


def _blades(rng: np.random.Generator, cell_steel: np.ndarray, size: np.ndarray, cell: np.ndarray) -> np.ndarray:
    count = np.where(size > 1, rng.integers(1, 3, len(size)), 1)
    first = np.cumsum(count) - count
    steel = np.repeat(cell_steel, count)
    identity, lent = np.arange(len(steel)), rng.random(len(steel)) < 0.25
    for one in range(STEELS):
        own = np.flatnonzero((steel == one) & ~lent)
        borrowed = np.flatnonzero((steel == one) & lent)
        if len(own):
            identity[borrowed] = rng.choice(own, len(borrowed))
    return identity[first[cell] + (rng.random(len(cell)) * count[cell]).astype(int)]


def write(columns: dict[str, np.ndarray], path: Path) -> None:
    """The columns as CSV, the response to 17 digits so that both sides read the same numbers."""
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    lines = [",".join(columns), *(",".join(map(repr, row)) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def command(simulated: Callable[[int, int], dict[str, np.ndarray]], description: str) -> None:
    """Write runs of a design as a CSV file."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("n", type=int)
    parser.add_argument("path", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    write(simulated(asked.n, asked.seed), asked.path)


if __name__ == "__main__":
    command(simulate, "Simulated runs with shared people and blades, as CSV.")
