"""The corpus of selections says what the program says today, and reaches what has to be told apart."""

import json
import math

import numpy as np
import pytest
from scipy.stats import qmc

from edgehold.pooling.pairwise.prediction import DRAWS_LOG2, point_digits
from edgehold.pooling.pairwise.random_effects import PREDICTION_SEED
from tests.explorer.reference import answer
from tests.explorer.write_corpus import CORPUS, DRAWN, endpoint_of

EVIDENCE = {f"{p['pool']}/{p['pair']}": p for p in json.loads((CORPUS / "evidence.json").read_text(encoding="utf-8"))}
CASES = json.loads((CORPUS / "selections.json").read_text(encoding="utf-8"))


def differences(one, other, place=""):
    """Where two answers differ by more than a billionth."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [found for key in one for found in differences(one[key], other[key], f"{place}/{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [found for i, (a, b) in enumerate(zip(one, other, strict=True)) for found in differences(a, b, f"{place}/{i}")]
    if isinstance(one, float) or isinstance(other, float):
        same = one is not None and other is not None and math.isclose(one, other, rel_tol=1e-8, abs_tol=1e-9)
        return [] if same else [f"{place}: {one} against {other}"]
    return [] if one == other else [f"{place}: {one} against {other}"]


@pytest.mark.parametrize("case", CASES[::12], ids=lambda case: f"{case['pair']} {case['endpoint']} {case['address'][:40]}")
def test_a_selection_says_what_the_program_says(case):
    pair = EVIDENCE[case["pair"]]
    assert differences(answer(pair, endpoint_of(pair, case["endpoint"]), case["address"]), case["says"]) == []


def test_the_corpus_reaches_what_has_to_be_told_apart():
    said = [case["says"] for case in CASES]
    pooled = [one for one in said if one["fit"] is not None]
    assert len(CASES) >= DRAWN and len(pooled) > 0.6 * len(CASES) and len(pooled) < len(CASES)
    for name in ("leave", "studies", "versions", "interest", "blind", "grade", "from", "to"):
        assert sum(f"{name}=" in case["address"] for case in CASES) >= 5, name
    assert {one["within"] is None for one in pooled} == {True, False}
    assert any(one["within"] == 0 for one in pooled) and any(one["fit"]["tau2"] == 0 for one in pooled)
    assert any(len(one["studies"]) > 60 for one in pooled)  # beyond which weights are sorted into classes
    assert any(one["spread"]["tau2High"] is None for one in pooled)
    assert any(fit["low"] is None for one in pooled for fit in one["without"])
    assert {EVIDENCE[case["pair"]]["factor"] for case in CASES} == {"steel", "practice", "level"}
    assert {math.isfinite(e["variance_df"] or math.inf) for pair in EVIDENCE.values() for e in pair["endpoints"]} >= {True}


def test_the_digits_of_the_points_are_all_of_them():
    shifts, directions = point_digits(np.random.default_rng(PREDICTION_SEED))
    points = np.zeros((2**DRAWS_LOG2, 3), np.int64)
    points[0] = shifts
    for i in range(1, len(points)):
        points[i] = points[i - 1] ^ np.array([own[(i & -i).bit_length() - 1] for own in directions])
    expected = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(PREDICTION_SEED)).random_base2(DRAWS_LOG2)
    assert np.array_equal(points / 2.0**30, expected)
