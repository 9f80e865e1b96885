"""A ratio of lives most of which outlast the test says so: it speaks of those that did not."""

import numpy as np
import pytest

from edgehold.pooling import headline
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
