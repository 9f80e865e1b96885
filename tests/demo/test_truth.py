"""The true ratios, against closed forms worked by hand and against large noisy evaluations of the generator."""

from __future__ import annotations

import math

import numpy as np
import pytest

from edgehold.demo import Effects
from edgehold.demo.cast import blade
from edgehold.demo.cutting import Circumstances, keenness
from edgehold.demo.effects import true_ratios
from edgehold.demo.methods import METHODS, method
from edgehold.demo.scenes import Arm
from edgehold.demo.world import draw_world

ROPE = method("steels-exchanged-rope", "2.0.0")


def _true(*names) -> float:
    """ln ratio by protocol, major, endpoint, first and second."""
    keys = ("protocol", "major", "endpoint", "first", "second")
    return next(r["ln_ratio"] for r in true_ratios(Effects()) if tuple(r[k] for k in keys) == names)


def test_late_ratio_by_hand():
    # keenness at 160 cuts: -(start + slope ln 33); plain carbon -0.26, 0.675; high speed 0.01, 0.465
    by_hand = -(0.01 + 0.465 * math.log(33)) + (-0.26 + 0.675 * math.log(33))
    late = _true("steels-exchanged-rope", 2, "late", "demo-high-speed", "demo-plain-carbon")
    assert late == pytest.approx(by_hand, abs=1e-9)


def test_card_ratio_is_the_ratio_of_the_lives_in_metres():
    assert _true("life-on-card", 1, "life", "demo-high-carbon-stainless", "demo-plain-carbon") == pytest.approx(math.log(26 / 14), abs=1e-9)


def _steels(endpoint: str) -> list[float]:
    """ln ratio of every pair of steels on rope at an endpoint."""
    rows = [r for r in true_ratios(Effects()) if (r["protocol"], r["major"], r["factor"]) == ("steels-exchanged-rope", 2, "steel")]
    return [abs(r["ln_ratio"]) for r in rows if r["endpoint"] == endpoint]


def test_steels_hardly_differ_early_and_up_to_a_factor_of_one_and_a_half_or_more_late():
    assert max(_steels("early")) < math.log(1.05)
    assert math.log(1.5) < max(_steels("late")) < math.log(1.65)
    assert sum(ln > math.log(1.25) for ln in _steels("late")) >= 5


def test_plain_carbon_starts_keenest_and_trails_late():
    pair = ("demo-high-speed", "demo-plain-carbon")
    assert Effects().curve(pair[1]).start_ln_n == min(curve.start_ln_n for curve in Effects().curves)
    assert _true("steels-exchanged-rope", 2, "early", *pair) < 0 < _true("steels-exchanged-rope", 2, "late", *pair)


def test_practice_matters_early_and_by_a_third():
    assert math.log(1.3) < _true("two-sharpeners-rope", 1, "early", "practised", "novice") < math.log(1.4)


def test_practice_matters_more_early_than_late():
    early = _true("two-sharpeners-rope", 1, "early", "practised", "novice")
    assert early > _true("two-sharpeners-rope", 1, "late", "practised", "novice") > 0


def test_two_majors_share_levels_but_not_lives():
    pair = ("demo-high-speed", "demo-plain-carbon")
    assert _true("steels-exchanged-rope", 1, "late", *pair) == _true("steels-exchanged-rope", 2, "late", *pair)
    assert _true("steels-exchanged-rope", 1, "life", *pair) != _true("steels-exchanged-rope", 2, "life", *pair)


def test_there_is_a_truth_for_every_steel_pair_and_for_practice():
    rows = true_ratios(Effects())
    for protocol, endpoints in (("steels-exchanged-rope", 2 * 3 + 4), ("life-on-card", 1 + 4)):
        assert sum(r["protocol"] == protocol and r["factor"] == "steel" for r in rows) == 15 * endpoints
    assert {r["endpoint"] for r in rows if r["protocol"] == "two-sharpeners-rope"} == {"early", "hold", "late", "life"}


CALM = Circumstances(0, 0.0, "oakum.coil-1", None, 0.0, 60.0, True)


def _many_runs(key: str, sharpener: str, draws: int = 4000) -> np.ndarray:
    """True keenness of runs in as many worlds, with every shared effect drawn anew."""
    rng, found = np.random.default_rng(7), []
    for seed in range(draws):
        world = draw_world(seed, Effects())
        found.append(keenness(world, ROPE, Arm(key, sharpener, "dunlin"), blade(key), CALM, ROPE.checkpoints, rng))
    return np.array(found)


@pytest.fixture(scope="module")
def two_steels_and_a_novice():
    return _many_runs("fid.rigging", "fid"), _many_runs("tern.rigging", "tern"), _many_runs("tern.rigging", "whelk")


@pytest.mark.parametrize(("endpoint", "place"), [("early", 2), ("late", 6)])
def test_levels_over_many_noisy_worlds_give_the_true_ratio(two_steels_and_a_novice, endpoint, place):
    first, second, _ = two_steels_and_a_novice
    difference = first[:, place] - second[:, place]
    error = difference.std() / math.sqrt(len(difference))
    true = _true("steels-exchanged-rope", 2, endpoint, "demo-high-speed", "demo-plain-carbon")
    assert abs(difference.mean() - true) < 4 * error < 0.03


def _ln_lives(runs: np.ndarray) -> np.ndarray:
    """ln work at which each run falls to 5 N, straight lines in ln(w + 5), the last one carried on."""
    u, limit, found = np.log((np.array(ROPE.checkpoints) + 5) / 5), -math.log(5.0), []
    for run in runs:
        i = next((j for j in range(1, len(u)) if run[j] <= limit), len(u) - 1)
        at = u[i - 1] + (run[i - 1] - limit) / (run[i - 1] - run[i]) * (u[i] - u[i - 1])
        found.append(math.log(5 * math.expm1(at)))
    return np.array(found)


def test_lives_over_many_noisy_worlds_stay_within_a_fiftieth_of_the_true_ratio(two_steels_and_a_novice):
    first, second, novice = map(_ln_lives, two_steels_and_a_novice)
    true = _true("steels-exchanged-rope", 2, "life", "demo-high-speed", "demo-plain-carbon")
    assert (first - second).mean() == pytest.approx(true, abs=0.04)
    assert (second - novice).mean() > 0.2


def test_spread_between_runs_is_that_of_the_effects(two_steels_and_a_novice):
    e = Effects()
    expected = math.sqrt(
        e.run_sd**2 + e.sharpener_sd**2 + e.tester_sd**2 + e.blade_sd**2 + e.batch_sd**2 + e.lot_sd**2
        + e.steel_tester_sd**2 + e.steel_sharpener_sd**2
    )  # fmt: skip
    late = two_steels_and_a_novice[0][:, 6]
    assert late.std() == pytest.approx(expected, rel=0.05)


def test_a_fine_finish_matters_early_and_hardly_late():
    # keenness gained at u: 0.53 - 0.18 u; u is ln 3 after 5 cuts of 20 mm, and ln 17 after 40
    names = ("finish-in-halves-rope", 1)
    early, late = (_true(*names, endpoint, "fine", "coarse") for endpoint in ("early", "late"))
    assert (early, late) == pytest.approx((0.53 - 0.18 * math.log(3), 0.53 - 0.18 * math.log(17)), abs=1e-9)
    assert early > math.log(1.35) and late < math.log(1.05)
    assert _true("strop-or-not-paper", 1, "life", "stropped", "bare") > math.log(1.2)


def test_every_method_has_its_versions_in_order():
    assert [m.version for m in METHODS if m.protocol == "two-sharpeners-rope"] == ["1.0.0", "1.1.0", "2.0.0"]
