"""Two steels along the whole course of work: from the joint posterior of a pool's curves, held against planted curves that cross."""

from dataclasses import replace

import numpy as np
import pytest

from edgehold.endpoints import curve_points, endpoint_rows
from edgehold.endpoints.rows import CurvePoint
from edgehold.pooling.gather.all_answers import all_answers
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.canonical import PoolKey
from tests.endpoints.repositories import make_protocol, make_repository, make_run
from tests.estimates.rows import make_row
from tests.pooling.curves_of_points import pooled_curves

POOL = PoolKey("made-up", 1, "simulated")
WORK = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
STEEP = {"keen": (0.3, 0.75), "lasting": (0.0, 0.45)}  # start and slope in ln(w/w1 + 1): they cross at w = 5(e − 1) = 8.6
PEOPLE = ("wren", "tern", "gull", "rook")
PLAN = [(s, steel, s, s) for s in PEOPLE for steel in STEEP]


def points(rng, plan, per=3, sd=0.1, unit=1.0, reach=160.0):
    """Readings of runs; a plan is (submission, steel, sharpener, tester), reach the last checkpoint of ``keen``."""
    found, shift = [], {}
    for n, (submission, steel, sharpener, tester) in enumerate(plan):
        for i in range(per):
            run = rng.normal(0, sd) + shift.setdefault((submission, sharpener, tester), rng.normal(0, 0.3))
            start, slope = STEEP.get(steel, STEEP["keen"])
            for w in WORK:
                value = float(start - slope * np.log1p(w / 5) + run + rng.normal(0, sd / 2))
                if steel != "keen" or w <= reach:
                    found.append(
                        CurvePoint(POOL, "1.0.0", submission, f"r{n}-{i}", steel, f"{submission}.{steel}", sharpener, tester, w * unit,
                                   value, value, 0.05, 3, None, 1.0)
                    )  # fmt: skip
    return found


def pooled(found, rows=(), unit=1.0):
    return pooled_curves(found, rows, [w * unit for w in WORK], priors_for(0.1, "here"))


def compared(found, rows=(), unit=1.0):
    return pooled(found, rows, unit).pairs


def test_planted_curves_that_cross_are_found_to_and_where():
    (pair,) = compared(points(np.random.default_rng(1), PLAN))
    assert (pair.first, pair.second, pair.submissions, pair.runs_first, pair.runs_second) == ("keen", "lasting", 4, 12, 12)
    assert (pair.blades_first, pair.blades_second, pair.left_out) == (4, 4, ())
    assert pair.contrast.overtakes == "second"
    ((low, high),) = pair.contrast.crossover
    assert low < 5 * (np.e - 1) < high


def test_the_ratio_at_a_checkpoint_is_that_of_the_two_published_curves():
    """One posterior: the pair's own draws bring nothing of their own but the limits, and those are the posterior's to their error."""
    found = pooled(points(np.random.default_rng(2), PLAN))
    (pair,) = found.pairs
    first, second = (np.array([point.mean for point in curve.points]) for curve in found.curves)
    assert pair.contrast.same_work.ln_ratio[::5] == pytest.approx(first - second, abs=1e-9)
    assert tuple(pair.contrast.same_work.at[::5]) == WORK


def test_curves_that_are_alike_do_not_overtake():
    plan = [(s, steel, s, s) for s in PEOPLE for steel in ("one", "other")]
    (pair,) = compared(points(np.random.default_rng(2), plan))
    assert pair.contrast.overtakes == ""
    assert pair.contrast.crossover == ((0.0, 160.0),)


def test_bands_know_blades_and_people_and_not_only_runs():
    """Four people's differences between two steels vary by .2 beside what single runs do: the band of the means of 12 runs of SD .1 alone
    would be a third as wide."""
    rng = np.random.default_rng(4)
    moved = {(who, steel): rng.normal(0, 0.2) for who in PEOPLE for steel in STEEP}
    plain = points(np.random.default_rng(5), PLAN)
    apart = [replace(one, keenness=one.keenness + moved[one.submission, one.steel]) for one in plain]
    narrow, wide = (compared(found)[0].contrast.same_work for found in (plain, apart))
    width = (wide.pointwise_high - wide.pointwise_low)[0] / 2
    assert width > 1.96 * np.sqrt(2 / 12) * 0.1 * 2
    assert width > 1.5 * (narrow.pointwise_high - narrow.pointwise_low)[0] / 2


def test_steels_that_no_hands_met_both_of_are_not_compared():
    rng = np.random.default_rng(3)
    alone = [(who, steel, sharpener, who) for who in ("kite", "crow") for steel, sharpener in (("keen", who), ("lasting", f"{who}-2"))]
    (pair,) = compared(points(rng, alone))
    assert pair.contrast.same_work is None and pair.submissions == 0
    assert pair.contrast.reason == "no submission holds both as sharpened by the same person and tested by the same person"
    (with_others,) = compared(points(rng, [*PLAN, *alone]))
    assert (with_others.submissions, with_others.runs_first, with_others.runs_second) == (4, 18, 18)


def test_runs_that_end_early_stay_in():
    few = [("kite", "keen", "kite", "kite"), ("kite", "lasting", "kite", "kite")]
    rng = np.random.default_rng(6)
    (pair,) = compared(points(rng, PLAN) + points(rng, few, reach=80.0))
    assert (pair.runs_first, pair.left_out) == (15, ())
    (cut,) = compared(points(rng, PLAN, reach=80.0))
    assert cut.left_out == (160.0,) and cut.contrast.same_work.at[-1] == 80.0


def test_a_run_that_two_testers_shared_is_left_out():
    shared = make_row(0.1, pool=POOL, submission="wren", run="r0-0", split_tester=True)
    (pair,) = compared(points(np.random.default_rng(8), PLAN), [shared])
    assert (pair.runs_first, pair.runs_second) == (11, 12)


def test_ratios_do_not_change_with_the_unit_of_work():
    (one,) = compared(points(np.random.default_rng(9), PLAN))
    (other,) = compared(points(np.random.default_rng(9), PLAN, unit=0.3048), unit=0.3048)
    for view in ("same_work", "same_sharpness", "same_sharpness_from_common_start"):
        a, b = getattr(one.contrast, view), getattr(other.contrast, view)
        for limit in ("ln_ratio", "pointwise_low", "pointwise_high", "low", "high"):
            assert getattr(a, limit) == pytest.approx(getattr(b, limit), abs=1e-6), (view, limit)
    assert other.contrast.same_work.at == pytest.approx(0.3048 * one.contrast.same_work.at)


def test_sharpness_is_shown_relative_to_all_runs_of_the_pool_at_the_start():
    found = points(np.random.default_rng(10), [*PLAN, ("kite", "other", "kite", "kite")])
    (pair,) = compared(found)
    assert pair.reference == pytest.approx(np.mean([p.keenness for p in found if p.work == 0]))


def test_one_submission_has_no_curves_and_its_pair_a_reason():
    (pair,) = compared(points(np.random.default_rng(11), PLAN[:2]))
    assert pair.contrast.same_work is None
    assert pair.contrast.reason == "their readings have too few checkpoints in common that several submissions read"


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
    asked = by_endpoint(repository, asked_of), by_pool(repository, asked_of_pool)
    found = all_answers(rows, curve_points(repository), *asked)
    assert (found.curves.curves, found.curves.pairs) == ((), ())
    assert [one.readings for one in found.answers.values()] == [None]
