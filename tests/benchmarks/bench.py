"""Both sides of the speed comparison in one run, as a Markdown table with machine and versions.

    python tests/benchmarks/bench.py [--sizes 1000 10000 100000] [--seed 1] [--write]

Every fit runs in a process of its own, one thread, the same CSV on both sides; figures are the best of the repeats. The other side
is lme4 for R (Debian: apt-get install r-cran-lme4); without it the table says so and has our figures only. ``--write`` replaces
the table kept beside this script.
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
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from shared_runs import simulate, write

from edgehold.pooling.pairwise.random_effects import random_effects

HERE = Path(__file__).parent
TABLE = HERE / "RESULTS.md"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
REPEATS = {1_000: 9, 10_000: 5, 100_000: 2}  # the best of so many fits on each side
STUDIES = 100_000
GOALS = {10_000: 10, 100_000: 120}  # seconds in which a posterior is wanted


def run(command: list[str]) -> dict[str, object]:
    """The JSON line that a fitting script prints."""
    done = subprocess.run(command, env=os.environ | ONE_THREAD, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def lme4_installed() -> bool:
    """Whether R and lme4 are there."""
    if shutil.which("Rscript") is None:
        return False
    return subprocess.run(["Rscript", "-e", "library(lme4)"], capture_output=True, check=False).returncode == 0


def crossed_lines(sizes: list[int], seed: int, other_side: bool) -> tuple[list[str], set[str]]:
    """Table lines of the crossed fits, and the versions seen."""
    lines, versions = [], set()
    with tempfile.TemporaryDirectory() as folder:
        for n in sizes:
            path, repeats = Path(folder) / f"runs-{n}.csv", str(REPEATS.get(n, 1))
            write(simulate(n, seed), path)
            ours = run([sys.executable, str(HERE / "fit_crossed.py"), str(path), repeats])
            theirs = run(["Rscript", str(HERE / "fit_lme4.R"), str(path), repeats]) if other_side else None
            lines.append(line(n, ours, theirs))
            print(lines[-1], flush=True)
            versions |= {side["versions"] for side in (ours, theirs) if side}
    return lines, versions


def posterior_lines(sizes: list[int], seed: int) -> list[str]:
    """Table lines of the posteriors of the same runs."""
    lines = []
    with tempfile.TemporaryDirectory() as folder:
        for n in sizes:
            path = Path(folder) / f"runs-{n}.csv"
            write(simulate(n, seed), path)
            one = run([sys.executable, str(HERE / "fit_hierarchical.py"), str(path), "2"])
            goal = GOALS.get(n)
            kept = "" if goal is None else f"{goal} ({'kept' if one['wall'] < goal else 'MISSED'})"
            cells = [f"{n:,}", f"{one['wall']:.3g} ({one['cpu']:.3g})", kept, one["how"], str(one["points"]), f"{one['peak_mb']:.0f}"]
            lines.append("| " + " | ".join(cells) + " |")
            print(lines[-1], flush=True)
    return lines


def line(n: int, ours: dict, theirs: dict | None) -> str:
    """One row of the table."""
    cells = [f"{n:,}", *figures(ours)]
    if theirs is None:
        return "| " + " | ".join([*cells, "–", "–", "–", "–", "–", "–"]) + " |"
    difference = -2 * (ours["log_likelihood"] - theirs["log_likelihood"])
    ratios = f"{theirs['wall'] / ours['wall']:.1f} | {theirs['cpu'] / ours['cpu']:.1f}"
    return "| " + " | ".join([*cells, *figures(theirs), ratios, f"{difference:.1e}"]) + " |"


def figures(side: dict) -> list[str]:
    """Seconds on the clock, seconds of CPU and evaluations, and peak memory."""
    return [f"{side['wall']:.3g} ({side['cpu']:.3g})", str(side["evaluations"]), f"{side['peak_mb']:.0f}"]


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


def main() -> None:
    """Run both sides and print, or keep, the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=[1_000, 10_000, 100_000])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", action="store_true", help=f"replace {TABLE.name}")
    asked = parser.parse_args()
    other_side = lme4_installed()
    if not other_side:
        print("lme4 for R is not installed (Debian: apt-get install r-cran-lme4); only our side is measured")
    lines, versions = crossed_lines(asked.sizes, asked.seed, other_side)
    posteriors = posterior_lines(asked.sizes, asked.seed)
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    text = "\n".join(
        [
            "# Crossed fits: both sides in one run",
            "",
            "Steels fixed; testers, sharpeners, blades and steel × tester random (`shared_runs.py`, seed "
            f"{asked.seed}); REML, one thread. Ours includes degrees of freedom and predicted effects with their errors, without "
            "profile intervals; lme4 has its derivative check off. Seconds are the best on the clock (of CPU in brackets).",
            "",
            "| runs | ours, s | evaluations | peak MB | lme4, s | evaluations | peak MB | times faster | by CPU | criterion, ours − lme4 |",
            "|---|---|---|---|---|---|---|---|---|---|",
            *lines,
            "",
            "The posterior of the hierarchical model of the same runs, one thread:",
            "",
            "| runs | ours, s | wanted, s | how | points | peak MB |",
            "|---|---|---|---|---|---|",
            *posteriors,
            "",
            f"`random_effects`, {STUDIES:,} studies with Q-profile interval: {random_effects_seconds():.3f} s.",
            "",
            f"Machine: {processor()}, {os.cpu_count()} cores, load {load}; {platform.system()} {platform.machine()}. "
            + "; ".join(sorted(versions))
            + ".",
            "",
        ]
    )
    print(text)
    if asked.write:
        TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
