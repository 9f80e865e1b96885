"""Small-study effects: against a general-purpose library (tests/reference/*.json), Egger's own form, and refusals."""

import json
from pathlib import Path

import numpy as np
import pytest

from edgehold.errors import InputError
from edgehold.pooling.pairwise.small_study import SmallStudyTest, small_study_test
from edgehold.words import arguments_of, code_of

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("bcg", "raudenbush1985", "hackshaw1998")


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def studies(data):
    return tuple(np.array([row[key] for row in data["rows"]]) for key in ("yi", "vi"))


ENTRIES = [(name, entry["model"]) for name in DATA_SETS for entry in load(name)["small_study"]]


@pytest.mark.parametrize(("name", "model"), ENTRIES)
def test_both_forms_agree_with_the_library(name, model):
    """The library's mixed-effects form uses the normal quantile, so ``interval="wald"`` is asked for here."""
    data = load(name)
    wanted = next(entry for entry in data["small_study"] if entry["model"] == model)
    test = small_study_test(*studies(data), model=model, interval="wald")
    for quantity in set(wanted) - {"model", "call"}:
        got = getattr(test, quantity)
        got = [got.low, got.high] if quantity == "limit_interval" else got
        assert got == pytest.approx(wanted[quantity], rel=data["tolerances"]["small_study"]["relative"]), quantity


def test_both_forms_are_checked_on_three_data_sets():
    assert sorted(ENTRIES) == sorted((name, model) for name in DATA_SETS for model in ("mixed-effects", "weighted-regression"))


def test_the_weighted_regression_is_eggers_line_of_standardised_effect_on_precision():
    """Egger et al. 1997: ordinary regression of y/√v on 1/√v; its intercept is our slope, its slope our limit."""
    y, v = studies(load("hackshaw1998"))
    precision = 1 / np.sqrt(v)
    design = np.column_stack([np.ones(len(y)), precision])
    line, rss = np.linalg.lstsq(design, y * precision, rcond=None)[:2]
    covariance = rss[0] / (len(y) - 2) * np.linalg.inv(design.T @ design)
    test = small_study_test(y, v, model="weighted-regression")
    assert [test.slope, test.limit] == pytest.approx(line, rel=1e-10)
    assert test.standard_error == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-10)
    assert test.dispersion == pytest.approx(rss[0] / (len(y) - 2), rel=1e-10)
    assert test.tau2 is None


def test_the_guarded_interval_is_the_default_and_never_narrower_than_the_normal_one():
    y, v = studies(load("bcg"))
    guarded, wald = small_study_test(y, v), small_study_test(y, v, interval="wald")
    assert guarded.df == 11
    assert guarded.standard_error >= wald.standard_error
    assert guarded.p > wald.p


def test_below_ten_studies_there_is_a_reason_and_no_number_unless_told():
    y, v = studies(load("bcg"))
    refused = small_study_test(y[:9], v[:9])
    assert refused == "9 studies: not tested below 10, where chance alone makes funnels crooked"
    assert isinstance(small_study_test(y[:10], v[:10]), SmallStudyTest)
    assert small_study_test(y[:9], v[:9], least_studies=4).p > 0


def test_three_studies_are_too_few_even_when_told():
    test = small_study_test([0.1, 0.2, 0.4], [0.1, 0.2, 0.3], least_studies=2)
    assert test == "studies: 3; coefficients: 2; a test needs at least 4 studies"


@pytest.mark.parametrize("moderated", [False, True])
def test_equal_standard_errors_give_a_reason(moderated):
    v = np.repeat([0.01, 0.04], 6) if moderated else np.full(12, 0.01)
    X = np.column_stack([np.ones(12), np.repeat([0.0, 1.0], 6)]) if moderated else None
    test = small_study_test(np.linspace(0, 1, 12), v, X=X)
    assert code_of(test) == "pairwise.small_alike"


def test_studies_on_an_exact_line_give_a_reason_not_an_infinite_statistic():
    test = small_study_test(np.zeros(12), np.linspace(0.01, 0.2, 12), model="weighted-regression")
    assert test == "the studies lie on a straight line: there is no scatter to judge the slope by"


@pytest.mark.parametrize("model", ["mixed-effects", "weighted-regression"])
def test_standard_errors_over_many_orders_of_magnitude_give_a_reason(model):
    test = small_study_test(np.sin(np.arange(12)), np.geomspace(1e-12, 1e6, 12), model=model)
    assert code_of(test) == "pairwise.small_no_line"
    assert arguments_of(test)["why"].startswith("v spans too many orders of magnitude")


def test_a_moderator_is_allowed_for():
    """Small studies that are all of one kind: the kind, not their size, explains them."""
    data = load("bcg")
    y, v = studies(data)
    X = np.array([[1.0, row["ablat"]] for row in data["rows"]])
    test = small_study_test(y, v, X=X)
    assert test.df == 10
    assert test.slope != pytest.approx(small_study_test(y, v).slope, rel=0.1)


def test_an_unknown_model_or_interval_is_the_callers_mistake():
    with pytest.raises(InputError, match=r"interval must be one of wald, .*; got 't'"):
        small_study_test([0.1, 0.2], [0.1, 0.2], interval="t")
    with pytest.raises(InputError, match="model must be one of mixed-effects, weighted-regression; got 'rank'"):
        small_study_test([0.1, 0.2], [0.1, 0.2], model="rank")
