"""Coverage of the published ratio of two levels of a treatment: recorded, confounded, interacting, on one steel, from one table.

Every seed draws a pool of runs by an additive model with a treatment whose effect differs from steel to steel and from table to table,
hands it to ``headline`` and writes down what came out beside the truth. Run from the repository's root::

    PYTHONPATH=. python tests/simulation/level_coverage.py --pools 500

writes ``level_coverage.md`` beside this script.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: small matrices are slower in threads

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
from grid import add_cluster, spread_over
from monte_carlo import lower_bound

from edgehold.pooling.answer import Answer, Estimated
from edgehold.pooling.headline import headline

WORTHWHILE = 1.25
WANTED, WANTED_TWICE = 0.93, 0.90  # least 99 % lower bound of coverage, and where spreads are twice what the priors are scaled to
TABLE = Path(__file__).with_name("level_coverage.md")
RUN, TESTER, SHARPENER, BLADE = 0.25, 0.15, 0.15, 0.12


@dataclass(frozen=True)
class Design:
    """What is drawn.

    Attributes
    ----------
    told : in words.
    tables, steels, blades : submissions of one tester each, steels among which tables take turns, blades of a table.
    runs : of each level on each blade.
    levels : how many.
    ratio : true ratio of the first level to the last, ln spread evenly between.
    steel_sd, table_sd : how much the effect of a level differs from steel to steel, and from table to table.
    helper : edges are made by others than the tester, each by one person in turn.
    confounded : at these tables a blade has one level only, so that blade and level change together.
    times : as many times the pools of the other rows, where so few cannot tell.
    """

    told: str
    tables: int = 6
    steels: int = 3
    blades: int = 1
    runs: int = 2
    levels: int = 2
    ratio: float = 1.0
    steel_sd: float = 0.10
    table_sd: float = 0.10
    helper: bool = False
    confounded: frozenset[int] = field(default_factory=frozenset)
    times: int = 1


DESIGNS = (
    Design("6 tables, 3 steels"),
    Design("same, true ×1.5", ratio=1.5),
    Design("12 tables, 3 steels", tables=12),
    Design("6 tables, one steel", steels=1),
    Design("6 tables, effects alike everywhere", steel_sd=0.0, table_sd=0.0),
    Design("8 tables, the effect differs twice as much by steel (interacting)", tables=8, steel_sd=0.20, times=4),
    Design("8 tables, the effect differs twice as much by table", tables=8, table_sd=0.20),
    Design("6 tables, at 3 of them each blade has one level only (confounded)", blades=2, confounded=frozenset({0, 1, 2})),
    Design("6 tables, edges by others than the tester", helper=True),
    Design("6 tables, three levels", levels=3),
    Design("two tables", tables=2, steels=2),
    Design("one table", tables=1, steels=1, blades=2),
)


def drawn(design: Design, seed: int) -> tuple[np.ndarray, dict[str, list[object]], float]:
    """Values, labels, and the true ln ratio of the first level to the last."""
    rng = np.random.default_rng([20261129, seed])
    words = [f"l{n}" for n in range(design.levels)]
    effect = dict(zip(words, np.linspace(math.log(design.ratio) / 2, -math.log(design.ratio) / 2, design.levels), strict=True))
    steel_effect, steel_level = rng.normal(0, 0.3, design.steels), rng.normal(0, design.steel_sd, (design.steels, design.levels))
    sharpeners = rng.normal(0, SHARPENER, design.tables + 1)
    values: list[float] = []
    labels: dict[str, list[object]] = {n: [] for n in ("steel", "blade", "batch", "sharpener", "tester", "submission", "level")}
    for table in range(design.tables):
        steel, tester = table % design.steels, rng.normal(0, TESTER)
        table_level = rng.normal(0, design.table_sd, design.levels)
        for blade in range(design.blades):
            own = rng.normal(0, BLADE)
            for n, word in enumerate(words):
                if table in design.confounded and n % design.blades != blade:
                    continue
                for _ in range(design.runs):
                    by = (table + 1) % (design.tables + 1) if design.helper else table
                    mean = steel_effect[steel] + own + tester + sharpeners[by] + effect[word] + steel_level[steel, n] + table_level[n]
                    values.append(float(mean + rng.normal(0, RUN)))
                    row = (f"s{steel}", f"b{table}.{blade}", None, f"p{by}", f"p{table}", f"f{table}", word)
                    for name, value in zip(labels, row, strict=True):
                        labels[name].append(value)
    return np.array(values), labels, math.log(design.ratio)


@dataclass(frozen=True)
class Outcome:
    """What came out of one pool: whether the interval of the levels themselves holds the truth, its half-width, the verdict."""

    held: bool
    half_width: float
    verdict: str


def outcome(design: Design, seed: int) -> Outcome:
    """One pool."""
    y, labels, truth = drawn(design, seed)
    answer = next(a for a in headline(y, y, labels, worthwhile=WORTHWHILE).levels if (a.first, a.second) == ("l0", f"l{design.levels - 1}"))
    return judged(answer, truth)


def judged(answer: Answer, truth: float) -> Outcome:
    """An answer beside the truth; one that there is none of holds nothing."""
    if not isinstance(answer, Estimated):
        return Outcome(False, math.nan, "")
    low, high = answer.general.interval.low, answer.general.interval.high
    return Outcome(low <= truth <= high, (high - low) / 2, answer.verdict.kind if answer.verdict else "")


def rows(pools: int, cluster: str | None = None) -> Iterator[str]:
    """The table, line by line."""
    with spread_over(None, cluster) as workers:
        for design in DESIGNS:
            count = design.times * pools
            found = list(workers.map(partial(outcome, design), range(count), chunksize=10))
            held, width = sum(one.held for one in found), float(np.median([one.half_width for one in found]))
            wrong = {"better", "worse"} if design.ratio < WORTHWHILE else {"worse", "no difference worth having"}
            bad, right = (sum(one.verdict in kinds for one in found) / count for kinds in (wrong, {"better"} - wrong))
            bound, wanted = lower_bound(held / count, count), WANTED_TWICE if "twice" in design.told else WANTED
            missed = "" if bound >= wanted else " (missed)"
            power = f"{right:.2f}" if design.ratio > WORTHWHILE else "–"
            yield f"| {design.told} | {count} | {held / count:.3f} | {bound:.3f}{missed} | {width:.2f} | {bad:.3f} | {power} |"


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=500, help="pools a row")
    add_cluster(parser)
    asked = parser.parse_args()
    pools = asked.pools
    head = (
        "# Coverage of the ratio of two levels\n\n"
        f"Made by `level_coverage.py`, {pools} pools a row, and more where so few cannot tell. True spreads: run {RUN},\n"
        f"tester {TESTER}, sharpener {SHARPENER}, blade {BLADE}; the effect of a level differs by .10 from steel to steel\n"
        "and by .10 from table to table unless a row says otherwise.\n"
        "Two runs a level and blade. Coverage is that of the interval for the levels themselves, at other tables and on other steels;\n"
        f"wanted: a lower 99 % Monte-Carlo bound of {WANTED}, and of {WANTED_TWICE} where a spread is twice what priors are scaled to.\n"
        "Wrong verdicts: better or worse at a true ×1; worse, or no difference, at ×1.5.\n\n"
        "| design | pools | coverage | 99 % lower bound | median half-width, ln | wrong verdicts | right “better” |\n"
        "|---|---|---|---|---|---|---|\n"
    )
    lines = []
    for line in rows(pools, asked.cluster):
        print(line, flush=True)
        lines.append(line)
    TABLE.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
