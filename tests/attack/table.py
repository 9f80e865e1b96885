"""What `make attack` prints: one table, and beside it what took longest, what invented files move and what is asked about."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator, Mapping, Sequence
from importlib.metadata import version

from .cases import COLUMNS, Row, Tried

LIBRARIES = ("numpy", "scipy", "pydantic", "PyYAML", "Markdown", "nh3", "mkdocs", "mkdocs-material")
UNWATCHED = "–"
LONGEST = 10


def counted(rows: Mapping[str, Row]) -> Iterator[str]:
    """The table: a row a kind of attack, a column for each thing that must be zero."""
    yield f"| | kept | drawn | {' | '.join(COLUMNS)} |"
    yield f"|---{'|---:' * (2 + len(COLUMNS))}|"
    for name, row in rows.items():
        cells = [str(row.broken[column]) if column in row.watched else UNWATCHED for column in COLUMNS]
        yield f"| {name} | {row.kept:,} | {row.drawn:,} | {' | '.join(cells)} |"
    total = [sum(row.broken[column] for row in rows.values()) for column in COLUMNS]
    yield f"| **all** | {sum(r.kept for r in rows.values()):,} | {sum(r.drawn for r in rows.values()):,} | {' | '.join(map(str, total))} |"


def longest(rows: Mapping[str, Row]) -> Iterator[str]:
    """The drawn cases that took longest, and the mean of their row."""
    found = sorted(((name, case) for name, row in rows.items() for case in row.slowest), key=lambda one: -one[1].seconds)
    yield "| case | row | s | mean of the row, s |"
    yield "|---|---|---:|---:|"
    for name, case in found[:LONGEST]:
        row = rows[name]
        yield f"| {_harmless(case)} | {name} | {case.seconds:.2f} | {row.seconds / max(1, row.drawn):.4f} |"


def _harmless(case: Tried) -> str:
    return "".join(letter if letter.isprintable() and letter not in "|<>`\\" else " " for letter in case.name)[:90]


def machine() -> str:
    """Where it ran."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return f"{platform.system()} {platform.machine()}, {os.cpu_count()} processors; Python {platform.python_version()}; {libraries}"


def page(rows: Mapping[str, Row], moved: Sequence[str], asked: Sequence[str], seed: int, seconds: float) -> str:
    """The whole page."""
    parts = [
        "# What the attack came to",
        f"Made by `make attack`: {sum(row.drawn for row in rows.values()):,} cases drawn from seed {seed}, in {seconds / 60:.0f} minutes.",
        f"{machine()}.",
        "Every column has to be zero. Kept cases are tests of the suite. Limits: 2 s of processor time and 500 MiB a case, but for whole",
        "builds; – where a column cannot be told of a row.",
        "",
        *counted(rows),
        "",
        "## Largest move of a headline by invented files",
        "",
        "19 honest files whose blades go round, and 3, 10 or 50 invented ones under as many handles, on blades that nobody else has met.",
        "In half-widths of the honest interval, by the ratio invented over the true one; largest of all seeds. A verdict is turned where",
        "it becomes another one, lost where it becomes undecided. A larger move than there may be, or a verdict turned, fails the command.",
        "",
        *moved,
        "",
        "## What is asked about invented files",
        "",
        *asked,
        "",
        "## The drawn cases that took longest",
        "",
        *longest(rows),
        "",
    ]
    return "\n".join(parts)
