"""Lives most of which outlast the test: their ratio says so, and its limits are those of values settled at every point."""

import numpy as np
import pytest

from edgehold.numerics.half_t import HalfT
from edgehold.pooling import headline, hierarchical
from edgehold.words import arguments_of, code_of


def pool(outlast: int) -> dict[str, object]:
    """Eight tables with two runs on each of two blades; the lives of the first ``outlast`` runs are only known to be longer than 40."""
    rng = np.random.default_rng(3)
    rows = [(table, steel) for table in range(8) for steel in ("a", "b") for _ in range(2)]
    low = rng.normal(3, 0.3, len(rows))
    high = low.copy()
    low[:outlast], high[:outlast] = np.log(40), np.inf
    labels = {
        "steel": [steel for _, steel in rows], "blade": [f"{steel}{table}" for table, steel in rows], "batch": [None] * len(rows),
        "sharpener": [f"p{table}" for table, _ in rows], "tester": [f"p{table}" for table, _ in rows],
        "submission": [f"f{table}" for table, _ in rows],
    }  # fmt: skip
    return {"low": low, "high": high, "labels": labels, "worthwhile": 1.25}


@pytest.mark.parametrize(("outlast", "said"), [(0, False), (10, False), (16, True)])
def test_a_ratio_from_mostly_open_lives_says_how_many_are_open(outlast, said):
    (answer,) = headline(**pool(outlast)).pairs
    assert (code_of(answer.weak) == "separability.mostly_open") == said
    if said:
        assert arguments_of(answer.weak) == {"open": 16, "runs": 32}


def test_limits_are_those_of_a_posterior_in_which_every_point_is_settled_wholly():
    """Two thirds of the lives are open: sites left as at the mode made the limits too narrow."""
    rng = np.random.default_rng(11)
    tables, runs = 12, 4
    table = np.repeat(np.arange(tables), runs)
    side = np.tile([0.5, -0.5], tables * runs // 2)
    low = 3.9 + 0.2 * side + rng.normal(0, 0.4, tables)[table] + rng.normal(0, 0.4, len(table))
    open_ended = low > np.log(40)
    low[open_ended] = np.log(40)
    high = np.where(open_ended, np.inf, low)
    assert 0.5 < open_ended.mean() < 0.8
    X = np.column_stack([np.ones(len(table)), side])
    priors = {"table": HalfT(4, 0.4), "residual": HalfT(4, 0.4)}
    usual, wholly = (hierarchical(low, X, {"table": table}, priors, high=high, error=error).contrast([0.0, 1.0]) for error in (0.02, 0.004))
    half = (wholly.interval.high - wholly.interval.low) / 2
    assert abs(usual.interval.low - wholly.interval.low) < 0.04 * half
    assert abs(usual.interval.high - wholly.interval.high) < 0.04 * half
