"""Fits the crossed model to a CSV of runs and prints one JSON line.

    python tests/benchmarks/fit_crossed.py runs.csv REPEATS [--limits]

Timed is the call of ``crossed`` without profile intervals, which the other side does not compute either; standard errors, degrees
of freedom and predicted effects with their errors are included. ``--limits`` asks for the intervals too. Every repeat but the first
finds the analysis of the pattern kept from the one before; the first is in ``first_cpu``.
"""

from __future__ import annotations

import json
import platform
import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from importlib.metadata import PackageNotFoundError, version
from typing import TypeVar

import numpy as np
import pandas as pd
import scipy
import scipy.sparse as sp

from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import CrossedFitted, settled

Result = TypeVar("Result")
TERMS = ("tester", "sharpener", "blade", "cell")


def fit(runs: pd.DataFrame, limits: bool = False) -> CrossedFitted:
    """Steels fixed, testers, sharpeners, blades and steel × tester random; with profile limits of the variances where asked."""
    codes = pd.factorize(runs["steel"])[0]
    X = sp.csr_matrix((np.ones(len(runs)), codes, np.arange(len(runs) + 1)))
    found = settled(crossed(runs["y"], X, {name: runs[name] for name in TERMS}, profile=limits))
    if isinstance(found, str):
        raise SystemExit(found)
    return found


def timed(fit: Callable[[pd.DataFrame], Result], path: str, repeats: int) -> tuple[Result, dict[str, float]]:
    """A fit of the runs in a file, with the best wall and CPU seconds of ``repeats`` of them and peak memory."""
    runs = pd.read_csv(path)
    wall, cpu = [], []
    for _ in range(repeats):
        before, before_cpu = time.perf_counter(), time.process_time()
        result = fit(runs)
        wall.append(time.perf_counter() - before)
        cpu.append(time.process_time() - before_cpu)
    return result, {
        "wall": min(wall),
        "cpu": min(cpu),
        "first_cpu": cpu[0],
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def metis() -> str:
    """Whether the library that dissects large problems was there."""
    try:
        return f"pymetis {version('pymetis')}"
    except PackageNotFoundError:
        return "no pymetis"


def main(path: str, repeats: int, limits: bool) -> None:
    """Print what ``timed`` finds, log-likelihood and versions."""
    result, record = timed(partial(fit, limits=limits), path, repeats)
    record |= {
        "log_likelihood": result.log_likelihood,
        "evaluations": result.convergence.evaluations,
        "versions": f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}, {metis()}",
    }
    print(json.dumps(record))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), "--limits" in sys.argv)
