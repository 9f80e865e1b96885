"""How long `edgehold site` takes on the demonstration, cold and after one file has changed, as a Markdown table with the machine.

    python -m tests.benchmarks.build_speed [--one] [--write]

The repository is a copy of the project's own: its protocols, submissions, schemas and pages. Every build is a process of its own, which
imports the program anew, as `make site` starts it; installation is not counted. Seconds are those of the clock, CPU seconds those of the
process and all that it started (``wait4``), and memory is the most that a single one of them held. ``--one`` builds cold with one
processor, too. Where the machine did other work (a load above its processors), the verdict goes by CPU seconds, which a clock on an idle
machine would not exceed; the exit status is 1 where a goal is missed. ``--write`` replaces the table kept beside this script.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.goals import Goal, counted, keep

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).parent / "BUILD.md"
PARTS = ("protocols", "submissions", "schemas", "site/pages", "site/overrides", "mkdocs.yml")
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
COLD, WARM, CHANGED = 60.0, 12.0, 3.0  # seconds
TOGETHER = 1.6  # times as fast as one processor
ALONE, COLD_BUILD = "nothing kept, one process", "nothing kept"
ONE_PROCESSOR = "import os\nos.cpu_count = lambda: 1\n"


@dataclass(frozen=True)
class Built:
    """One build: what was done before, seconds, CPU seconds, megabytes, the load while it ran, and the goal in seconds."""

    what: str
    seconds: float
    cpu: float
    megabytes: int
    load: float
    goal: float | None

    @property
    def counts(self) -> float:
        """The seconds that are held against the goal."""
        return counted(self.seconds, self.cpu, self.load)

    @property
    def verdict(self) -> str:
        """Whether the goal is kept; empty where there is none."""
        return "" if self.goal is None else Goal(self.what, self.goal, self.counts).verdict


def build(root: Path, what: str, goal: float | None, more: dict[str, str] | None = None) -> Built:
    """Build the site of a repository once."""
    paths = os.pathsep.join([*((more or {}).get("PYTHONPATH", "").split(os.pathsep)), str(ROOT / "aggregator")]).lstrip(os.pathsep)
    environment = os.environ | dict.fromkeys(THREADS, "1") | (more or {}) | {"PYTHONPATH": paths}
    os.sync()
    began = time.perf_counter()
    process = os.posix_spawn(
        sys.executable,
        [sys.executable, "-m", "edgehold", "site", "--root", str(root)],
        environment,
        file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
    )
    _, status, used = os.wait4(process, 0)
    seconds = time.perf_counter() - began
    if status:
        raise SystemExit(f"the build of {what} ended with status {os.waitstatus_to_exitcode(status)}")
    return Built(what, seconds, used.ru_utime + used.ru_stime, used.ru_maxrss // 1024, os.getloadavg()[0], goal)


def appended(line: str) -> Callable[[str], str]:
    return lambda text: f"{text.rstrip()}\n\n{line}\n"


def another_reading(text: str) -> str:
    """The first reading that is written as text, a little larger."""
    changed, count = re.subn(r'(?<="written": ")(\d+)', lambda found: str(int(found[1]) + 1), text, count=1)
    assert count == 1
    return changed


def changes(root: Path) -> Iterator[tuple[str, Path, Callable[[str], str], float | None]]:
    """What is changed, one after the other: what it is, the file, what becomes of its text, and the goal."""
    yield "a hand-written page changed", root / "site" / "pages" / "privacy.md", appended("One line more."), CHANGED
    yield "the theme's footer changed", root / "site" / "overrides" / "partials" / "footer.html", appended(""), WARM
    (objection,) = (root / "protocols" / "two-sharpeners-rope" / "objections").glob("002-*/00-objection.md")
    yield "an objection's text changed", objection, appended("It has been so twice."), CHANGED
    for name in ("finish-in-halves-rope", "two-sharpeners-rope"):
        paths = sorted((root / "submissions" / "simulated" / name).glob("*.json"))
        path = next(path for path in paths if '"written": "' in path.read_text(encoding="utf-8"))
        yield f"a submission to `{name}` changed", path, another_reading, CHANGED


def measured(one: bool) -> Iterator[Built]:
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "repository"
        for part in PARTS:
            (shutil.copytree if (ROOT / part).is_dir() else shutil.copy)(ROOT / part, _ready(root / part))
        if one:
            (Path(folder) / "sitecustomize.py").write_text(ONE_PROCESSOR, encoding="utf-8")
            yield build(root, ALONE, None, {"PYTHONPATH": folder})
            shutil.rmtree(root / "build")
        yield build(root, COLD_BUILD, COLD)
        yield build(root, "nothing changed", CHANGED)
        for what, path, change, goal in changes(root):
            path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
            yield build(root, what, goal)


def _ready(place: Path) -> Path:
    place.parent.mkdir(parents=True, exist_ok=True)
    return place


def table(builds: list[Built]) -> str:
    rows = [
        f"| {b.what} | {b.seconds:.1f} | {b.cpu:.1f} | {b.megabytes} | {b.load:.1f} | {'' if b.goal is None else f'{b.goal:g}'} "
        f"| {b.verdict} |"
        for b in builds
    ]
    return "\n".join(
        [
            "# How long the demonstration's site takes",
            "",
            "What is measured stands at the head of `build_speed.py`. Where the load is above the number of processors, other work ran",
            "beside it: the clock says little then, and the verdict goes by CPU seconds.",
            "",
            "| before the build | s | CPU s | MB | load | goal, s | verdict |",
            "|---|---|---|---|---|---|---|",
            *rows,
            "",
            f"Machine: {os.cpu_count()} cores; {platform.system()} {platform.machine()}, Python {platform.python_version()}.",
            "",
        ]
    )


def goals(builds: list[Built]) -> list[Goal]:
    """The goal of every build that has one, and of two processors beside one where both were used."""
    found = [Goal(f"the site, {one.what}", one.goal, one.counts) for one in builds if one.goal is not None]
    alone, together = ([one.seconds for one in builds if one.what == what] for what in (ALONE, COLD_BUILD))
    if alone:
        found.append(
            Goal("the site, nothing kept: two processors beside one", TOGETHER, alone[0] / together[0], "times as fast", at_least=True)
        )
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--one", action="store_true", help="build cold with one process, too")
    parser.add_argument("--write", action="store_true", help="replace the table kept beside this script")
    arguments = parser.parse_args()
    builds = []
    for one in measured(arguments.one):
        builds.append(one)
        print(f"{one.what}: {one.seconds:.1f} s, {one.cpu:.1f} s of CPU, load {one.load:.1f}", file=sys.stderr)
    text = table(builds)
    print(text)
    if arguments.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("build_speed", goals(builds))


if __name__ == "__main__":
    raise SystemExit(main())
