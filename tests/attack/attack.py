"""Attack every reader, the check of requests and the built site, and count what gave way: ``make attack``.

::

    python -m tests.attack.attack --cases 100000

prints one table and writes it to TABLE.md beside this script with ``--write``; the exit status is 1 where a column is not zero. Every
drawn case has a seed of its own that its name tells; what breaks a promise is printed with the bytes that did.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy
os.environ.setdefault("EDGEHOLD_TRACEBACK", "1")  # a fault of the program is an exception and no sentence

from . import acts, fabricators, moves, readers, site, table
from .cases import COLUMNS, DIFFERING, LOST, READING, SCRIPT, TRACEBACK, UNSAID, Row, Tried, told
from .kept import kept_file, kept_files

TABLE = Path(__file__).with_name("TABLE.md")
BATCH = 250
BATCHES = 40  # of one process


@dataclass(frozen=True)
class Kind:
    """One row of the table.

    Attributes
    ----------
    draw : of a folder, a seed and a number, the cases tried; None: only kept cases.
    share : of all cases that are drawn.
    watched : columns, the first of which a failing kept case counts in.
    batch : cases of one process at a time.
    least : cases, however few are drawn in all.
    """

    draw: readers.Draw | None
    share: float
    watched: tuple[str, ...] = READING
    batch: int = BATCH
    least: int = 0


REQUEST = (UNSAID, TRACEBACK, *READING[1:3])
KINDS = {
    "files of a repository": Kind(readers.repository_files, 0.25),
    "sheets, CSV and XLSX": Kind(readers.filled_sheets, 0.20),
    "finished files, blocks of letters": Kind(readers.finished_files, 0.20),
    "tables of repeatability, results": Kind(readers.tables, 0.06),
    "answers for a draft": Kind(readers.answers, 0.06),
    "bodies and drawings": Kind(readers.bodies, 0.13),
    "whole commands": Kind(readers.commands, 0.09),
    "requests: what may change": Kind(None, 0, REQUEST),
    "requests: in whose name": Kind(acts.acts, 0.007, REQUEST, 50),
    "requests: floods of objections": Kind(acts.floods, 0.003, REQUEST, 50),
    "sites: pages in a browser": Kind(site.pages, 0.00006, (SCRIPT, TRACEBACK, LOST), 1, 2),
    "drafts kept in the browser": Kind(None, 0, (LOST, SCRIPT)),
    "sites: built twice": Kind(site.twice, 0.00006, (DIFFERING, TRACEBACK), 1, 2),
    "what invented numbers look like": Kind(None, 0, (TRACEBACK,)),
}  # fmt: skip


def batches(cases: int, seed: int) -> Iterator[tuple[str, int, int]]:
    """Row, first seed and number of every batch; batches of different rows in turn, so that a run that is stopped has met all of them."""
    lists = []
    for number, (name, kind) in enumerate(KINDS.items()):
        wanted = max(kind.least, round(cases * kind.share)) if kind.draw else 0
        first = seed + 10_000_000 * number
        lists.append([(name, first + start, min(kind.batch, wanted - start)) for start in range(0, wanted, kind.batch)])
    for place in range(max(map(len, lists))):
        yield from (of_row[place] for of_row in lists if place < len(of_row))


def drawn(name: str, seed: int, cases: int) -> list[Tried]:
    """One batch, in a folder of its own; of what is fine only what took long keeps its bytes."""
    draw = KINDS[name].draw
    assert draw is not None
    with TemporaryDirectory() as folder:
        return [case if case.complaint else Tried(case.name, seconds=case.seconds) for case in draw(Path(folder), seed, cases)]


def rows_of(cases: int, seed: int, processes: int, with_kept: bool, minutes: float) -> dict[str, Row]:
    """Everything, counted, kept and drawn cases in turn, for as long as there is time.

    Processes end after so many batches each, so that what one case leaves in memory is not another's. An executor that ends them by
    itself (``max_tasks_per_child``) waits for ever once they have ended (CPython issue 115634).
    """
    rows, ends = {name: Row(kind.watched) for name, kind in KINDS.items()}, time.monotonic() + 60 * minutes
    jobs, done = _jobs(cases, seed, rows, with_kept), 0
    for start in range(0, len(jobs), processes * BATCHES):
        with ProcessPoolExecutor(processes) as pool:
            asked = {pool.submit(job.call, *job.arguments): job for job in jobs[start : start + processes * BATCHES]}
            for one in as_completed(asked):
                if one.cancelled():
                    continue
                job, found, done = asked[one], one.result(), done + 1
                (rows[job.row].add_kept if job.kept else rows[job.row].add)(found)
                for text in told(case for case in found if case.complaint):
                    print(f"\n{text}", flush=True)
                if done % 20 == 0:
                    print(f"{done} of {len(jobs)} batches", file=sys.stderr, flush=True)
                if time.monotonic() > ends:
                    for other in asked:
                        other.cancel()
        if time.monotonic() > ends:
            break
    return rows


@dataclass(frozen=True)
class _Job:
    """One batch of drawn cases, or one file of kept ones, and the row that it counts in."""

    call: Callable[..., list[Tried]]
    arguments: tuple[Any, ...]
    row: str
    kept: bool


def _jobs(cases: int, seed: int, rows: Mapping[str, Row], with_kept: bool) -> list[_Job]:
    """Batches of drawn cases, a file of kept ones after each for as long as there are any."""
    kept = [_Job(kept_file, (file, rows[row].watched[0]), row, kept=True) for row, file in (kept_files() if with_kept else ())]
    every = [_Job(drawn, batch, batch[0], kept=False) for batch in batches(cases, seed)]
    return [job for two in zip_longest(every, kept) for job in two if job is not None]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=100_000, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--pools", type=int, default=4, help="honest pools to which invented files are added")
    parser.add_argument("--inventors", type=int, default=2, help="seeds of files that the screens are asked about")
    parser.add_argument("--no-kept", action="store_true", help="leave the suite's own cases out")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name} too")
    parser.add_argument("--minutes", type=float, default=math.inf, help="draw no more once so many have passed")
    arguments = parser.parse_args()
    began = time.monotonic()
    rows = rows_of(arguments.cases, arguments.seed, arguments.processes, not arguments.no_kept, arguments.minutes)
    with ProcessPoolExecutor(arguments.processes) as pool:
        asked = pool.map(fabricators.asked, range(1, arguments.inventors + 1))
        moved = [move for found in pool.map(moves.of_pool, range(1, arguments.pools + 1)) for move in found]
        page = table.page(rows, list(moves.table(moved)), list(fabricators.table(asked)), arguments.seed, time.monotonic() - began)
    print(page)
    if arguments.write:
        TABLE.write_text(page, encoding="utf-8")
    broken = sum(row.broken[column] for row in rows.values() for column in COLUMNS)
    return 1 if broken or moves.beyond(moved) else 0


if __name__ == "__main__":
    sys.exit(main())
