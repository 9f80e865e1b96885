"""Damage files by the hundred thousand and read them: ``make fuzz``.

Every case that breaks a promise is kept under ``tests/fuzz/past/`` and read again by every test run from then on.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from .readers import Failure, failures, repository
from .sheets import sheet_failures

PAST = Path(__file__).parent / "past"
BATCH = 500


def batch(seed: int, cases: int = BATCH) -> list[Failure]:
    """Failures of one batch, in a repository of its own; one case in five is a sheet."""
    sheets = cases // 5
    with tempfile.TemporaryDirectory() as folder:
        found = list(failures(repository(Path(folder) / "records"), seed, cases - sheets))
        return found + list(sheet_failures(Path(folder) / "sheets", seed + cases - sheets, sheets))


def keep(failure: Failure) -> Path:
    """Write a failing file where every later test run reads it."""
    name = hashlib.sha256(failure.data).hexdigest()[:12]
    path = PAST / name / failure.path
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(failure.data)
    return path


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    arguments = parser.parse_args()
    began, count, broken = time.monotonic(), 0, 0
    starts = range(arguments.seed, arguments.seed + arguments.cases, BATCH)
    with ProcessPoolExecutor(arguments.processes) as pool:
        for found in pool.map(batch, starts):
            count += BATCH
            for failure in found:
                broken += 1
                print(f"\n{keep(failure)}\n{failure.complaint}", flush=True)
            if sys.stderr.isatty():
                print(f"\r{count} cases, {broken} broken, {time.monotonic() - began:.0f} s", end="", file=sys.stderr, flush=True)
    print(f"\n{count} cases, {broken} broke a promise, {time.monotonic() - began:.0f} s")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
