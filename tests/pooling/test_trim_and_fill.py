"""Trim and fill: against a general-purpose library (tests/reference/*.json), a planted gap, and refusals."""

import json
from pathlib import Path

import numpy as np
import pytest

from edgehold.errors import InputError
from edgehold.pooling.pairwise.random_effects import random_effects
from edgehold.pooling.pairwise.trim_and_fill import TrimAndFill, trim_and_fill
from edgehold.words import code_of

REFERENCE = Path(__file__).parents[1] / "reference"


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["bcg", "raudenbush1985", "hackshaw1998"])
def test_agrees_with_the_library(name):
    data = load(name)
    wanted, tolerance = data["trim_and_fill"], data["tolerances"]["trim_and_fill"]["relative"]
    found = trim_and_fill([row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]], interval="wald")
    assert (found.missing, found.side) == (wanted["missing"], wanted["side"])
    assert found.fit.coefficients[0] == pytest.approx(wanted["estimate"], rel=tolerance)
    assert found.fit.standard_errors[0] == pytest.approx(wanted["standard_error"], rel=tolerance)
    assert found.fit.tau2 == pytest.approx(wanted["tau2"], rel=tolerance)
    assert found.fit.studies == found.studies + wanted["missing"]


@pytest.mark.parametrize("name", ["bcg", "raudenbush1985", "hackshaw1998"])
def test_what_the_library_prints_itself_is_the_same_to_four_digits_only_and_why(name):
    data = load(name)
    (known,) = (entry for entry in data["disagreements"] if entry["quantity"] == "trim and fill")
    assert known["why"]
    found = trim_and_fill([row["yi"] for row in data["rows"]], [row["vi"] for row in data["rows"]], interval="wald")
    assert found.fit.tau2 == pytest.approx(known["library"]["tau2"], rel=known["relative"])
    assert found.fit.tau2 != pytest.approx(known["library"]["tau2"], rel=1e-7)


def symmetric():
    """Nineteen studies, mirror images of one another about 1."""
    error = np.linspace(0.1, 0.6, 9)
    return np.concatenate([1 - 1.5 * error, [1.0], 1 + 1.5 * error]), np.concatenate([error, [0.05], error]) ** 2


def test_a_symmetric_funnel_lacks_nothing_and_keeps_its_result():
    y, v = symmetric()
    for side in ("left", "right"):
        found = trim_and_fill(y, v, side=side)
        assert found.missing == 0
        assert found.fit.coefficients[0] == pytest.approx(random_effects(y, v).coefficients[0], rel=1e-12)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_planted_gap_is_filled_on_its_own_side(side):
    y, v = symmetric()
    sign = 1 if side == "left" else -1
    y = 1 + sign * (y - 1)
    there = sign * (y - 1) > -0.6  # the small studies of one side never came back
    found = trim_and_fill(y[there], v[there])
    assert found.side == side
    assert 3 <= found.missing <= 7
    assert (sign * (found.filled - found.fit.coefficients[0]) < 0).all()
    before = random_effects(y[there], v[there]).coefficients[0]
    assert abs(found.fit.coefficients[0] - 1) < abs(before - 1)


def test_below_ten_studies_it_is_refused_unless_told():
    y, v = symmetric()
    assert trim_and_fill(y[:9], v[:9]) == "9 studies: not looked at below 10"
    assert isinstance(trim_and_fill(y[:9], v[:9], least_studies=4), TrimAndFill)


def test_without_small_and_large_studies_there_is_no_side_to_find():
    found = trim_and_fill(np.sin(np.arange(12)), np.full(12, 0.1))
    assert code_of(found) == "pairwise.small_alike"
    assert isinstance(trim_and_fill(np.sin(np.arange(12)), np.full(12, 0.1), side="left"), TrimAndFill)


def test_an_unknown_side_is_the_callers_mistake():
    with pytest.raises(InputError, match="side must be one of left, right, or None; got 'top'"):
        trim_and_fill(*symmetric(), side="top")
