"""A quick gate of the study of levels; the whole of it is in ``level_coverage.md``."""

import level_coverage
import numpy as np
import pytest
from scipy.stats import binom

POOLS = 40
LEAST = int(binom.ppf(0.001, POOLS, 0.93))  # held in fewer pools than this, an interval that keeps .93 is one in a thousand


@pytest.mark.parametrize("design", [level_coverage.DESIGNS[0], level_coverage.DESIGNS[7]], ids=lambda design: design.told)
def test_intervals_of_levels_hold_the_truth(design):
    found = [level_coverage.outcome(design, seed) for seed in range(1000, 1000 + POOLS)]
    assert sum(one.held for one in found) >= LEAST
    assert not any(one.verdict in ("better", "worse") for one in found)


def test_the_generator_draws_the_ratio_that_it_says():
    design = level_coverage.DESIGNS[1]
    drawn = [level_coverage.drawn(design, seed) for seed in range(200)]
    gaps = [np.mean(y[np.array(told["level"]) == "l0"]) - np.mean(y[np.array(told["level"]) == "l1"]) for y, told, _ in drawn]
    assert np.mean(gaps) == pytest.approx(np.log(design.ratio), abs=4 * np.std(gaps) / np.sqrt(len(gaps)))
