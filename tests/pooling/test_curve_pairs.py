"""Two steels along the whole course of work, gathered from the readings of runs."""

import numpy as np
import pytest

from aggregator.endpoints import curve_points, endpoint_rows
from aggregator.endpoints.rows import CurvePoint
from aggregator.pooling.curve_pairs import curve_pairs
from aggregator.records.canonical import PoolKey
from tests.endpoints.repositories import make_protocol, make_repository, make_run
from tests.estimates.rows import make_row

POOL = PoolKey("made-up", 1, "simulated")
WORK = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
STEEP = {"keen": (0.3, 0.75), "lasting": (0.0, 0.45)}  # start and slope in ln(w/w1 + 1): they cross at w = 5(e − 1) = 8.6


def points(rng, plan, per=3, sd=0.1, reach=None, unit=1.0, limits=None):
    """Readings of runs; a plan is (submission, steel, sharpener, tester), reach the last checkpoint by steel."""
    found, shift = [], {}
    for n, (submission, steel, sharpener, tester) in enumerate(plan):
        for i in range(per):
            run = rng.normal(0, sd) + shift.setdefault((submission, sharpener, tester), rng.normal(0, 0.3))
            start, slope = STEEP.get(steel, STEEP["keen"])
            for w in WORK:
                value = start - slope * np.log1p(w / 5) + run + rng.normal(0, sd / 2)
                if w <= (reach or {}).get(steel, 160):
                    limit = (limits or {}).get((steel, w))
                    found.append(
                        CurvePoint(POOL, "1.0.0", submission, f"r{n}-{i}", steel, f"{submission}.{steel}", sharpener, tester, w * unit,
                                   float(value), float(value), 0.05, 3, limit, 1.0)
                    )  # fmt: skip
    return found


def compared(found, rows=(), unit=1.0, draws=1000):
    return curve_pairs(found, rows, {POOL: tuple(w * unit for w in WORK)}, draws=draws)


PLAN = [(s, steel, s, s) for s in ("wren", "tern", "gull", "rook") for steel in STEEP]


def test_planted_curves_that_cross_are_found_to_and_where():
    (pair,) = compared(points(np.random.default_rng(1), PLAN))
    assert (pair.first, pair.second, pair.submissions, pair.runs_first, pair.runs_second) == ("keen", "lasting", 4, 12, 12)
    assert (pair.blades_first, pair.ended_early, pair.left_out) == (4, 0, ())
    assert pair.contrast.overtakes == "second"
    ((low, high),) = pair.contrast.crossover
    assert low < 5 * (np.e - 1) < high


def test_the_band_holds_the_planted_ratio_everywhere_about_as_often_as_it_says():
    held = 0
    for seed in range(40):
        (pair,) = compared(points(np.random.default_rng(seed), PLAN), draws=400)
        band = pair.contrast.same_work
        truth = 0.3 - 0.3 * np.log1p(band.at / 5)
        held += bool(((band.low <= truth) & (truth <= band.high)).all())
    assert held >= 34, "95 % of 40 is 38; 33 or fewer happens once in 300 such tests of a true 95 %"


def test_curves_that_are_alike_do_not_overtake():
    rng = np.random.default_rng(2)
    plan = [(s, steel, s, s) for s in ("wren", "tern", "gull", "rook") for steel in ("one", "other")]
    (pair,) = compared(points(rng, plan))
    assert pair.contrast.overtakes == ""
    assert pair.contrast.crossover == ((0.0, 160.0),)


def test_only_runs_of_the_same_hands_are_compared():
    rng = np.random.default_rng(3)
    alone = [("kite", "keen", "kite", "kite"), ("kite", "lasting", "crow", "kite")]
    (with_others,) = compared(points(rng, [*PLAN, *alone]))
    assert (with_others.submissions, with_others.runs_first, with_others.runs_second) == (4, 12, 12)
    (pair,) = compared(points(rng, alone))
    assert pair.contrast.same_work is None
    assert pair.contrast.reason == "no submission holds both as sharpened by the same person and tested by the same person"


def test_what_two_sharpeners_differ_by_is_not_read_as_steel():
    # Without blocks of hands a difference of 2 between sharpeners, of whom one made more edges of one steel, would lean the curve.
    found = points(np.random.default_rng(4), PLAN)
    leaning = [("wren", "keen", "crow", "wren")] * 3 + [("wren", "lasting", "crow", "wren")]
    more = [p.__class__(**{**vars(p), "keenness": p.keenness + 2, "run": f"x{p.run}"}) for p in points(np.random.default_rng(5), leaning)]
    (pair,) = compared(found + more)
    band = pair.contrast.same_work
    assert band.ln_ratio[0] == pytest.approx(0.3, abs=0.15)


def test_runs_that_end_early_stay_in_and_a_checkpoint_that_too_few_reach_goes():
    rng = np.random.default_rng(6)
    few = [("kite", "keen", "kite", "kite"), ("kite", "lasting", "kite", "kite")]
    (pair,) = compared(points(rng, PLAN) + points(rng, few, reach={"keen": 80.0}))
    assert (pair.ended_early, pair.left_out) == (3, ())
    assert pair.contrast.overtakes == "second"
    (cut,) = compared(points(rng, PLAN, reach={"keen": 80.0}))
    assert (cut.ended_early, cut.left_out) == (0, (160.0,))


def test_a_checkpoint_with_a_reading_off_the_scale_is_left_out():
    (pair,) = compared(points(np.random.default_rng(7), PLAN, limits={("lasting", 160.0): "above"}))
    assert pair.left_out == (160.0,)
    assert pair.contrast.same_work.at[-1] == 80.0


def test_a_run_that_two_testers_shared_is_left_out():
    found = points(np.random.default_rng(8), PLAN)
    shared = make_row(0.1, pool=POOL, submission="wren", run="r0-0", split_tester=True)
    (pair,) = compared(found, [shared])
    assert (pair.runs_first, pair.runs_second) == (11, 12)


def test_ratios_do_not_change_with_the_unit_of_work():
    (one,) = compared(points(np.random.default_rng(9), PLAN))
    (other,) = compared(points(np.random.default_rng(9), PLAN, unit=0.3048), unit=0.3048)
    for view in ("same_work", "same_sharpness", "same_sharpness_from_common_start"):
        a, b = getattr(one.contrast, view), getattr(other.contrast, view)
        for limit in ("ln_ratio", "pointwise_low", "pointwise_high", "low", "high"):
            assert getattr(a, limit) == pytest.approx(getattr(b, limit), abs=1e-9), (view, limit)
    assert other.contrast.same_work.at == pytest.approx(0.3048 * one.contrast.same_work.at)


def test_sharpness_is_shown_relative_to_all_runs_of_the_pool_at_the_start():
    found = points(np.random.default_rng(10), [*PLAN, ("kite", "other", "kite", "kite")])
    (pair,) = compared(found)
    assert pair.reference == pytest.approx(np.mean([p.keenness for p in found if p.work == 0]))


def test_a_pass_or_fail_protocol_has_no_curves():
    protocol = make_protocol([{"kind": "life", "fit_from": "zero", "primary": True}], name="life-on-card")
    first, second = protocol.work.checkpoints[1:3]
    runs = [
        make_run(protocol, {first: (True, True, True), second: (True, False, False)}, number=n, steel=steel, blade=f"wren.{steel}")
        for n, steel in enumerate(["demo-a", "demo-b"], start=1)
    ]
    repository = make_repository(protocol, runs)
    rows = endpoint_rows(repository)
    assert {row.steel for row in rows} == {"demo-a", "demo-b"}
    assert curve_pairs(curve_points(repository), rows, {rows[0].pool: protocol.work.checkpoints}) == ()
