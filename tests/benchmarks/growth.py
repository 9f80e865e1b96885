"""How every stage of a build grows with the number of submissions, as a Markdown table with goals and verdicts.

    python -m tests.benchmarks.growth [--sizes 60,500,2000,10000] [--steels 6,50] [--limit 1800] [--folder DIR] [--write]

Repositories are made by ``growth_repository``. Every stage runs in a process of its own: what it needs of earlier stages is read from a
file before the clock starts, and what it gives is kept for the next after the clock stopped. ``site`` is the command `edgehold site`
with an empty cache, ``added``, ``corrected`` and ``retracted`` are the same command after one file more. A stage that takes longer than
the limit is ended, and the table says so. The exponent of a stage is the slope of ln CPU on ln submissions by least squares; 1 grows as
its input does. Exit status 1 when a goal is missed or was not measured. ``--write`` replaces the table beside this script.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.benchmarks.check_speed import placed
from tests.benchmarks.goals import HEAD, Goal, keep
from tests.benchmarks.growth_repository import FEW, MANY, make, submissions

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).parent / "GROWTH.md"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
SIZES = (60, 500, 2000, 10_000)
MOST = SIZES[-1]
STAGES = ("check", "endpoints", "estimates", "pooling", "results", "pages", "site")
CHANGES = ("added", "corrected", "retracted")
LARGEST_EXPONENT = 1.1  # of CPU: a stage that grows faster than its input must say why
FULL, AFTER_ONE, MEGABYTES, FILES = 600, 5, 500, 50_000  # wanted of 10,000 submissions: seconds, seconds, and of the site
UNMEASURED = "not measured"
LIMIT = 1800  # seconds in which a stage must end: what a publication may take


@dataclass(frozen=True)
class Measured:
    """What a stage took: seconds on the clock and of CPU of all its processes, MB of the largest; and how many files and bytes it gave."""

    seconds: float
    cpu: float
    megabytes: float
    files: int = 0
    size: int = 0


# ---- in the process of a stage -----------------------------------------------------------------------------------------------


def check(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.records import load_repository

    return lambda: load_repository(root, earlier=True)


def endpoints(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.endpoints import beside_runs, curve_points, endpoint_rows

    repository = kept(state, "check")
    return lambda: (endpoint_rows(repository), curve_points(repository), beside_runs(repository))


def estimates(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.estimates import estimate_submissions, repeatability_table

    repository, (rows, *_) = kept(state, "check"), kept(state, "endpoints")
    return lambda: estimate_submissions(rows, repeatability_table(rows, repository.protocols), repository.protocols)


def pooling(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.everything import find_everything

    repository = kept(state, "check")
    return lambda: find_everything(repository)


def results(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.results.publish.assemble import assemble
    from edgehold.results.publish.repeatability_file import repeatability_json
    from edgehold.results.publish.schemas import hold_to_schemas
    from edgehold.results.publish.written import written
    from edgehold.results.tables.pool_tables import tables

    found = kept(state, "pooling")

    def published() -> object:
        made = assemble(found)
        files = {"results.json": written(made).whole(), "repeatability.json": repeatability_json(found.published), **tables(found, made)}
        hold_to_schemas(root, files)
        return made, files

    return published


def pages(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.pages.citing import Cited
    from edgehold.pages.generate import cited_pages, files_of, made_pages

    made, files = kept(state, "results")
    names = tuple(sorted(files))
    return lambda: files_of(cited_pages(made_pages(made, names, {}, {}, None, ""), made, names, Cited("", "", made.provenance), ()))


def site(root: Path, state: Path) -> Callable[[], object]:
    from edgehold.builds import site as build

    return lambda: build(root)


RUN = {"check": check, "endpoints": endpoints, "estimates": estimates, "pooling": pooling, "results": results, "pages": pages, "site": site}
GIVES = {"results": lambda made: made[1].values(), "pages": lambda made: [text.encode() for _, text in made]}


def kept(state: Path, stage: str) -> object:
    """What an earlier stage gave."""
    import edgehold.engine.tasks  # noqa: F401  # how some of it goes into a file

    return pickle.loads((state / f"{stage}.pickle").read_bytes())


def in_this_process(stage: str, root: Path, state: Path) -> None:
    """Run a stage and print what it took."""
    run = RUN[stage](root, state)
    begun, cpu = time.perf_counter(), _cpu()
    found = run()
    seconds, cpu = time.perf_counter() - begun, _cpu() - cpu
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1000
    if stage == "site":
        sizes = [path.stat().st_size for path in (root / "build" / "site").rglob("*") if path.is_file()]
    else:
        sizes = [len(one) for one in GIVES.get(stage, lambda _: ())(found)]
        (state / f"{stage}.pickle").write_bytes(pickle.dumps(found, protocol=pickle.HIGHEST_PROTOCOL))
    print(json.dumps([seconds, cpu, peak, len(sizes), sum(sizes)]))


def _cpu() -> float:
    return sum(u.ru_utime + u.ru_stime for u in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)))


# ---- all of them -------------------------------------------------------------------------------------------------------------


def of_size(folder: Path, count: int, steels: int, limit: float, stages: tuple[str, ...]) -> Iterator[tuple[str, Measured | str]]:
    """Every stage of one repository in turn; a word where it has no figure."""
    root, state = folder / "repository", folder / "state"
    state.mkdir(parents=True)
    make(root, count, steels)
    broken = ""
    for stage in (*STAGES, *CHANGES):
        if stage not in stages:
            continue
        if broken:
            yield stage, broken
            continue
        if stage in CHANGES:
            change(root, stage, count, steels)
        found = measured("site" if stage in CHANGES else stage, root, state, limit)
        yield stage, found
        if isinstance(found, str) and stage not in ("pages", "results"):
            broken = UNMEASURED


def measured(stage: str, root: Path, state: Path, limit: float) -> Measured | str:
    """One stage in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.growth", "--stage", stage, "--folder", str(root), "--state", str(state)]
    with subprocess.Popen(command, cwd=ROOT, env=os.environ | ONE_THREAD, stdout=subprocess.PIPE, start_new_session=True) as process:
        try:
            out, _ = process.communicate(timeout=limit + 120)  # its input is read before the clock starts
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, 9)
            return f"more than {limit:.0f} s"
    if process.returncode:
        return f"failed ({process.returncode})"
    return Measured(*json.loads(out.decode().splitlines()[-1]))


def change(root: Path, kind: str, count: int, steels: int) -> None:
    """One file more: a submission that was not there, a correction of a reading, a retraction."""
    from edgehold.records.change.writing import correct, retract

    if kind == "added":
        *_, last = submissions(count + 1, steels)
        path, data = placed(last)
        (root / path).write_bytes(data)
        return
    there = sorted((root / "submissions" / "measured" / "steels-exchanged-rope").glob("*.json"))
    if kind == "corrected":
        tree = json.loads(there[0].read_bytes())
        old = next(one for one in tree["runs"][0]["readings"] if one["values"])
        place = f"/runs/0/readings/{tree['runs'][0]['readings'].index(old)}/values/0/written"
        value = json.dumps(old["values"][0]["written"] + 1 if isinstance(old["values"][0]["written"], (int, float)) else 4)
        done = correct(root, there[0].stem, [(place, json.loads(value))], why="misread", by=tree["submitted_by"], month="2026-11")
    else:
        tree = json.loads(there[1].read_bytes())
        done = retract(root, there[1].stem, why="spoiled", by=tree["submitted_by"], month="2026-11")
    if not done.kept:
        raise RuntimeError(f"the change was refused: {done.findings}")


# ---- the table ---------------------------------------------------------------------------------------------------------------

EXPLAINED = (
    "What may grow faster than its input, and why:",
    "",
    "- Pooling holds the log of moves: as many fits as there are months and endpoints, each of all runs that counted then. While "
    "months are added it grows with months times runs; these repositories have 14 months with 60 submissions, 26 with 500 and 29 "
    "from 2,000 on.",
    "- Posteriors are sampled up to 1,000 runs or readings and normal about their mode above. From 60 to 500 submissions most"
    " pools are below, where every point costs the cube of the rows.",
    "- Pairs grow with the square of the steels until all are met, and stay as many then.",
    "- What one more submission adds to a site, by kind of file, and what 10,000 take, is in `WEIGHT.md`.",
    "",
    "Beside the table, November 2026, one process on the same machine: the joint model of one pool of 2,000 submissions (5,373 "
    "runs, 36,251 readings, 26,335 effects and coefficients) with all that is read off it took 120 s of CPU and 1.8 GB. What "
    "comes before that fit took 17.6 s of CPU before people as columns of a dense matrix were done without, and takes 4.6 now.",
)

Figures = dict[tuple[int, int, str], Measured | str]
"""By number of steels, number of submissions and stage."""


def exponent(found: Figures, steels: int, stage: str) -> float | None:
    """Slope of ln CPU on ln submissions; None with fewer than two figures."""
    points = [(n, one.cpu) for (many, n, name), one in found.items() if (many, name) == (steels, stage) and isinstance(one, Measured)]
    if len(points) < 2:
        return None
    n, cpu = np.log(np.array(points)).T
    return float(np.polyfit(n, cpu, 1)[0])


def goals(found: Figures, steels: tuple[int, ...]) -> list[Goal]:
    """What is wanted of every stage, and of a build of the most submissions."""
    lines = []
    for many in steels:
        lines += [
            Goal(f"{stage}, {many} steels: exponent of CPU", LARGEST_EXPONENT, exponent(found, many, stage), unit="") for stage in STAGES
        ]
        of = f"{MOST:,} submissions, {many} steels"
        whole = found.get((many, MOST, "site"), "")
        lines += [
            _goal(f"{of}: whole build", whole, lambda one: one.seconds, FULL, "s"),
            _goal(f"{of}: size of the site", whole, lambda one: one.size / 1e6, MEGABYTES, "MB"),
            _goal(f"{of}: files of the site", whole, lambda one: one.files, FILES, "files"),
        ]
        lines += [
            _goal(f"{of}: one {kind}", found.get((many, MOST, kind), ""), lambda one: one.seconds, AFTER_ONE, "s") for kind in CHANGES
        ]
    return lines


def _goal(what: str, one: Measured | str, figure: Callable[[Measured], float], most: float, unit: str) -> Goal:
    if isinstance(one, str):
        return Goal(what, most, None, unit, instead="" if one == UNMEASURED else one)
    return Goal(what, most, figure(one), unit)


def table(found: Figures, sizes: tuple[int, ...], steels: tuple[int, ...]) -> str:
    """All figures and verdicts."""
    lines = [
        "# How a build grows",
        "",
        "Made repositories (`growth_repository.py`), every stage in a process of its own (`growth.py`). CPU is of all processes of a "
        "stage, memory of its largest. Pooling holds everything between records and results, endpoints and estimates among it; pages are "
        "those that the site generator gets, the site is what is published, from an empty cache.",
        "",
    ]
    for many in steels:
        lines += [
            f"## {many} steels",
            "",
            "| stage | " + " | ".join(f"{n:,}" for n in sizes) + " | exponent |",
            "|---" * (len(sizes) + 2) + "|",
        ]
        for stage in (*STAGES, *CHANGES):
            cells = [_cell(found.get((many, n, stage), UNMEASURED)) for n in sizes]
            slope = exponent(found, many, stage)
            lines.append(f"| {stage} | " + " | ".join(cells) + f" | {'' if slope is None else f'{slope:.2f}'} |")
        lines.append("")
    lines += ["## Goals", "", *HEAD, *(goal.row() for goal in goals(found, steels))]
    return "\n".join([*lines, "", *EXPLAINED, "", machine(), ""])


def _cell(one: Measured | str) -> str:
    if isinstance(one, str):
        return one
    made = f", {one.files:,} files, {one.size / 1e6:.1f} MB" if one.files else ""
    return f"{one.seconds:.1f} s ({one.cpu:.1f} of CPU), {one.megabytes:.0f} MB of memory{made}"


def machine() -> str:
    """What it was measured on."""
    import scipy

    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    busy = " Others were at work on it: the clock counts their share too, the CPU hardly." if max(os.getloadavg()) > os.cpu_count() else ""
    versions = f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    return f"Machine: {os.cpu_count()} cores, load {load}; {platform.system()} {platform.machine()}, {versions}.{busy}"


def numbers(text: str) -> tuple[int, ...]:
    """Whole numbers between commas."""
    return tuple(int(one) for one in text.split(","))


def main() -> int:
    """Measure and print; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=numbers, default=SIZES)
    parser.add_argument("--steels", type=numbers, default=(FEW, MANY))
    parser.add_argument("--stages", type=lambda text: tuple(text.split(",")), default=(*STAGES, *CHANGES))
    parser.add_argument("--limit", type=float, default=LIMIT, help="seconds after which a stage is ended")
    parser.add_argument("--folder", type=Path, default=None, help="where to make the repositories (default: a temporary folder)")
    parser.add_argument("--figures", type=Path, default=None, help="a file in which figures are kept, and added to those of earlier runs")
    parser.add_argument("--no-runs", action="store_true", help="make the table of kept figures and measure nothing")
    parser.add_argument("--write", action="store_true", help="replace the table beside this script")
    parser.add_argument("--stage", help=argparse.SUPPRESS)
    parser.add_argument("--state", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.stage:
        in_this_process(asked.stage, asked.folder, asked.state)
        return 0
    found = read_figures(asked.figures)
    for many in asked.steels:
        for count in () if asked.no_runs else asked.sizes:
            with tempfile.TemporaryDirectory(prefix="edgehold-growth-", dir=asked.folder) as folder:
                for stage, one in of_size(Path(folder), count, many, asked.limit, asked.stages):
                    found[(many, count, stage)] = one
                    print(f"{count:,} submissions, {many} steels: {stage}: {_cell(one)}", file=sys.stderr, flush=True)
                    keep_figures(asked.figures, found)
    sizes, steels = (tuple(sorted({key[place] for key in found} | set(wanted))) for place, wanted in ((1, asked.sizes), (0, asked.steels)))
    text = table(found, sizes, steels)
    print(text)
    if asked.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("growth", goals(found, steels))


def read_figures(path: Path | None) -> Figures:
    """Those of earlier runs."""
    if path is None or not path.exists():
        return {}
    return {(many, n, stage): one if isinstance(one, str) else Measured(*one) for many, n, stage, one in json.loads(path.read_text())}


def keep_figures(path: Path | None, found: Figures) -> None:
    """All of them, so far."""
    if path is not None:
        rows = [
            [*key, one if isinstance(one, str) else [one.seconds, one.cpu, one.megabytes, one.files, one.size]]
            for key, one in found.items()
        ]
        path.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    sys.exit(main())
