"""Orders: balanced for carry-over, hard to guess, drawn alike everywhere."""

from collections import Counter
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.errors import InputError
from edgehold.planning.draws import Draws
from edgehold.planning.occasion import occasion, stock
from edgehold.planning.orders import carry_over_counts, coded_orders, draw_order, given_away, round_order, williams
from edgehold.planning.plans import arms_in_order, draw_codes, treatment_numbers
from edgehold.records.model.plan import Plan

from .boatyard_plans import drawn, protocol, roomy, sharpeners, steels
from .possible_orders import possible_orders

# Williams (1949), and any text on crossover designs: for four treatments (lettered A to D) ABDC BCAD CDBA DACB, up to names and rows;
# for three, the six rows ABC BCA CAB ACB BAC CBA.
FOUR = {"ABDC", "BCAD", "CDBA", "DACB"}
THREE = {"ABC", "BCA", "CAB", "ACB", "BAC", "CBA"}

SEED_7 = [0, 1, 1, 0, 0, 1, 1, 0]


def letters(rows):
    return {"".join("ABCDEFG"[x] for x in row) for row in rows}


@pytest.mark.parametrize("t", [2, 3, 4, 5, 6])
def test_in_a_williams_design_everything_follows_everything_else_equally_often_and_stands_everywhere_equally_often(t):
    rows = williams(t)
    assert len(rows) == (t if t % 2 == 0 else 2 * t)
    after = carry_over_counts(rows)
    assert set(after) == {(a, b) for a, b in product(range(t), repeat=2) if a != b}
    assert set(after.values()) == {1 if t % 2 == 0 else 2}
    for place in zip(*rows, strict=True):
        assert set(Counter(place).values()) == {len(rows) // t}


def test_three_treatments_take_all_six_orders_as_published():
    assert letters(williams(3)) == THREE


def test_the_square_of_four_is_the_published_one_up_to_names():
    names = dict(zip("ABCD", "ABDC", strict=True))  # 0 1 3 2 is written A B D C here and A B C D with two names exchanged
    ours = letters(williams(4))
    assert ours == FOUR or {"".join(names[x] for x in row) for row in ours} == FOUR


def test_a_single_treatment_has_no_order():
    with pytest.raises(InputError, match="got 1 treatments, wanted 2 or more"):
        williams(1)


@pytest.mark.parametrize("size", [4, 6, 8, 10, 12])
def test_under_codes_no_other_place_can_be_told_from_one_known_edge_of_two(size):
    orders = coded_orders(size)
    assert all(order.count(0) == order.count(1) for order in orders)
    for place, treatment, other in product(range(size), (0, 1), range(size)):
        if place != other:
            left = {order[other] for order in orders if order[place] == treatment}
            assert left == {0, 1}, (place, treatment, other)


@pytest.mark.parametrize(("t", "blocks"), [(3, 1), (3, 2), (3, 3), (3, 6), (4, 1), (4, 2), (4, 3), (4, 4)])
def test_under_codes_no_other_place_can_be_told_from_one_known_edge_of_three_or_four(t, blocks):
    assert given_away(possible_orders(t, [t] * blocks, coded=True)) == ()


def test_two_blocks_of_two_arms_under_codes_give_nothing_away_either():
    assert given_away(possible_orders(2, [4, 4], coded=True)) == ()


def test_the_enumeration_would_see_what_plain_mirrored_pairs_give_away():
    assert given_away([(0, 1, 1, 0), (1, 0, 0, 1)]) != ()
    assert given_away(possible_orders(2, [2, 2], coded=False)) != ()
    assert (0, 0, 1) in given_away([(0, 1), (1, 0)])


@pytest.mark.parametrize(("t", "sizes", "coded"), [(2, [2, 2], False), (2, [4], True), (3, [3, 3], True), (4, [4, 4], True)])
def test_what_is_drawn_is_among_what_was_enumerated_and_every_such_order_is_drawn_at_some_time(t, sizes, coded):
    possible = set(possible_orders(t, sizes, coded))
    seen = {draw_order(t, sizes, coded, Draws("test", str(seed))) for seed in range(40 * len(possible) if len(possible) < 40 else 200)}
    assert seen <= possible
    assert len(possible) > 40 or seen == possible


@pytest.mark.parametrize("size", [6, 8, 10, 12])
def test_coded_orders_of_two_are_as_balanced_as_can_be_asked(size):
    for order in coded_orders(size):
        after = carry_over_counts([order])
        counts = [after[pair] for pair in product((0, 1), repeat=2)]
        assert max(counts) - min(counts) <= 2
        places = [sum(i for i, x in enumerate(order) if x == arm) / (size / 2) for arm in (0, 1)]
        assert abs(places[0] - places[1]) <= 1


@pytest.mark.parametrize("t", [2, 3, 4])
def test_a_whole_open_design_is_balanced_for_carry_over_and_free_of_a_steady_drift(t):
    blocks = len(williams(t))
    order = draw_order(t, [t] * blocks, False, Draws("open", str(t)))
    rows = [order[i : i + t] for i in range(0, len(order), t)]
    assert len(set(carry_over_counts(rows).values())) == 1
    assert len({sum(i for i, x in enumerate(order) if x == arm) for arm in range(t)}) == 1


def test_one_seed_draws_one_order():
    for asked in (sharpeners(roomy(8, 2), coder="moss"), sharpeners(roomy(6)), steels(roomy(9), blades=("w1.a", "w1.b", "w1.c"))):
        for seed in range(20):
            stored = Plan.model_validate_json(drawn(asked, seed).model_dump_json())
            assert arms_in_order(stored) == arms_in_order(drawn(asked, stored.seed))


def test_other_seeds_draw_other_orders():
    # Of two sharpeners in mirrored pairs a coin decides every second pair: four orders of eight runs.
    asked = sharpeners(roomy(8), coder="moss")
    assert len({arms_in_order(drawn(asked, seed)) for seed in range(60)}) == 4
    two = steels(roomy(8), coder="moss")
    assert len({arms_in_order(drawn(two, seed)) for seed in range(200)}) == len(coded_orders(8))


def test_the_words_of_a_seed_are_these_on_every_machine():
    # Drawn once and written down: another machine or library version must draw the same.
    assert treatment_numbers(arms_in_order(drawn(steels(roomy(8), coder="moss"), 7))) == [0, 1, 1, 1, 0, 0, 0, 1]
    assert treatment_numbers(arms_in_order(drawn(sharpeners(roomy(8), coder="moss"), 7))) == SEED_7
    assert draw_codes(4, 7) == ["KH", "RG", "LJ", "ZK"]


@pytest.mark.parametrize("name", ["two-sharpeners-rope/1.0.0", "two-sharpeners-rope/1.1.0"])
@given(
    seed=st.integers(0, 2**53 - 1),
    blades=st.integers(1, 3),
    people=st.integers(2, 4),
    rounds=st.integers(1, 4),
    coder=st.sampled_from([None, "moss"]),
)
@settings(max_examples=150, deadline=None)
def test_sharpeners_go_in_rounds_of_one_blade_and_every_second_round_is_the_reverse_of_the_one_before(
    name, seed, blades, people, rounds, coder
):
    # Step s6 of these protocols: pairs holding each sharpener once, the next pair the reverse; with more runs a toss again.
    followed = protocol(*name.split("/"))
    assert "In pairs holding each sharpener once" in followed.design.order and "the next pair is its reverse" in followed.design.order
    asked = occasion(
        followed,
        stock(followed, **roomy(rounds * blades * people)),
        blades=[f"wren.b{i}" for i in range(blades)],
        sharpeners=[f"hand{i}" for i in range(people)],
        testers=["fennel"],
        coder=coder,
    )
    runs = drawn(asked, seed).runs
    assert len(runs) == rounds * blades * people
    turns = [runs[i : i + people] for i in range(0, len(runs), people)]
    for turn in turns:
        assert len({run.blade for run in turn}) == 1 and len({run.sharpener for run in turn}) == people
    for one, other in zip(turns[::2], turns[1::2], strict=False):
        assert [run.sharpener for run in other] == [run.sharpener for run in reversed(one)]


@given(
    seed=st.integers(0, 2**53 - 1),
    blades=st.integers(1, 3),
    pairs=st.integers(1, 5),
    coder=st.sampled_from([None, "moss"]),
    two=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_halves_of_one_edge_go_in_pairs_cut_in_turn_and_change_hands_from_one_pair_to_the_next(seed, blades, pairs, coder, two):
    # Step s6 of this protocol: one sharpening of the whole blade a pair, the halves change hands in the next.
    followed = protocol("two-sharpeners-rope", "2.0.0")
    assert "in the next pair the halves change hands" in followed.design.order
    room = roomy(2 * pairs * blades) | {"minutes": 9000}
    asked = occasion(
        followed,
        stock(followed, **room),
        blades=[f"wren.b{i}" for i in range(blades)],
        sharpeners=["tern", "wren"],
        testers=["fennel", "fid"] if two else ["fennel"],
        coder=coder,
    )
    runs = drawn(asked, seed).runs
    assert len(runs) == 2 * pairs * blades
    turns = [runs[i : i + 2] for i in range(0, len(runs), 2)]
    for one, other in turns:
        assert (one.partner, other.partner) == (other.order, one.order)
        assert {one.sharpener, other.sharpener} == {"tern", "wren"} and {one.edge_part, other.edge_part} == {"heel", "tip"}
        for shared in ("blade", "tester", "evening", "lot", "coil_position_m"):
            assert getattr(one, shared) == getattr(other, shared)
    heels = [next(run.sharpener for run in turn if run.edge_part == "heel") for turn in turns]
    assert all(one != other for one, other in zip(heels[::2], heels[1::2], strict=False))
    assert abs(heels.count("tern") - heels.count("wren")) <= len(heels) % 2


@given(
    seed=st.integers(0, 2**53 - 1),
    blades=st.integers(2, 6),
    people=st.integers(1, 3),
    rounds=st.integers(1, 4),
    coder=st.sampled_from([None, "moss"]),
    two=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_two_blades_of_one_sharpener_go_in_pairs_cut_in_turn_and_every_second_round_is_the_reverse_of_the_one_before(
    seed, blades, people, rounds, coder, two
):
    # Step s5 of this protocol: pairs of one person's blades, three or more in a ring; the next round is the reverse, the other begins.
    followed = protocol("steels-exchanged-rope", "3.0.0")
    assert "In pairs of two blades by one sharpener" in followed.design.order and "the next round is their reverse" in followed.design.order
    size = 2 * people * (blades if blades > 2 else 1)
    asked = occasion(
        followed,
        stock(followed, **(roomy(rounds * size) | {"minutes": 20_000})),
        blades=[f"wren.b{i}" for i in range(blades)],
        sharpeners=[f"hand{i}" for i in range(people)],
        testers=["fennel", "fid"] if two else ["fennel"],
        coder=coder,
    )
    runs = drawn(asked, seed).runs
    assert len(runs) == rounds * size
    pairs = [runs[i : i + 2] for i in range(0, len(runs), 2)]
    for one, other in pairs:
        assert (one.partner, other.partner) == (other.order, one.order)
        assert one.blade != other.blade and {one.edge_part, other.edge_part} == {"whole"}
        for shared in ("sharpener", "tester", "evening", "lot", "coil_position_m"):
            assert getattr(one, shared) == getattr(other, shared)
    turns = [runs[i : i + size] for i in range(0, len(runs), size)]
    edges = [[(run.blade, run.sharpener) for run in turn] for turn in turns]
    assert all(edges[at + 1] == edges[at][::-1] for at in range(0, rounds - 1, 2))
    for turn in edges:
        assert set(Counter(turn).values()) == {1 if blades == 2 else 2}
        if blades > 2:  # in a ring every blade begins once and comes second once
            assert set(Counter(turn[::2]).values()) == set(Counter(turn[1::2]).values()) == {1}
    began: dict[frozenset[str], list[str]] = {}
    for one, other in pairs:
        began.setdefault(frozenset({one.blade, other.blade}), []).append(one.blade)
    assert all(len(starts) == 1 or len(set(starts)) == 2 for starts in began.values())
    joined = {pairs[0][0].blade}
    for _ in range(blades):
        joined |= {run.blade for pair in pairs if joined & {run.blade for run in pair} for run in pair}
    assert len(joined) == blades


@pytest.mark.parametrize("name", ["steels-exchanged-rope/1.0.0", "steels-exchanged-rope/2.0.0", "life-on-card/1.0.0"])
@given(seed=st.integers(0, 2**53 - 1), blades=st.integers(2, 5), rounds=st.integers(1, 4), coder=st.sampled_from([None, "moss"]))
@settings(max_examples=150, deadline=None)
def test_of_steels_every_round_holds_each_blade_once_and_none_always_comes_first(name, seed, blades, rounds, coder):
    followed = protocol(*name.split("/"))
    assert "so that no steel always comes first" in followed.design.order
    asked = occasion(
        followed,
        stock(followed, **roomy(rounds * blades)),
        blades=[f"wren.b{i}" for i in range(blades)],
        sharpeners=["wren"],
        testers=["fennel"],
        coder=coder,
    )
    order = [run.blade for run in drawn(asked, seed).runs]
    assert Counter(order) == dict.fromkeys(asked.blades, rounds)
    turns = [order[i : i + blades] for i in range(0, len(order), blades)]
    if not (coder and blades == 2):  # two blades under codes come in longer blocks, so that one recognised leaves the others open
        assert all(len(set(turn)) == blades for turn in turns)
        assert rounds == 1 or len({turn[0] for turn in turns}) > 1


@pytest.mark.parametrize("people", [2, 3, 4])
def test_rounds_of_sharpeners_are_free_of_a_steady_drift(people):
    # A round and its mirror image: every sharpener's places in them add up alike.
    for seed in range(20):
        order = round_order(1, people, 2, Draws("drift", str(seed)))
        assert len({sum(i for i, x in enumerate(order) if x == hand) for hand in range(people)}) == 1


def test_draws_below_a_number_are_even():
    draws = Draws("even")
    counts = Counter(draws.below(6) for _ in range(12_000))
    assert sum((n - 2000) ** 2 / 2000 for n in counts.values()) < 20.5  # chi-squared, 5 df, p = .001


def test_codes_differ_and_are_no_words():
    codes = draw_codes(40, 3)
    assert len(set(codes)) == 40
    assert not set("AEIOUY") & set("".join(codes))
    assert codes != sorted(codes)


def test_more_runs_than_codes_are_refused():
    with pytest.raises(InputError, match="got 500 runs, wanted at most 380"):
        draw_codes(500, 1)
