"""Grids of simulations over processes of this machine, or with ``--cluster ADDRESS`` over the workers of a Dask cluster: the same lines.

Workers need this folder and the repository among their paths: ``PYTHONPATH=.:tests/simulation dask worker ADDRESS --nthreads 1``.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from functools import partial
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import Any

from edgehold.engine.tasks import each, on_cluster, side_by_side


class Hands:
    """Whoever does the lines of a grid."""

    def __init__(self, begin: Callable[..., Callable[[], Any]]) -> None:
        self._begin = begin

    def map(self, function: Callable[..., Any], *columns: Iterable[Any], chunksize: int = 1) -> list[Any]:
        """``function`` of every row of these columns, in their order; ``chunksize`` rows are one job."""
        rows = iter(zip(*columns, strict=True))
        jobs = []
        while chunk := list(islice(rows, chunksize)):
            jobs.append((_importable(function), chunk))
        done = self._begin(each, _several, jobs, [1.0] * len(jobs))()
        return [one for chunk in done for one in chunk]


@contextmanager
def spread_over(processes: int | None, cluster: str | None = None) -> Iterator[Hands]:
    """Hands: those of a cluster where its address is given, else processes, as many as processors where ``processes`` is None."""
    with on_cluster(cluster, _tell) if cluster else nullcontext(), side_by_side(sys.maxsize, processes or os.cpu_count()) as begin:
        yield Hands(begin)


def add_cluster(parser: argparse.ArgumentParser) -> None:
    """The option of a script."""
    parser.add_argument("--cluster", metavar="ADDRESS", help="let the workers of the Dask cluster at this address draw and fit")


def _several(function: Callable[..., Any], rows: list[tuple[Any, ...]]) -> list[Any]:
    return [function(*row) for row in rows]


def _importable(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function as another process finds it: a script that is run has another name than when it is imported."""
    if isinstance(function, partial):
        return partial(_importable(function.func), *function.args, **function.keywords)
    if function.__module__ != "__main__":
        return function
    found: Callable[..., Any] = getattr(import_module(Path(str(sys.modules["__main__"].__file__)).stem), function.__name__)
    return found


def _tell(text: str) -> None:
    print(text, file=sys.stderr)
