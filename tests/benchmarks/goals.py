"""All goals of speed and size in one table, with what was found and the verdict.

    python -m tests.benchmarks.goals [--write]

Every script beside this one keeps what it found of its goals under ``build/benchmarks/``; a script that was not run, or found nothing,
stands in the table as not measured. Exit status 1 where a goal is missed or was not measured. ``--write`` replaces the table beside
this script.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE, KEPT = Path(__file__).parent / "GOALS.md", ROOT / "build" / "benchmarks"
SCRIPTS = {
    "commands": "Commands",
    "build_speed": "The demonstration's site",
    "posteriors": "Posteriors",
    "check_speed": "The check",
    "bench": "Crossed fits",
    "growth": "Growth",
    "submission_weight": "What a submission adds",
    "forms": "Form and planner",
    "explorer": "Explorer",
    "page_weights": "Pages",
}
"""By script, in the order of the table."""


@dataclass(frozen=True)
class Goal:
    """What is wanted, at most or at least, and what was found.

    Attributes
    ----------
    what : is measured.
    wanted : the bound, in `unit`.
    found : the figure; None where there is none.
    unit : of both.
    at_least : the bound is the least that is wanted, not the most.
    instead : what happened where there is no figure, such as a time that ran out.
    """

    what: str
    wanted: float
    found: float | None
    unit: str = "s"
    at_least: bool = False
    instead: str = ""

    @property
    def verdict(self) -> str:
        """Whether the goal is kept."""
        if self.found is None:
            return "missed" if self.instead else "not measured"
        return "kept" if (self.found >= self.wanted if self.at_least else self.found < self.wanted) else "missed"

    def row(self) -> str:
        """Its line of a table: what, wanted, found, verdict."""
        found = self.instead or "–" if self.found is None else f"{_figure(self.found)} {self.unit}".rstrip()
        wanted = f"{'at least' if self.at_least else 'below'} {self.wanted:,g} {self.unit}".rstrip()
        return f"| {self.what} | {wanted} | {found} | {self.verdict} |"


HEAD = ("| goal | wanted | found | verdict |", "|---|---|---|---|")


def _figure(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def counted(clock: float, cpu: float, load: float | None = None) -> float:
    """The seconds that are held against a goal: of CPU where the machine did other work, a load above its processors.

    Parameters
    ----------
    clock, cpu : what something took.
    load : when it ended; None: now.
    """
    return cpu if (os.getloadavg()[0] if load is None else load) > (os.cpu_count() or 1) else clock


def keep(script: str, goals: Iterable[Goal], folder: Path = KEPT) -> int:
    """Keep what a script found of its goals for the one table.

    Returns
    -------
    Its exit status: 0 where all are kept, else 1.
    """
    found = list(goals)
    folder.mkdir(parents=True, exist_ok=True)
    kept = {"on": datetime.date.today().isoformat(), "load": round(os.getloadavg()[0], 1), "goals": [asdict(goal) for goal in found]}
    (folder / f"{script}.json").write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return int(any(goal.verdict != "kept" for goal in found))


def table(folder: Path = KEPT) -> tuple[str, bool]:
    """The one table, and whether every goal is kept."""
    lines = [
        "# All goals of speed and size",
        "",
        "What is measured, and how, stands in the tables beside this one and at the head of each script.",
        "",
    ]
    whole = True
    for script, title in SCRIPTS.items():
        place = folder / f"{script}.json"
        if not place.exists():
            lines += [f"## {title}", "", f"Not measured (`{script}.py`).", ""]
            whole = False
            continue
        kept = json.loads(place.read_text(encoding="utf-8"))
        goals = [Goal(**one) for one in kept["goals"]]
        whole &= all(goal.verdict == "kept" for goal in goals)
        lines += [f"## {title}", "", f"`{script}.py`, {kept['on']}, a load of {kept['load']:g} at its end.", "", *HEAD]
        lines += [*(goal.row() for goal in goals), ""]
    return "\n".join([*lines, machine(), ""]), whole


def machine() -> str:
    """What it was measured on."""
    return f"Machine: {os.cpu_count()} cores; {platform.system()} {platform.machine()}, Python {platform.python_version()}."


def main() -> int:
    """Print the table, and keep it where asked; 1 where a goal is not kept."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", action="store_true", help="replace the table beside this script")
    asked = parser.parse_args()
    text, whole = table()
    print(text)
    if asked.write:
        TABLE.write_text(text, encoding="utf-8")
    return int(not whole)


if __name__ == "__main__":
    sys.exit(main())
