"""The gauge study of the MSA manual (tests/reference/gauge_study.json): its analysis of variance, its formulas, and ``crossed``."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from edgehold.pooling.crossed.crossed import crossed

STUDY = json.loads((Path(__file__).parents[1] / "reference" / "gauge_study.json").read_text(encoding="utf-8"))
TABLE = np.array([STUDY["measurements"][appraiser] for appraiser in "ABC"])  # (3 appraisers, 3 trials, 10 parts)
APPRAISERS, TRIALS, PARTS = TABLE.shape
DF = {"appraiser": 2, "part": 9, "interaction": 18, "error": 60}


def sums_of_squares(table):
    """Two-way analysis of variance with replicates, by definition."""
    appraiser, part, cell, mean = table.mean((1, 2)), table.mean((0, 1)), table.mean(1), table.mean()
    return {
        "appraiser": TRIALS * PARTS * ((appraiser - mean) ** 2).sum(),
        "part": TRIALS * APPRAISERS * ((part - mean) ** 2).sum(),
        "interaction": TRIALS * ((cell - appraiser[:, None] - part + mean) ** 2).sum(),
        "error": ((table - cell[:, None]) ** 2).sum(),
    }


def fitted(table=TABLE, **more):
    appraiser, _, part = (axis.ravel() for axis in np.indices(table.shape))
    groups = {"part": part, "appraiser": appraiser, "part x appraiser": appraiser * PARTS + part}
    return crossed(table.ravel(), np.ones((table.size, 1)), groups, **more)


def test_the_sums_of_squares_are_the_published_ones():
    assert sums_of_squares(TABLE) == pytest.approx(STUDY["sums_of_squares"], abs=5.1e-6)


def test_the_interaction_is_pooled_because_it_is_less_than_the_error():
    squares = {name: value / DF[name] for name, value in STUDY["sums_of_squares"].items()}
    ratio = squares["interaction"] / squares["error"]
    assert ratio == pytest.approx(0.434, abs=5e-4)
    assert f_distribution.sf(ratio, 18, 60) > 0.25  # the manual pools above it


def test_crossed_finds_the_published_figures_and_an_interaction_of_zero():
    """REML of a balanced table is its analysis of variance with what would be negative left out: exactly the pooled figures."""
    fit, wanted, limit = fitted(), STUDY["pooled"], STUDY["tolerance"]["absolute"]
    assert fit.convergence.converged
    assert fit.variances["part x appraiser"] == 0.0
    sd = {name: math.sqrt(value) for name, value in fit.variances.items()}
    assert sd["residual"] == pytest.approx(wanted["EV"], abs=limit)
    assert sd["appraiser"] == pytest.approx(wanted["AV"], abs=limit)
    assert sd["part"] == pytest.approx(wanted["PV"], abs=limit)
    grr = math.hypot(sd["residual"], sd["appraiser"])
    assert grr == pytest.approx(wanted["GRR"], abs=limit)
    assert math.hypot(grr, sd["part"]) == pytest.approx(wanted["TV"], abs=limit)
    assert 100 * grr / math.hypot(grr, sd["part"]) == pytest.approx(wanted["percent_GRR"], abs=5e-3)
    assert math.floor(1.41 * sd["part"] / grr) == wanted["ndc"]


def test_crossed_equals_the_published_formulas_of_pooled_mean_squares():
    """EV² = MSE, AV² = (MSA − MSE)/nr, PV² = (MSP − MSE)/kr, with interaction and error pooled."""
    squares = sums_of_squares(TABLE)
    error = (squares["interaction"] + squares["error"]) / (DF["interaction"] + DF["error"])
    appraiser = (squares["appraiser"] / DF["appraiser"] - error) / (PARTS * TRIALS)
    part = (squares["part"] / DF["part"] - error) / (APPRAISERS * TRIALS)
    found = fitted(profile=False).variances
    assert [found[name] for name in ("residual", "appraiser", "part")] == pytest.approx([error, appraiser, part], rel=1e-7)


def test_the_interaction_at_zero_keeps_an_upper_limit_and_three_appraisers_tell_little():
    fit = fitted()
    interaction, appraiser = fit.variance_intervals["part x appraiser"], fit.variance_intervals["appraiser"]
    assert interaction.low == 0 < interaction.high < fit.variances["residual"]
    assert appraiser.high > 10 * fit.variances["appraiser"] > 10 * appraiser.low
