"""What fits and what limits it, who does what, what is left open, and what would help."""

import math
from itertools import groupby, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as t_distribution
from statsmodels.stats.power import TTestIndPower

from edgehold.errors import InputError
from edgehold.planning.advice import Known, advise
from edgehold.planning.capacity import capacity
from edgehold.planning.chances import SIGHTS
from edgehold.planning.designs import doable
from edgehold.planning.minutes import practice_minutes, run_minutes
from edgehold.planning.occasion import Arm, occasion, stock
from edgehold.planning.plans import arms_in_order, draw_plan, published_seal
from edgehold.planning.remedies import Outlook
from edgehold.planning.threats import open_threats
from edgehold.records.sealing import plan_sha256
from edgehold.results.publish.repeatability import assumption
from edgehold.words import code_of

from .boatyard_plans import drawn, own_spread_only, pooled, protocol, roomy, sharpeners, steels


def fits(asked):
    found = capacity(asked)
    return found.runs, found.limits[0].name


def test_an_evening_at_its_defaults_holds_the_protocols_least_runs():
    # two-sharpeners-rope asks first for the sharpness after 80 cuts: 80 cuts of 10 mm. Of its 270 minutes 30 are for the practice run;
    # a run to 80 takes 43.75 (below), so five by minutes and four by hand.
    found = capacity(sharpeners())
    assert (found.runs, found.run_m) == (4, 0.8)
    assert found.buy_m == 3.6  # 4 × 0.8 m and a tenth more: 3.52 m, rounded up
    assert {limit.name: limit.runs for limit in found.limits} == {"minutes": 5, "hand": 4, "steel": 12}


def test_minutes_of_a_run_are_those_of_its_parts():
    # The protocol's page: 15 for sharpening, 28 for 160 cuts with their rests, 2.5 a reading, about 60 in all; 27.5 of 60 are left to cut.
    whole = run_minutes(protocol(), 160)
    assert (whole.sharpening, whole.readings, whole.cutting, whole.whole) == (15, 7 * 2.5, 27.5, 60)
    half = run_minutes(protocol(), 80)
    assert (half.sharpening, half.readings, half.cutting) == (15, 6 * 2.5, 13.75)
    # Card: 60 minutes for a run that ends at 64 m, 100 for one that goes on to 128 m (its page).
    card = protocol("life-on-card", "1.0.0")
    assert run_minutes(card, 64).whole == 60
    assert run_minutes(card, 128).whole == pytest.approx(100, abs=3)
    assert practice_minutes(protocol()) == practice_minutes(card) == 30


@pytest.mark.parametrize(("last", "endpoint"), [(None, "late"), (160, "late"), (80, "late"), (40, "early"), (20, "early"), (10, "early")])
def test_a_plan_is_judged_by_what_its_runs_reach(last, endpoint):
    asked = sharpeners(last_checkpoint=last)
    assert asked.rule.id == endpoint == drawn(asked).endpoint
    assert asked.rule.at <= asked.last_checkpoint == drawn(asked).planned_last_checkpoint
    assert asked.asks_primary is (endpoint == "late")


def test_shorter_runs_take_less_of_an_evening():
    runs = [capacity(sharpeners({"minutes": 180, "runs_a_hand": 9}, last_checkpoint=last)).runs for last in (160, 80, 40, 10)]
    assert runs == [2, 2, 4, 6]  # 150 minutes at 60, 43.75, 34.4 and 24.2 a run, in pairs


def halves(has=None, **asks):
    """Two sharpeners on the halves of one edge."""
    followed = protocol("two-sharpeners-rope", "2.0.0")
    people = {"blades": ["wren.galley"], "sharpeners": ["tern", "wren"], "testers": ["fennel"]}
    return occasion(followed, stock(followed, **(has or {})), **(people | asks))


def in_turn(has=None, **asks):
    """Two blades of one sharpener, cut in turn."""
    followed = protocol("steels-exchanged-rope", "3.0.0")
    people = {"blades": ["wren.galley", "wren.rigging"], "sharpeners": ["wren"], "testers": ["fennel"]}
    return occasion(followed, stock(followed, **(has or {})), **(people | asks))


def told(asked, drawn_evenings=1000):
    entry = {rule.id: assumption(rule) for rule in asked.protocol.endpoints}
    return advise(asked, Known(entry, None, None), id="x-1", month="2026-05", seed=5, evenings=drawn_evenings)


def test_minutes_of_halves_are_those_that_the_protocol_states():
    # Its page: 8 for sharpening a half, 12 s a cut, 51 s a value, two values at 0, 5, 10, 20 and 40; 25 once an evening.
    run = run_minutes(halves().protocol, 40)
    assert (run.sharpening, run.readings, run.cutting) == (8, 5 * 2 * 51 / 60, 40 * 12 / 60)
    assert practice_minutes(halves().protocol) == 25


def test_three_hours_hold_three_pairs_and_ninety_minutes_two_shorter_ones():
    assert fits(halves({"minutes": 180, "lots_m": (20.0,)})) == (6, "minutes")  # 155 minutes at 24.5 a run: 6.3
    short = doable(halves({"minutes": 90}))
    assert (short.fits.runs, short.asked.last_checkpoint) == (
        4,
        10,
    )  # 65 minutes at 15.1; two pairs come before longer runs: one pair tells nothing
    assert [code_of(change) for change in short.changes] == ["plan.shorter"]


def test_each_sharpening_of_the_blade_serves_two_halves():
    # 0.5 mm at 0.0412 mm a sharpening: twelve sharpenings, twenty-four halves.
    assert fits(halves({"minutes": 9000, "runs_a_hand": 99})) == (24, "steel")
    assert capacity(halves({"minutes": 180})).blade_runs == 3


def test_an_hour_holds_one_pair_that_says_why_it_tells_nothing():
    found = told(halves({"minutes": 60}), 40)
    assert len(found.plan.runs) == 2 and found.found.reason and not found.remedies
    assert "plan.open_one_half" in [code_of(threat.text) for threat in found.threats]


def test_no_run_of_a_pair_comes_later_than_the_other():
    found = told(halves({"minutes": 180}), 40)
    assert not {"carry-over", "order"} & {threat.threat for threat in found.threats}
    assert "plan.open_halves" in [code_of(threat.text) for threat in found.threats]
    even = told(halves({"minutes": 250}), 40)
    assert len(even.plan.runs) == 8 and "plan.open_halves" not in [code_of(threat.text) for threat in even.threats]


def test_three_sharpeners_cannot_share_two_halves():
    with pytest.raises(InputError, match="got 3 sharpeners, wanted two"):
        halves(sharpeners=["auk", "tern", "wren"])


def test_the_usual_evening_now_shows_what_it_promises():
    """Three hours, 20 m of rope, two sharpeners, one blade. Whole edges of version 1.1.0: ×2.67, 1 and 2 evenings of 10."""
    usual = told(halves({"minutes": 180, "lots_m": (20.0,)})).found
    assert math.exp(usual.half_width) == pytest.approx(1.63, abs=0.02)
    assert usual.seen[1.5] >= 0.40 and usual.seen[2.0] >= 0.80
    twice = told(halves({"minutes": 180, "lots_m": (20.0,), "evenings": 2})).found
    assert math.exp(twice.half_width) <= 1.40 and twice.seen[1.5] >= 0.60


def test_three_hours_hold_three_pairs_of_two_blades_and_ninety_minutes_two_shorter_ones():
    """Two steels, one sharpener. One run after the other by version 2.0.0: two runs, 1 and 2 evenings of 10."""
    assert fits(in_turn({"minutes": 180})) == (6, "minutes")  # 155 minutes at 25.5 a run: 6.08
    usual = told(in_turn({"minutes": 180})).found
    assert math.exp(usual.half_width) == pytest.approx(1.58, abs=0.02)
    assert usual.seen[1.5] >= 0.40 and usual.seen[2.0] >= 0.80
    before = told(steels({"minutes": 180})).found
    assert before.seen[1.5] < 0.15 and before.seen[2.0] < 0.25
    short = doable(in_turn({"minutes": 90}))
    assert (short.fits.runs, short.asked.last_checkpoint) == (4, 10)  # 65 minutes at 16.1; two pairs come before longer runs


def test_every_sharpening_serves_one_of_two_blades_and_three_blades_go_round_in_a_ring():
    # 0.5 mm at 0.0412 mm a sharpening: twelve of each of two blades.
    assert fits(in_turn({"minutes": 9000, "runs_a_hand": 99})) == (24, "steel")
    assert capacity(in_turn({"minutes": 180})).blade_runs == 3
    three = in_turn({"minutes": 180}, blades=["wren.a", "wren.b", "wren.c"])
    assert capacity(three).runs == 6 and capacity(three).blade_runs == 2


def test_what_two_blades_in_turn_leave_open_is_said():
    coded = [code_of(threat.text) for threat in open_threats(in_turn(coder="moss"), drawn(in_turn({"minutes": 180}, coder="moss")))]
    assert {"plan.open_hand_feels", "plan.open_turns_give_away", "plan.open_blades_by_shape", "plan.open_one_blade"} <= set(coded)
    assert not {"plan.open_halves", "plan.open_one_half", "plan.open_later", "plan.open_carry_over"} & set(coded)


def test_two_blades_in_turn_are_asked_of_steels_and_of_two_edges_as_they_were_left():
    with pytest.raises(InputError, match="got 3 blades with edges as they were left, wanted two"):
        in_turn(blades=["wren.a", "wren.b", "wren.c"], sharpeners=["tern"], testers=(), alone="wren")


def alone_with(name, version, has, **more):
    followed = protocol(name, version)
    rope = name.startswith("two")
    blades = ["wren.galley"] if rope else ["wren.galley", "wren.rigging"]
    return occasion(followed, stock(followed, **has), blades=blades, sharpeners=["tern"] if rope else [], alone="wren", **more)


@pytest.mark.parametrize(
    ("name", "version", "has", "asks", "last"),
    [
        ("life-on-card", "1.0.0", {"minutes": 90}, {}, 8),
        ("life-on-card", "1.0.0", {"minutes": 120}, {"last_checkpoint": 8}, 8),
        ("life-on-card", "1.0.0", {"minutes": 120}, {}, 32),
        ("two-sharpeners-rope", "1.1.0", {"minutes": 90, "lots_m": (6.0,)}, {}, 20),
    ],
)
def test_alone_tonight_can_be_planned(name, version, has, asks, last):
    design = doable(alone_with(name, version, has, **asks))
    assert (design.fits.runs, design.asked.last_checkpoint) == (2, last)
    assert [change.code for change in design.changes] == (["plan.shorter"] if not asks else [])


@given(
    minutes=st.integers(1, 400),
    evenings=st.integers(1, 3),
    hand=st.integers(1, 5),
    most=st.none() | st.integers(1, 9),
    metres=st.lists(st.floats(0.01, 20), max_size=2),
    steel=st.floats(0.01, 1),
    people=st.integers(2, 4),
    last=st.sampled_from([None, 10, 40, 160]),
)
@settings(max_examples=300, deadline=None)
def test_a_plan_always_ends_in_something_doable(minutes, evenings, hand, most, metres, steel, people, last):
    has = {
        "minutes": minutes, "evenings": evenings, "runs_a_hand": hand, "most_runs": most, "lots_m": tuple(metres) or None,
        "steel_mm": steel,
    }  # fmt: skip
    wanted = sharpeners(has, sharpeners=[f"hand{i}" for i in range(people)], last_checkpoint=last)
    design = doable(wanted)
    assert {run.sharpener for run in drawn(design.asked).runs} == set(wanted.sharpeners)
    assert bool(design.changes) is (capacity(wanted).runs == 0)
    if not design.changes:
        assert design.asked == wanted


def test_what_else_the_same_time_holds_is_shown_from_the_farthest_and_nothing_twice():
    poor = advice(sharpeners({"minutes": 180}), 0.2)
    assert [(other.last, other.endpoint, other.runs) for other in poor.others] == [(40, "early", 4)]
    # With the spread known, t(.975, 40) · 0.2 · √(4/4) for four runs of two arms.
    assert poor.others[0].half_width == pytest.approx(t_distribution.ppf(0.975, 40) * 0.2, rel=1e-6)


def test_how_often_a_difference_is_seen_is_the_power_of_a_t_test():
    # statsmodels: power of the one-sided two-sample t test at 2.5 %, the spread of each evening its own.
    alone = Outlook(own_spread_only(0.2), (0.2, math.inf), 3)
    for runs in (4, 8, 16):
        for true in SIGHTS:
            exact = TTestIndPower().power(math.log(true) / 0.2, runs / 2, 0.025, alternative="larger")
            assert alone.seen(4 / runs, runs - 2, true) == pytest.approx(exact, abs=4 * math.sqrt(0.25 / 4000))


@pytest.mark.parametrize(
    ("has", "expected"),
    [
        ({"minutes": 160}, (2, "minutes")),  # 130 after practice hold two runs of 43.75
        ({"minutes": 900, "runs_a_hand": 6}, (6, "hand")),
        ({"minutes": 900, "runs_a_hand": 9, "lots_m": (4.1,)}, (4, "medium")),  # five runs of 0.8 m, two rounds of two
        ({"minutes": 9000, "runs_a_hand": 99}, (12, "steel")),  # 0.5 mm / 0.0412 mm = 12.1 sharpenings of the one blade
        ({"minutes": 9000, "runs_a_hand": 99, "angle_deg": 10.0}, (4, "steel")),  # 0.03/(2 tan 10°) = 0.0851: five, so two rounds
        ({"most_runs": 3}, (2, "wish")),
        ({"evenings": 3}, (12, "hand")),
        ({"minutes": 70}, (0, "minutes")),
    ],
)
def test_the_tightest_limit_decides_and_is_named(has, expected):
    assert fits(sharpeners(has)) == expected


def test_blocks_stay_within_an_evening_and_a_lot():
    asked = sharpeners({"minutes": 900, "runs_a_hand": 6, "evenings": 2, "lots_m": (3.3, 20.0)})
    plan = drawn(asked)
    for _, runs in groupby(plan.runs, key=lambda run: run.block):
        block = list(runs)
        assert len({(run.evening, run.lot, run.tester) for run in block}) == 1
        assert {run.sharpener for run in block} == {"tern", "wren"}
    assert [run.lot for run in plan.runs] == [1] * 4 + [2] * 8  # 3.3 m are four runs
    assert [run.coil_position_m for run in plan.runs][3:6] == [2.4, 0.0, 0.8]


def test_an_evening_too_short_for_one_of_each_spreads_a_round_over_evenings_and_says_so():
    asked = steels({"minutes": 100, "evenings": 3}, blades=("wren.a", "wren.b", "wren.c"))
    plan = drawn(asked)
    assert [run.evening for run in plan.runs] == [1, 2, 3]
    assert any("does not hold a run of each" in threat.text for threat in open_threats(asked, plan))


def test_two_testers_take_turns_by_blocks():
    plan = drawn(sharpeners(roomy(8), testers=["tern", "wren"]))
    turns = [(next(runs)).tester for _, runs in groupby(plan.runs, key=lambda run: run.block)]
    assert len(turns) == 4 and all(a != b for a, b in pairwise(turns))


def test_coded_blocks_of_two_steels_hold_four_runs_or_more():
    for runs in (4, 6, 8, 14, 20):
        sizes = [block.size for block in capacity(steels(roomy(runs), coder="moss")).blocks]
        assert sum(sizes) == runs and all(4 <= size <= 12 and size % 2 == 0 for size in sizes)


def test_whoever_is_alone_cuts_the_edge_that_was_left_before_sharpening_the_blade():
    asked = sharpeners(roomy(8), alone="wren", sharpeners=["tern"], testers=[])
    assert fits(asked) == (2, "edges")
    plan = drawn(asked)
    assert arms_in_order(plan) == (Arm("wren.galley", "tern"), Arm("wren.galley", "wren"))
    kinds = {threat.threat for threat in open_threats(asked, plan)}
    assert {"expectation", "confounding", "order", "generality"} <= kinds


@pytest.mark.parametrize(
    ("asks", "message"),
    [
        ({"sharpeners": ["wren"]}, "got 1 sharpener, wanted two or more: two-sharpeners-rope compares sharpeners"),
        ({"coder": "fennel"}, "got 'fennel' as coder and tester"),
        ({"sharpeners": ["wren", "wren"]}, "got one sharpener twice in wren, wren"),
        ({"blades": ["galley"]}, "got 'galley' as blade, wanted <owner>.<name>"),
        ({"testers": ["Fennel F."]}, "got 'Fennel F.' as tester, wanted a handle"),
        ({"testers": []}, "got no tester, wanted one or more"),
        ({"alone": "wren"}, "got 'wren' alone together with another tester"),
        ({"last_checkpoint": 50}, "got 50 as the last checkpoint, wanted one of 10, 20, 40, 80, 160"),
        ({"worthwhile_ratio": 1.0}, "got 1 as the worthwhile ratio, wanted one above 1"),
        ({"steels": ["a", "b"]}, "got 2 steels for 1 blades"),
    ],
)
def test_what_does_not_go_together_is_refused_with_what_was_wanted(asks, message):
    with pytest.raises(InputError, match=message):
        sharpeners(**asks)


def test_stock_that_is_none_is_refused():
    with pytest.raises(InputError, match="got 0 for minutes, wanted more than 0"):
        stock(protocol(), minutes=0)
    with pytest.raises(InputError, match="got lots of 3, -1 metres"):
        stock(protocol(), lots_m=(3, -1))
    with pytest.raises(InputError, match="got \\['rope'\\]"):
        stock(protocol(), rope=3)


def test_a_protocol_about_angles_is_not_planned_by_blades_and_people():
    about_angles = protocol().model_copy(update={"question": protocol().question.model_copy(update={"factor": "angle"})})
    with pytest.raises(InputError, match="got a protocol that asks for the angle"):
        occasion(about_angles, stock(about_angles), blades=["w1.a"], sharpeners=["wren"], testers=["wren"])


def test_a_seal_needs_somebody_who_keeps_the_codes():
    asked = sharpeners()
    with pytest.raises(InputError, match="got no coder, wanted one"):
        draw_plan(asked, capacity(asked), id="x-1", month="2026-05", seed=1, sealed=True)


def test_sealed_plans_of_one_seed_have_seals_of_their_own():
    asked = sharpeners(coder="moss")
    one, other = (drawn(asked, 1, sealed=True) for _ in range(2))
    assert arms_in_order(one) == arms_in_order(other)
    assert len(one.nonce) == 32 and one.nonce != other.nonce
    assert one.sha256 == plan_sha256(one) != other.sha256
    assert published_seal(one, "moss").model_dump(mode="json") == {
        "format": "plan-seal/1.0.0", "id": "boatyard-plan", "protocol": {"id": "two-sharpeners-rope", "version": "1.1.0"},
        "origin": "measured", "sha256": one.sha256, "month": "2026-05", "by": "moss",
    }  # fmt: skip
    with pytest.raises(InputError, match="wanted a sealed one"):
        published_seal(drawn(asked), "moss")


def advice(asked, ln_sd, reading_variance=None):
    known = Known({rule.id: pooled(ln_sd, 40) for rule in asked.protocol.endpoints}, reading_variance, None)
    return advise(asked, known, id="boatyard-plan", month="2026-05", seed=2, evenings=120)


def test_an_evening_that_cannot_answer_says_what_would_and_the_remedy_works():
    poor = advice(sharpeners(), 0.12)
    assert not poor.answers
    remedies = {remedy.kind: remedy for remedy in poor.remedies}
    assert set(remedies) == {"more runs", "larger worthwhile ratio", "finer readings", "another evening", "a friend's stone"}
    more = int(remedies["more runs"].value)
    richer = advice(sharpeners(roomy(more, math.ceil(more / 4))), 0.12)
    assert min(richer.right.no_difference, richer.right.difference) > 0.8 - 4 * 0.037  # Monte-Carlo error of 120 evenings
    fewer = advice(sharpeners(roomy(more // 2)), 0.12)
    assert not fewer.answers
    wider = advice(sharpeners(worthwhile_ratio=remedies["larger worthwhile ratio"].value), 0.12)
    assert min(wider.right.no_difference, wider.right.difference) > 0.8 - 4 * 0.037


def test_more_runs_of_an_edge_that_was_left_need_its_sharpener_back():
    poor = advice(sharpeners(alone="wren", sharpeners=["tern"], testers=[]), 0.12)
    assert poor.remedies[0].text.endswith("for which tern would have to sharpen again.")
    assert poor.fits.blade_runs == 1  # one edge is cut as it was left


def test_an_evening_that_can_answer_needs_no_remedy():
    good = advice(sharpeners(roomy(8)), 0.05)
    assert good.answers and good.remedies == ()


def test_finer_readings_can_take_away_no_more_than_reading_put_in():
    # Repeats with variance .0027 in threes are .0009 of .0144: a sixteenth. √(15/16) of the half width is left.
    poor = advice(sharpeners(), 0.12, reading_variance=0.0027)
    (finer,) = (remedy for remedy in poor.remedies if remedy.kind == "finer readings")
    assert finer.value == pytest.approx(math.exp(poor.found.half_width * math.sqrt(15 / 16)))


def test_where_nothing_fits_the_nearest_is_planned_and_what_was_changed_is_named():
    nearest = advice(sharpeners({"minutes": 40, "most_runs": 1, "lots_m": (0.1,)}), 0.1)
    assert [change.code for change in nearest.changes] == [
        "plan.shorter", "plan.more_minutes", "plan.more_evenings", "plan.more_runs_than_wished", "plan.more_medium",
    ]  # fmt: skip
    assert nearest.changes[1].arguments == {"minutes": 55, "given": 40}  # 30 to set up and practise, 24.2 for a run of 10 cuts
    assert len(nearest.plan.runs) == 2 and nearest.found.half_width > 0


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (lambda: sharpeners(), "Nothing hides whose edge it is"),
        (lambda: sharpeners(coder="moss", testers=["tern"]), "tern sharpen and test"),
        (lambda: steels({"minutes": 200}, coder="moss"), "whoever recognises one edge knows the other"),
        (lambda: sharpeners(coder="moss"), "knows the others of both rounds"),
        (lambda: steels(coder="moss"), "Blades can be told apart by their shape"),
        (lambda: steels(), "One blade of each steel"),
        (lambda: steels(), "One lot of the medium"),
        (lambda: steels(), "One evening"),
    ],
)
def test_what_a_plan_leaves_open_is_named(asked, text):
    made = asked()
    assert any(text in threat.text for threat in open_threats(made, drawn(made)))


def test_a_balanced_open_plan_of_two_leaves_order_and_carry_over_closed():
    asked = sharpeners(roomy(4))
    assert not {"order", "carry-over"} & {threat.threat for threat in open_threats(asked, drawn(asked))}
