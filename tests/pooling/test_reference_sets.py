"""Which published sets are checked, and for what: a later edit may add to this list, never take away.

Each module named reads its set and compares every quantity with the tolerance written in the file.
"""

import json
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
REFERENCE = TESTS / "reference"

MEANS = {"coefficients", "standard_errors", "limits", "tau2", "tau2_interval", "q", "q_df", "q_p", "i2", "h2", "prediction_plug_in"}
CROSSED = {"variances", "coefficients", "standard_errors", "log_likelihood"}
DIAGNOSTICS = {"influence", "leave_one_out", "small_study", "trim_and_fill", "profile_likelihood", "shrunken_effects"}
ROBUST = {"cluster_robust", "published_fit"}
CURVE = {"coef", "scale", "vcov", "loglik"}

# file: (quantities that stand in it, modules of tests/ that read it)
SETS = {
    "bcg": (MEANS | DIAGNOSTICS, ["pooling/test_random_effects_reference", "pooling/test_influence", "pooling/test_small_study"]),
    "raudenbush1985": (MEANS | DIAGNOSTICS, ["pooling/test_random_effects_reference", "pooling/test_trim_and_fill"]),
    "hackshaw1998": (MEANS | DIAGNOSTICS, ["pooling/test_random_effects_reference", "pooling/test_crossed_reference"]),
    "lead_comparison": ({"values"}, ["pooling/test_random_effects_reference"]),
    "cisapride_prediction": ({"prediction_odds_ratio", "odds_ratio"}, ["pooling/test_prediction"]),
    "penicillin": (CROSSED | {"profile_limits", "effects"}, ["pooling/test_crossed_reference", "pooling/test_traps"]),
    "penicillin_unbalanced": (
        CROSSED | {"profile_limits", "effects", "df", "adjusted_covariance"},
        ["pooling/test_crossed_reference", "pooling/test_traps"],
    ),
    "machines_gauge_rr": (CROSSED | {"contrast_df", "gauge_study_anova"}, ["pooling/test_crossed_reference"]),
    "gauge_study": ({"sums_of_squares", "pooled"}, ["pooling/test_gauge_study"]),
    "konstantopoulos2011": (CROSSED | {"profile_limits", "effects"}, ["pooling/test_crossed_reference", "pooling/test_traps"]),
    "assink2016": (CROSSED | {"profile_limits"}, ["pooling/test_crossed_reference"]),
    "mccurdy2020": (CROSSED, ["pooling/test_crossed_reference"]),
    "sleepstudy": (CROSSED, ["pooling/test_crossed_reference"]),
    "konstantopoulos2011_robust": (ROBUST, ["pooling/test_cluster_robust"]),
    "assink2016_robust": (ROBUST, ["pooling/test_cluster_robust"]),
    "senn2013_network": (
        {"polished", "common_effect", "pairwise", "splits", "design_by_treatment", "tau2_profile"},
        ["pooling/test_network_reference", "pooling/test_traps"],
    ),
    "senn2013_contrasts": ({"values"}, ["pooling/test_crossed_reference"]),
    "hasselblad1998_network": ({"common_effect", "design_by_treatment", "tau2_profile"}, ["pooling/test_network_reference"]),
    "e691_glucose": ({"results", "published_rounded"}, ["pooling/test_interlaboratory", "whole_path/test_interlaboratory"]),
    "crins2014_groups": ({"difference", "posteriors"}, ["numerics/test_second_stage"]),
    "sulfur_in_coal": ({"published", "computed"}, ["pooling/test_interlaboratory"]),
    "survreg_tobin": (CURVE, ["estimates/test_censored", "pooling/test_censored_crossed"]),
    "survreg_lung_intervals": (CURVE, ["estimates/test_censored", "pooling/test_censored_crossed"]),
}


def keys_below(value):
    """Names at any depth of a JSON value."""
    if isinstance(value, dict):
        return set(value).union(*map(keys_below, value.values()))
    return set().union(*map(keys_below, value)) if isinstance(value, list) else set()


@pytest.mark.parametrize("name", SETS)
def test_every_set_holds_its_quantities_and_is_read_by_its_tests(name):
    wanted, modules = SETS[name]
    data = json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))
    assert wanted <= keys_below(data)
    assert data.get("citation") or data.get("source")
    for module in modules:
        assert f'"{name}' in (TESTS / f"{module}.py").read_text(encoding="utf-8"), module


def test_known_designs_are_checked_without_a_file():
    """The projective plane of seven blocks, Kirkman's fifteen, square lattices, Latin and Williams squares."""
    text = (TESTS / "pooling" / "test_separability.py").read_text(encoding="utf-8")
    for claim in ("seven_blocks_of_three_have_efficiency_seven_ninths", "kirkmans_fifteen", "square_lattices", "latin_square", "williams"):
        assert claim in text


def test_no_set_stands_unlisted():
    registers = {"grits_", "sieves_", "steels_", "units_"}  # facts of the registers, checked in tests/records
    there = {path.stem for path in REFERENCE.glob("*.json") if not path.stem.startswith(tuple(registers))}
    assert there == set(SETS)
