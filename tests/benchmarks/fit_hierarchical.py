"""Finds the posterior of the hierarchical model of a CSV of runs and prints one JSON line.

    python tests/benchmarks/fit_hierarchical.py runs.csv REPEATS

Same runs, fixed part and random terms as ``fit_crossed.py``; the priors are the project's own.
"""

from __future__ import annotations

import json
import sys

import numpy as np
import pandas as pd

from edgehold.numerics.half_t import HalfT
from edgehold.pooling.hierarchical import Posterior, hierarchical
from tests.benchmarks.fit_crossed import TERMS, timed

PRIORS = {name: HalfT(4, 0.2) for name in TERMS} | {"residual": HalfT(4, 0.3)}


def fit(runs: pd.DataFrame) -> Posterior:
    """Steels fixed, testers, sharpeners, blades and steel × tester random."""
    codes = pd.factorize(runs["steel"])[0]
    X = np.zeros((len(runs), codes.max() + 1))
    X[np.arange(len(runs)), codes] = 1.0
    found = hierarchical(runs["y"], X, {name: runs[name] for name in TERMS}, PRIORS)
    assert isinstance(found, Posterior), found.reason
    return found


def main(path: str, repeats: int) -> None:
    """Print what ``timed`` finds and how the posterior was found."""
    result, record = timed(fit, path, repeats)
    record |= {
        "points": result.convergence.points,
        "how": result.convergence.message or "importance sampling",
        "sds": {name: round(result.spread(name).mean, 4) for name in result.names},
    }
    print(json.dumps(record))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
