"""The recovery study's own parts, and a few seeds of it; the study itself and its table are in README.md."""

from __future__ import annotations

import pytest
from monte_carlo import lower_bound
from recovery import recovered, table


@pytest.fixture(scope="module", params=[(2,), pytest.param((1, 2), marks=pytest.mark.long)], ids=["one seed", "two seeds"])
def seeds(request):
    return request.param


@pytest.fixture(scope="module")
def lines(seeds):
    return [line for seed in seeds for line in recovered(seed)]


def test_a_few_seeds_hold_nearly_all_true_ratios(lines):
    held = [line["low"] <= line["true"] <= line["high"] for line in lines]
    # at 95 % and some 20 intervals a seed fewer than 8 in 10 held would be a fault, not bad luck
    assert sum(held) > 0.8 * len(held)


def test_practice_steels_and_levels_are_all_pooled(lines):
    pooled = {tuple(line["names"][:4]) for line in lines}
    assert pooled >= {
        ("two-sharpeners-rope", 1, endpoint, "practice") for endpoint in ("early", "late", "life", "hold")
    } | {("steels-exchanged-rope", 2, endpoint, "steel") for endpoint in ("early", "late", "life")} | {
        ("steels-exchanged-rope", 1, "late", "steel")
    } | {("finish-in-halves-rope", 1, endpoint, "level") for endpoint in ("early", "late", "hold")}  # fmt: skip


def test_where_one_blade_of_each_steel_goes_round_nothing_is_pooled(lines):
    assert not [line for line in lines if line["names"][0] == "life-on-card"]


def test_a_wrong_truth_would_be_seen(lines):
    practice = [line for line in lines if line["names"][0] == "two-sharpeners-rope" and line["names"][2] == "early"]
    assert not any(line["low"] <= -line["true"] <= line["high"] for line in practice)


def test_wilson_bound_as_worked_by_hand():
    # p = 0.95, n = 2000, z = 2.32635: (0.95135295 - 0.01141613) / 1.00270592
    assert lower_bound(0.95, 2000) == pytest.approx(0.93740, abs=1e-5)


def test_the_table_counts_seeds_and_pairs(lines, seeds):
    rows = table(lines)
    assert any(row.startswith("| steels-exchanged-rope 2 | late | all pairs |") for row in rows)
    assert any(f"| practised : novice | 1.35 | {len(seeds)} |" in row for row in rows)
