"""The committed table of the usual evening is what the planner says today."""

import math

import pytest
from scipy.stats import t

from tests.simulation.usual_evening import PAGE, page


def test_the_table_is_what_the_planner_says():
    assert PAGE.read_text(encoding="utf-8") == page()


def test_a_half_width_of_the_table_is_that_of_the_textbook_where_the_spread_is_known():
    """Six runs in three pairs, one of which has its halves the other way round: variance 2p/(p² − s²) σ², at 4 + 1 degrees of freedom.

    With σ² known up to the four degrees that the protocol's assumption is worth, the half-width is t(0.975) s √variance; s itself is drawn,
    so that its median lies near the assumption.
    """
    (row,) = (line for line in PAGE.read_text(encoding="utf-8").splitlines() if "two-sharpeners-rope 2.0.0 | 1 | 1 | 6 |" in line)
    stated = float(row.split("|")[8].strip().removeprefix("×"))
    expected = t.ppf(0.975, 4 + 1) * 0.20 * math.sqrt(2 * 3 / (3**2 - 1**2))
    assert math.log(stated) == pytest.approx(expected, rel=0.15)
