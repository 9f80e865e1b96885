"""Seconds that all posteriors of the demonstration take: every answer, curve and reference of every pool, on the processors there are.

Run from the repository's root: ``PYTHONPATH=. python tests/benchmarks/posteriors.py``. The goal is 20 s on two processors.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

from edgehold import pipeline
from edgehold.engine.tasks import side_by_side

GOAL = 20.0  # seconds on two processors


def main() -> None:
    """Print what was measured."""
    repository = pipeline.read(Path.cwd())
    rows, points = pipeline.endpoint_rows(repository), pipeline.curve_points(repository)
    asked = pipeline.by_endpoint(repository, pipeline.asked_of), pipeline.by_pool(repository, pipeline.asked_of_pool)
    with side_by_side(len(rows)) as begin:
        began = time.perf_counter()
        found = begin(pipeline.all_answers, rows, points, *asked, pipeline.beside_runs(repository))()
        taken = time.perf_counter() - began
    answers = sum(len(one.headline.pairs) + (one.headline.practice is not None) for one in found.answers.values())
    verdict = "kept" if taken <= GOAL else "missed"
    print(f"{answers} answers on {len(found.answers)} endpoints: {taken:.1f} s on {os.cpu_count()} processors; wanted {GOAL:g} ({verdict})")


if __name__ == "__main__":
    main()
