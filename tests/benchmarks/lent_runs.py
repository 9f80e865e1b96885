"""Simulated runs of a second design: fewer blades go round than in ``shared_runs``, and each goes to one more cell only.

    python tests/benchmarks/lent_runs.py 10000 runs.csv --seed 1

40 steels, popular ones tested more; one tester for every 12 runs and as many sharpeners. A tester tests 2 to 4 steels. His
edges come from 1 to 3 sharpeners (.6, .3, .1); the first is himself in 85 of 100 cases; he goes to the first in 7 of 10 runs, to the
second in 18 and to the third in 12 of 100, or to his last where he has fewer. Other people's sharpeners are drawn with weight
1/(rank + 10). A tester's runs of one steel (a cell) number 1 + negative binomial with mean 3, then single runs are added or taken at
random; a cell has one or two blades. A quarter of the blades are to be lent: such a blade is another of the same steel instead, unless that
one is to be lent itself. Standard deviations are those of ``shared_runs``.
"""

from __future__ import annotations

import numpy as np

from tests.benchmarks.shared_runs import DEVIATIONS, RUNS_A_TESTER, STEELS, command

Generator = np.random.Generator


def simulate(n: int, seed: int) -> dict[str, np.ndarray]:
    """Columns y, steel, tester, sharpener, blade, cell of ``n`` runs."""
    rng = np.random.default_rng(seed)
    people = max(8, n // RUNS_A_TESTER)
    cell_tester, cell_steel = _cells(rng, people)
    cell = np.repeat(np.arange(len(cell_tester)), size := _sizes(rng, len(cell_tester), n))
    tester, steel = cell_tester[cell], cell_steel[cell]
    blade, blades = _blades(rng, cell_steel, size, cell)
    sharpener = _sharpeners(rng, people, tester)
    level = np.round(4.0 + np.linspace(-0.6, 0.6, STEELS)[np.random.default_rng(seed + 1).permutation(STEELS)], 4)
    y = level[steel]
    columns = {"tester": (tester, people), "sharpener": (sharpener, people), "blade": (blade, blades), "cell": (cell, len(size))}
    for name, (levels, count) in columns.items():
        y = y + rng.normal(0, DEVIATIONS[name], count)[levels]
    y = y + rng.normal(0, DEVIATIONS["residual"], n)
    return {"y": y, "steel": steel} | {name: levels for name, (levels, _) in columns.items()}


def _cells(rng: Generator, people: int) -> tuple[np.ndarray, np.ndarray]:
    """Which steels each tester tests: weighted draws without replacement by the largest u^(1/weight)."""
    many = rng.integers(2, 5, people)
    weight = 1 / (np.arange(STEELS) + 5.0)
    keys = rng.random((people, STEELS)) ** (weight.sum() / weight)
    order = np.argsort(-keys, axis=1)[:, :4]
    tester, place = np.nonzero(np.arange(4) < many[:, None])
    steel = order[tester, place]
    by = np.lexsort((steel, tester))
    return tester[by], steel[by]


def _sizes(rng: Generator, cells: int, n: int) -> np.ndarray:
    size = 1 + rng.negative_binomial(1.5, 1.5 / 4.5, cells)
    while (missing := n - int(size.sum())) != 0:
        if missing > 0:
            np.add.at(size, rng.integers(0, cells, missing), 1)
        else:
            large = np.flatnonzero(size > 1)
            size[rng.choice(large, min(-missing, len(large)), replace=False)] -= 1
    return size


def _blades(rng: Generator, cell_steel: np.ndarray, size: np.ndarray, cell: np.ndarray) -> tuple[np.ndarray, int]:
    """The blade of each run, and how many blades were numbered."""
    count = np.where(size > 1, rng.integers(1, 3, len(size)), 1)
    first = np.cumsum(count) - count
    steel = np.repeat(cell_steel, count)
    lent = rng.random(len(steel)) < 0.25
    by_steel = np.argsort(steel, kind="stable")
    low, high = np.searchsorted(steel[by_steel], np.arange(STEELS)), np.searchsorted(steel[by_steel], np.arange(STEELS), side="right")
    other = by_steel[low[steel] + (rng.random(len(steel)) * (high - low)[steel]).astype(int)]
    identity = np.where(lent & ~lent[other], other, np.arange(len(steel)))
    return identity[first[cell] + (rng.random(len(cell)) * count[cell]).astype(int)], len(steel)


def _sharpeners(rng: Generator, people: int, tester: np.ndarray) -> np.ndarray:
    known = rng.choice([1, 2, 3], people, p=[0.6, 0.3, 0.1])
    share = np.cumsum(1 / (np.arange(people) + 10.0))
    name = rng.permutation(people)

    def drawn() -> np.ndarray:
        return name[np.searchsorted(share / share[-1], rng.random(people))]

    himself = rng.random(people) < 0.85
    visited = np.stack([np.where(himself, np.arange(people), drawn()), drawn(), drawn()], axis=1)
    draw = rng.random(len(tester))
    slot = np.where(draw < 0.7, 0, np.where(draw < 0.88, 1, 2))
    return visited[tester, np.minimum(slot, known[tester] - 1)]


if __name__ == "__main__":
    command(simulate, "Simulated runs with shared people and lent blades, as CSV.")
