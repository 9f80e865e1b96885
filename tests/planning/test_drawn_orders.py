"""Orders: balanced for carry-over, hard to guess, drawn alike everywhere."""

from collections import Counter
from itertools import product

import pytest
from boatyard_plans import drawn, roomy, sharpeners, steels

from edgehold.errors import InputError
from edgehold.planning.draws import Draws
from edgehold.planning.orders import carry_over_counts, coded_orders, draw_order, given_away, possible_orders, williams
from edgehold.planning.plans import arms_in_order, draw_codes, drawn_again, treatment_numbers
from edgehold.records.model.plan import Plan

# Williams (1949), and any text on crossover designs: for four treatments (lettered A to D) ABDC BCAD CDBA DACB, up to names and rows;
# for three, the six rows ABC BCA CAB ACB BAC CBA.
FOUR = {"ABDC", "BCAD", "CDBA", "DACB"}
THREE = {"ABC", "BCA", "CAB", "ACB", "BAC", "CBA"}


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


def test_the_drawn_order_comes_again_from_the_stored_plan():
    for asked in (sharpeners(roomy(8, 2), coder="moss"), sharpeners(roomy(6)), steels(roomy(9), blades=("w1.a", "w1.b", "w1.c"))):
        for seed in range(20):
            stored = Plan.model_validate_json(drawn(asked, seed).model_dump_json())
            assert drawn_again(stored) == arms_in_order(stored)


def test_other_seeds_draw_other_orders():
    asked = sharpeners(roomy(8), coder="moss")
    assert len({arms_in_order(drawn(asked, seed)) for seed in range(60)}) == len(coded_orders(8))


def test_the_words_of_a_seed_are_these_on_every_machine():
    # Drawn once and written down: another machine or library version must draw the same.
    assert treatment_numbers(arms_in_order(drawn(sharpeners(roomy(8), coder="moss"), 7))) == [0, 1, 1, 1, 0, 0, 0, 1]
    assert draw_codes(4, 7) == ["KH", "RG", "LJ", "ZK"]


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
