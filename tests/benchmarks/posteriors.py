"""Seconds that all posteriors of the demonstration take: every answer, curve and reference of every pool, on the processors there are.

Run from the repository's root: ``python -m tests.benchmarks.posteriors``. The goal is 20 s on two processors.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from edgehold import pipeline
from edgehold.endpoints import beside_runs, curve_points, endpoint_rows
from edgehold.engine.tasks import side_by_side
from edgehold.pooling.gather.all_answers import all_answers
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool
from edgehold.records.linkage import linkage
from tests.benchmarks.goals import Goal, keep

GOAL = 20.0  # seconds on two processors


def main() -> int:
    """Print what was measured; 1 where the goal is missed."""
    repository = pipeline.read(Path.cwd())
    rows, points = endpoint_rows(repository), curve_points(repository)
    asked = by_endpoint(repository, asked_of), by_pool(repository, asked_of_pool)
    worked = _cpu()
    with side_by_side(len(rows)) as begin:
        began = time.perf_counter()
        found = begin(all_answers, rows, points, *asked, beside_runs(repository), True, linkage(repository))()
        taken = time.perf_counter() - began
    worked = _cpu() - worked
    answers = sum(len(one.headline.pairs) + (one.headline.practice is not None) for one in found.answers.values())
    goal = Goal("all posteriors of the demonstration", GOAL, taken)
    print(
        f"{answers} answers on {len(found.answers)} endpoints: {taken:.1f} s on {os.cpu_count()} processors, {worked:.1f} s of CPU with "
        f"the start of processes; wanted {GOAL:g} ({goal.verdict})"
    )
    return keep("posteriors", [goal])


def _cpu() -> float:
    """Seconds of CPU that this process has taken, and those of its own that have ended."""
    return sum(os.times()[:4])


if __name__ == "__main__":
    sys.exit(main())
