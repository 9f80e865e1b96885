"""What fits and what limits it, who does what, what is left open, and what would help."""

import math
from itertools import groupby, pairwise

import pytest
from boatyard_plans import drawn, pooled, protocol, roomy, sharpeners, steels

from edgehold.errors import InputError
from edgehold.planning.advice import advise
from edgehold.planning.capacity import capacity
from edgehold.planning.occasion import Arm, occasion, stock
from edgehold.planning.plans import arms_in_order, draw_plan, published_seal
from edgehold.planning.threats import open_threats
from edgehold.records.sealing import plan_sha256


def fits(asked):
    found = capacity(asked)
    return found.runs, found.limits[0].name


def test_an_evening_at_its_defaults_holds_the_protocols_least_runs():
    # two-sharpeners-rope: 270 minutes, 60 a run, so 30 for the practice run; four runs by minutes and by hand.
    found = capacity(sharpeners())
    assert (found.runs, found.run_m) == (4, 1.6)  # 160 cuts of 10 mm
    assert found.buy_m == 7.1  # 4 × 1.6 m and a tenth more: 7.04 m, rounded up
    assert {limit.name: limit.runs for limit in found.limits} == {"minutes": 4, "hand": 4, "steel": 12}


@pytest.mark.parametrize(
    ("has", "expected"),
    [
        ({"minutes": 200}, (2, "minutes")),  # 170 after practice hold two runs
        ({"minutes": 900, "runs_a_hand": 6}, (6, "hand")),
        ({"minutes": 900, "runs_a_hand": 9, "lots_m": (8.1,)}, (4, "medium")),  # five runs of 1.6 m, two rounds of two
        ({"minutes": 9000, "runs_a_hand": 99}, (12, "steel")),  # 0.5 mm / 0.0412 mm = 12.1 sharpenings of the one blade
        ({"minutes": 9000, "runs_a_hand": 99, "angle_deg": 10.0}, (4, "steel")),  # 0.03/(2 tan 10°) = 0.0851: five, so two rounds
        ({"most_runs": 3}, (2, "wish")),
        ({"evenings": 3}, (12, "minutes")),
        ({"minutes": 80}, (0, "minutes")),
    ],
)
def test_the_tightest_limit_decides_and_is_named(has, expected):
    assert fits(sharpeners(has)) == expected


def test_blocks_stay_within_an_evening_and_a_lot():
    asked = sharpeners({"minutes": 900, "runs_a_hand": 6, "evenings": 2, "lots_m": (6.5, 20.0)})
    plan = drawn(asked)
    for _, runs in groupby(plan.runs, key=lambda run: run.block):
        block = list(runs)
        assert len({(run.evening, run.lot, run.tester) for run in block}) == 1
        assert {run.sharpener for run in block} == {"tern", "wren"}
    assert [run.lot for run in plan.runs] == [1] * 4 + [2] * 8  # 6.5 m are four runs
    assert [run.coil_position_m for run in plan.runs][3:6] == [4.8, 0.0, 1.6]


def test_an_evening_too_short_for_one_of_each_spreads_a_round_over_evenings_and_says_so():
    asked = steels({"minutes": 100, "evenings": 3}, blades=("wren.a", "wren.b", "wren.c"))
    plan = drawn(asked)
    assert [run.evening for run in plan.runs] == [1, 2, 3]
    assert any("does not hold a run of each" in threat.text for threat in open_threats(asked, plan))


def test_two_testers_take_turns_by_blocks():
    plan = drawn(sharpeners(roomy(8), testers=["tern", "wren"]))
    turns = [(next(runs)).tester for _, runs in groupby(plan.runs, key=lambda run: run.block)]
    assert len(turns) == 4 and all(a != b for a, b in pairwise(turns))


def test_coded_blocks_of_two_arms_hold_four_runs_or_more():
    for runs in (4, 6, 8, 14, 20):
        sizes = [block.size for block in capacity(sharpeners(roomy(runs), coder="moss")).blocks]
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
        ({"last_checkpoint": 50}, "got 50 as the last checkpoint, wanted one of 5, 10, 20, 40, 80, 160"),
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


def advice(asked, entry, **more):
    return advise(asked, entry, id="boatyard-plan", month="2026-05", seed=2, evenings=120, **more)


def test_an_evening_that_cannot_answer_says_what_would_and_the_remedy_works():
    poor = advice(sharpeners(), pooled(0.12, 40))
    assert not poor.answers
    remedies = {remedy.kind: remedy for remedy in poor.remedies}
    assert set(remedies) == {"more runs", "larger worthwhile ratio", "finer readings", "another evening", "a friend's stone"}
    more = int(remedies["more runs"].value)
    richer = advice(sharpeners(roomy(more, math.ceil(more / 4))), pooled(0.12, 40))
    assert min(richer.right.no_difference, richer.right.difference) > 0.8 - 4 * 0.037  # Monte-Carlo error of 120 evenings
    fewer = advice(sharpeners(roomy(more // 2)), pooled(0.12, 40))
    assert not fewer.answers
    wider = advice(sharpeners(worthwhile_ratio=remedies["larger worthwhile ratio"].value), pooled(0.12, 40))
    assert min(wider.right.no_difference, wider.right.difference) > 0.8 - 4 * 0.037


def test_more_runs_of_an_edge_that_was_left_need_its_sharpener_back():
    poor = advice(sharpeners(alone="wren", sharpeners=["tern"], testers=[]), pooled(0.12, 40))
    assert poor.remedies[0].text.endswith("for which tern would have to sharpen again.")
    assert poor.fits.blade_runs == 1  # one edge is cut as it was left


def test_an_evening_that_can_answer_needs_no_remedy():
    good = advice(sharpeners(roomy(8)), pooled(0.05, 40))
    assert good.answers and good.remedies == ()


def test_finer_readings_can_take_away_no_more_than_reading_put_in():
    # Repeats with variance .0027 in threes are .0009 of .0144: a sixteenth. √(15/16) of the half width is left.
    poor = advice(sharpeners(), pooled(0.12, 40), reading_variance=0.0027)
    (finer,) = (remedy for remedy in poor.remedies if remedy.kind == "finer readings")
    assert finer.value == pytest.approx(math.exp(poor.found.half_width * math.sqrt(15 / 16)))


def test_where_nothing_fits_there_is_no_plan():
    nothing = advice(sharpeners({"minutes": 80}), pooled(0.1, 40))
    assert (nothing.plan, nothing.found, nothing.answers) == (None, None, False)


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (lambda: sharpeners(), "Nothing hides whose edge it is"),
        (lambda: sharpeners(coder="moss", testers=["tern"]), "tern sharpen and test"),
        (lambda: sharpeners({"minutes": 200}, coder="moss"), "whoever recognises one edge knows the other"),
        (lambda: steels(coder="moss"), "Blades can be told apart by their shape"),
        (lambda: steels(), "One blade a steel"),
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
