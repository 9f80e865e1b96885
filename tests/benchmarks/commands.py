"""How long the everyday commands take, as goals of the one table (``goals.py``).

    python -m tests.benchmarks.commands

Every run is a process of its own on the project's repository, with what an earlier build left there and the program compiled. The least
of a few runs counts, on the clock; where the machine did other work, processor time.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from tests.benchmarks.goals import HEAD, Goal, counted, keep

ROOT = Path(__file__).parents[2]
RUNS = 5
SUBMISSION = "submissions/simulated/two-sharpeners-rope/fairlead-2026-10-p49.json"
PLAN = (
    "plan", "two-sharpeners-rope", "--blade", "owner.galley", "--sharpener", "owner", "--sharpener", "friend", "--tester", "owner",
    "--metres", "20", "--dry", "--drawn", "1",
)  # fmt: skip
COMMANDS = {
    "`edgehold --help`": (("--help",), 0.15),
    "`edgehold check` of one file": (("check", SUBMISSION), 0.7),
    "`edgehold report`": (("report", SUBMISSION), 1.0),
    "`edgehold plan` with one drawn evening": (PLAN, 1.0),
}
"""Words and seconds wanted, by what is measured."""


def seconds(words: tuple[str, ...]) -> float:
    """The least that a few runs of a command take, after one that compiles the program."""
    found = []
    for _ in range(RUNS + 1):
        began = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "edgehold", *words], cwd=ROOT, env=os.environ | {"OPENBLAS_NUM_THREADS": "1"}, stdout=subprocess.DEVNULL
        )
        _, status, used = os.wait4(process.pid, 0)
        clock = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            raise SystemExit(f"{' '.join(words)} ended with {process.returncode}")
        found.append(counted(clock, used.ru_utime + used.ru_stime))
    return min(found[1:])


def main() -> int:
    """Measure and print; 1 where a goal is missed."""
    goals = [Goal(what, wanted, seconds(words)) for what, (words, wanted) in COMMANDS.items()]
    print("\n".join([*HEAD, *(goal.row() for goal in goals)]))
    return keep("commands", goals)


if __name__ == "__main__":
    sys.exit(main())
