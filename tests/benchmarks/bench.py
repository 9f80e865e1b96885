"""Both sides of the speed comparison in one run, as Markdown tables with machine and versions, each goal with its figure and verdict.

    python -m tests.benchmarks.bench [--sizes 1000 10000 100000 1000000] [--seed 1] [--patience 3600] [--write]

Every fit runs in a process of its own, on the same CSV on both sides, for two designs (``shared_runs.py``, ``lent_runs.py``); figures
are the best of the repeats. One thread up to 100,000 runs, two above, on both sides. The other side is lme4 for R (Debian: apt-get
install r-cran-lme4); without it the table says so and has our figures only. ``--write`` replaces the table kept beside this script.
The exit code is 1 where a goal is missed.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from edgehold.pooling.pairwise.random_effects import random_effects
from tests.benchmarks import lent_runs, shared_runs
from tests.benchmarks.goals import HEAD, Goal, keep
from tests.benchmarks.shared_runs import write

HERE, ROOT = Path(__file__).parent, Path(__file__).parents[2]
TABLE = HERE / "RESULTS.md"
DESIGNS = {"shared": shared_runs.simulate, "lent": lent_runs.simulate}
REPEATS = {1_000: 9, 10_000: 5, 100_000: 2}  # the best of so many fits on each side
STUDIES = 100_000
MILLION = 1_000_000
RATIOS = {1_000: 4, 10_000: 6, 100_000: 12, MILLION: 20}  # times as fast, by CPU
POSTERIOR_SECONDS = {10_000: 10, 100_000: 120}
CPU_SECONDS = {100_000: 1.5}
MILLION_SECONDS, MILLION_MB, POSTERIOR_TIMES = 60, 4096, 3
LIMITS_RUNS, LIMITS_SECONDS = 10_000, 1


def run(command: list[str], n: int, patience: float) -> dict[str, Any] | None:
    """The JSON line that a fitting script prints; None where it took longer than ``patience`` seconds or memory ran out."""
    threads = "2" if n >= MILLION else "1"
    alone = os.environ | {"OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
    try:
        done = subprocess.run(command, env=alone, cwd=ROOT, capture_output=True, text=True, check=True, timeout=patience)
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError) as error:
        if isinstance(error, subprocess.CalledProcessError) and error.returncode > 0:
            raise
        return None
    return json.loads(done.stdout.splitlines()[-1])


def lme4_installed() -> bool:
    """Whether R and lme4 are there."""
    if shutil.which("Rscript") is None:
        return False
    return subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True, check=False).returncode == 0


@dataclass
class Measured:
    """Lines of both tables, goals and versions, gathered case by case."""

    crossed: list[str] = field(default_factory=list)
    posteriors: list[str] = field(default_factory=list)
    goals: list[Goal] = field(default_factory=list)
    versions: set[str] = field(default_factory=set)

    def case(self, design: str, n: int, seed: int, other_side: bool, patience: float) -> None:
        """Fit one design at one size, both sides, and its posterior."""
        repeats = str(REPEATS.get(n, 1))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "runs.csv"
            write(DESIGNS[design](n, seed), path)

            def script(name: str, *words: str) -> dict[str, Any] | None:
                return run([sys.executable, "-m", f"tests.benchmarks.{name}", str(path), *words], n, patience)

            ours = script("fit_crossed", repeats)
            theirs = run(["Rscript", str(HERE / "fit_lme4.R"), str(path), repeats], n, patience) if other_side else None
            posterior = script("fit_hierarchical", "2" if n < MILLION else "1")
            limits = script("fit_crossed", "3", "--limits") if n == LIMITS_RUNS else None
        self.crossed.append(line(design, n, ours, theirs, other_side))
        print(self.crossed[-1], flush=True)
        if posterior:
            cells = [design, f"{n:,}", seconds(posterior), posterior["how"], str(posterior["points"]), f"{posterior['peak_mb']:.0f}"]
            self.posteriors.append("| " + " | ".join(cells) + " |")
        self.versions |= {side["versions"] for side in (ours, theirs) if side}
        self.goals += list(goals(f"{design}, {n:,} runs", n, ours, theirs, posterior, limits))


def goals(
    case: str, n: int, ours: dict | None = None, theirs: dict | None = None, posterior: dict | None = None, limits: dict | None = None
) -> Iterator[Goal]:
    """The goals that a case has."""
    goal = partial(Goal, instead="not finished")
    if n in RATIOS:
        ratio = theirs["cpu"] / ours["cpu"] if ours and theirs else None
        yield goal(f"{case}: as fast as lme4, by CPU", RATIOS[n], ratio, at_least=True, unit="times")
    if n in CPU_SECONDS:
        yield goal(f"{case}: restricted likelihood, CPU", CPU_SECONDS[n], ours and ours["cpu"])
    if n == LIMITS_RUNS:
        yield goal(f"{case}: with degrees of freedom and profile limits, CPU", LIMITS_SECONDS, limits and limits["cpu"])
    if n in POSTERIOR_SECONDS:
        yield goal(f"{case}: posterior", POSTERIOR_SECONDS[n], posterior and posterior["wall"])
    if n == MILLION:
        yield goal(f"{case}: restricted likelihood, two threads", MILLION_SECONDS, ours and ours["wall"])
        yield goal(f"{case}: its memory", MILLION_MB, ours and ours["peak_mb"], unit="MB")
        times = posterior["cpu"] / ours["cpu"] if posterior and ours else None
        yield goal(f"{case}: posterior over restricted likelihood, by CPU", POSTERIOR_TIMES, times, unit="times")


def line(design: str, n: int, ours: dict | None, theirs: dict | None, other_side: bool) -> str:
    """One row of the table."""
    cells = [design, f"{n:,}", *figures(ours, True), f"{ours['first_cpu']:.3g}" if ours else "–", *figures(theirs, other_side)]
    if ours is None or theirs is None:
        return "| " + " | ".join([*cells, "–", "–", "–"]) + " |"
    difference = -2 * (ours["log_likelihood"] - theirs["log_likelihood"])
    ratios = f"{theirs['wall'] / ours['wall']:.1f} | {theirs['cpu'] / ours['cpu']:.1f}"
    return "| " + " | ".join([*cells, ratios, f"{difference:.1e}"]) + " |"


def seconds(side: dict) -> str:
    """Seconds on the clock, and of CPU in brackets."""
    return f"{side['wall']:.3g} ({side['cpu']:.3g})"


def figures(side: dict | None, there: bool) -> list[str]:
    """Seconds, evaluations, and peak memory."""
    if side is None:
        return ["not finished" if there else "–", "–", "–"]
    return [seconds(side), str(side["evaluations"]), f"{side['peak_mb']:.0f}"]


def random_effects_seconds() -> float:
    """Best of three fits of 100,000 studies with the Q-profile interval of tau2."""
    rng = np.random.default_rng(1)
    v = 0.02 + rng.gamma(1.5, 0.04, STUDIES)
    y = 0.3 + rng.normal(size=STUDIES) * np.sqrt(0.0625 + v)
    best = np.inf
    for _ in range(3):
        before = time.perf_counter()
        random_effects(y, v, interval="wald")
        best = min(best, time.perf_counter() - before)
    return best


def processor() -> str:
    """Name of the processor where the system tells it."""
    try:
        names = [row.split(":", 1)[1].strip() for row in Path("/proc/cpuinfo").read_text().splitlines() if row.startswith("model name")]
    except OSError:
        names = []
    return names[0] if names else platform.processor() or "unknown processor"


def main() -> int:
    """Run both sides and print, or keep, the tables; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[1_000, 10_000, 100_000, MILLION])
    parser.add_argument("--designs", nargs="+", choices=DESIGNS, default=list(DESIGNS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--patience", type=float, default=3600, help="seconds after which a process is given up")
    parser.add_argument("--write", action="store_true", help=f"replace {TABLE.name}")
    asked = parser.parse_args()
    other_side = lme4_installed()
    if not other_side:
        print("lme4 for R is not installed (Debian: apt-get install r-cran-lme4); only our side is measured")
    measured = Measured()
    for n in asked.sizes:
        for design in asked.designs:
            measured.case(design, n, asked.seed, other_side, asked.patience)
    text = tables(measured, asked.seed)
    print(text)
    if asked.write:
        TABLE.write_text(text, encoding="utf-8")
    left_out = (goal for n in RATIOS if n not in asked.sizes for design in DESIGNS for goal in goals(f"{design}, {n:,} runs", n))
    return keep("bench", [*measured.goals, *(replace(goal, instead="") for goal in left_out)])


def tables(measured: Measured, seed: int) -> str:
    """What is kept beside this script."""
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    crowded = " Others were at work on it." if max(os.getloadavg()) > (os.cpu_count() or 1) else ""
    return "\n".join(
        [
            "# Crossed fits: both sides in one run",
            "",
            "Steels fixed; testers, sharpeners, blades and steel × tester random (`shared_runs.py`, `lent_runs.py`, "
            f"seed {seed}); REML. "
            "Ours includes degrees of freedom and predicted effects with their errors, without profile intervals; lme4 has its "
            "derivative check off. Seconds are the best on the clock (of CPU in brackets). Every fit but the first finds the "
            "analysis of the pattern kept.",
            "",
            *HEAD,
            *(goal.row() for goal in measured.goals),
            "",
            "| design | runs | ours, s | evaluations | peak MB | first, s of CPU | lme4, s | evaluations | peak MB | times faster | "
            "by CPU | criterion, ours − lme4 |",
            "|" + "---|" * 12,
            *measured.crossed,
            "",
            "The posterior of the hierarchical model of the same runs:",
            "",
            "| design | runs | ours, s | how | points | peak MB |",
            "|---|---|---|---|---|---|",
            *measured.posteriors,
            "",
            f"`random_effects`, {STUDIES:,} studies with Q-profile interval: {random_effects_seconds():.3f} s.",
            "",
            f"Machine: {processor()}, {os.cpu_count()} cores, load {load}; {platform.system()} {platform.machine()}.{crowded} "
            + "; ".join(sorted(measured.versions))
            + ".",
            "",
        ]
    )


if __name__ == "__main__":
    sys.exit(main())
