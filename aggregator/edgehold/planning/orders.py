"""In which order: balanced against what the run before leaves behind and against the place on the coil, and hard to guess.

Treatments are numbered 0 … t − 1 here. An order is a tuple of them; a block is a stretch of the order made in one evening from one lot.

Which rule holds is the protocol's. Where it compares sharpeners, runs go in *rounds* of one blade that hold each sharpener once, and
every second round is the mirror image of the one before (``round_order``), under codes too: whoever recognises one edge then knows
the rest of both rounds, and the plan says so. Where two blades are cut in turn the rounds are made of their pairs (``pair_order``).
Otherwise *open blocks* hold every treatment once and are rows of Williams squares, and *blocks of two under codes* are longer,
since in a block of one each whoever recognises one edge knows the other. Their orders are all those of some length that are balanced
best, as many of them as it takes until one recognised edge leaves every other place open (``given_away``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import combinations, pairwise

from edgehold.errors import InputError

from .draws import Draws

Order = tuple[int, ...]
LONGEST_LISTED = 12  # runs of a coded block of two treatments: 924 orders to list; a longer block is cut in two
LEAST_CODED = 4  # runs below which a coded block of two treatments always gives itself away


def williams(t: int) -> tuple[Order, ...]:
    """Rows of a Williams square (t even), or of the pair of squares (t odd).

    Every treatment stands in every place equally often, and follows every other equally often. (Williams EJ 1949, Experimental
    designs balanced for the estimation of residual effects of treatments, Australian Journal of Scientific Research A 2:149–168:
    the first row 0, 1, t − 1, 2, t − 2 … is shifted cyclically; for odd t the mirrored rows are the second square.)

    Parameters
    ----------
    t : number of treatments, 2 or more.
    """
    if t < 2:
        raise InputError(f"got {t} treatments, wanted 2 or more: there must be something to compare")
    first = [0] + [(i + 1) // 2 if i % 2 else t - i // 2 for i in range(1, t)]
    square = [tuple((x + shift) % t for x in first) for shift in range(t)]
    return tuple(square if t % 2 == 0 else [*square, *(row[::-1] for row in square)])


def carry_over_counts(blocks: Iterable[Sequence[int]]) -> Counter[tuple[int, int]]:
    """How often each treatment comes straight after each within a block, by (before, after)."""
    return Counter(pair for block in blocks for pair in pairwise(block))


@cache
def coded_orders(size: int) -> tuple[Order, ...]:
    """Orders of two treatments, equally often each, among which a coded block of this size is drawn.

    They are taken from the best balanced down until one known place leaves every other open. What counts against an order is how
    unevenly the four pairs "a after b" occur, and how far the two treatments' mean places (so, on one coil, their mean metres) lie
    apart.

    Parameters
    ----------
    size : runs in the block, even, at most ``LONGEST_LISTED``.
    """
    if size % 2 or not 2 <= size <= LONGEST_LISTED:
        raise InputError(f"got a block of {size} runs, wanted an even number from 2 to {LONGEST_LISTED}")
    everything = (tuple(int(i not in chosen) for i in range(size)) for chosen in combinations(range(size), size // 2))
    ranked = sorted(everything, key=lambda order: (_imbalance(order), order))
    kept: list[Order] = []
    for level in sorted({_imbalance(order) for order in ranked}):
        kept += [order for order in ranked if _imbalance(order) == level]
        if not given_away(kept):
            break
    return tuple(kept)


def _imbalance(order: Order) -> float:
    after = carry_over_counts([order])
    counts = [after[(a, b)] for a in (0, 1) for b in (0, 1)]
    places = [sum(i for i, x in enumerate(order) if x == treatment) for treatment in (0, 1)]
    return max(counts) - min(counts) + abs(places[0] - places[1]) / (len(order) / 2)


def given_away(orders: Iterable[Order]) -> tuple[tuple[int, int, int], ...]:
    """What one recognised edge gives away, if everything but the draw is known.

    Parameters
    ----------
    orders : all orders that could have been drawn.

    Returns
    -------
    Every (place, treatment, other place) such that all orders with this treatment at this place have one and the same treatment at
    the other place.
    """
    listed = sorted(set(orders))
    length = len(listed[0])
    found = []
    for place in range(length):
        for treatment in sorted({order[place] for order in listed}):
            left = [order for order in listed if order[place] == treatment]
            found += [(place, treatment, j) for j in range(length) if j != place and len({order[j] for order in left}) == 1]
    return tuple(found)


def draw_order(t: int, sizes: Sequence[int], coded: bool, draws: Draws) -> Order:
    """Draw an order.

    Parameters
    ----------
    t : number of treatments.
    sizes : runs of each block. Blocks hold every treatment once, but for two treatments under codes, where they hold an even number.
    coded : whether the tester shall not know. Open, a block is followed by its mirror image, which takes a steady drift (of the coil,
        of the hand) out; coded, rows come in any order, since a mirror image would give itself away.
    draws : where the randomness comes from.

    Returns
    -------
    One treatment a run.
    """
    if t == 2 and coded:
        return tuple(x for size in sizes for x in _one_of(coded_orders(size), draws))
    if any(size != t for size in sizes):
        raise InputError(f"got blocks of {sorted(set(sizes))} runs, wanted {t} in each: every treatment once")
    order: list[int] = []
    while len(order) < t * len(sizes):
        names = draws.shuffled(range(t))
        order += [names[x] for row in _cycle(williams(t), coded, draws) for x in row]
    return tuple(order[: t * len(sizes)])


def round_order(blades: int, sharpeners: int, blocks: int, draws: Draws) -> Order:
    """Draw an order in rounds: each sharpener once on one blade, every second round the mirror image of the one before.

    Parameters
    ----------
    blades, sharpeners : how many; an arm is numbered ``blade × sharpeners + sharpener``.
    blocks : how often every arm comes; a block holds a round of every blade, in random order.
    draws : where the randomness comes from.

    Returns
    -------
    One arm a run.
    """
    rounds: list[list[int]] = []
    while len(rounds) < blades * blocks:
        names = draws.shuffled(range(sharpeners))
        rounds += [[names[x] for x in row] for row in _cycle(williams(sharpeners), False, draws)]
    order: list[int] = []
    for block in range(blocks):
        for place, blade in enumerate(draws.shuffled(range(blades))):
            order += [blade * sharpeners + sharpener for sharpener in rounds[block * blades + place]]
    return tuple(order)


def pair_order(blades: int, sharpeners: int, rounds: int, draws: Draws) -> Order:
    """Draw an order in pairs of two blades that one sharpener has sharpened; every second round is the mirror image of the one before.

    Two blades make one pair a sharpener. More of them stand in a ring in random order, and each makes a pair with its neighbours: a cyclic
    design of blocks of two (John JA & Williams ER 1995, Cyclic and Computer Generated Designs), in which every blade begins once and comes
    second once. From sharpener to sharpener the ring runs the other way round, and so does it in a mirror image: of two pairs of the
    same blades each begins one.

    Parameters
    ----------
    blades, sharpeners : how many, two blades or more; an arm is numbered ``blade × sharpeners + sharpener``.
    rounds : how often every pair comes.
    draws : where the randomness comes from.

    Returns
    -------
    One arm a run; partners stand next to each other, the one that begins first.
    """
    order: list[int] = []
    size = 2 * sharpeners * (blades if blades > 2 else 1)
    while len(order) < size * rounds:
        ring, hands = draws.shuffled(range(blades)), draws.shuffled(range(sharpeners))
        pairs = [(one, ring[(place + 1) % blades]) for place, one in enumerate(ring if blades > 2 else ring[:1])]
        both = [pair if turn % 2 == 0 else pair[::-1] for turn, _ in enumerate(hands) for pair in pairs]
        drawn = [blade * sharpeners + hands[number // len(pairs)] for number, pair in enumerate(both) for blade in pair]
        order += drawn + drawn[::-1]
    return tuple(order[: size * rounds])


def _one_of(orders: Sequence[Order], draws: Draws) -> Order:
    return orders[draws.below(len(orders))]


def _cycle(rows: tuple[Order, ...], coded: bool, draws: Draws) -> list[Order]:
    """All rows once, in random order; the second never begins like the first."""
    if coded:
        drawn = draws.shuffled(rows)
        other = next(i for i, row in enumerate(drawn) if row[0] != drawn[0][0])
        drawn[1], drawn[other] = drawn[other], drawn[1]
        return drawn
    pairs = sorted({tuple(sorted((row, row[::-1]))) for row in rows})
    return [row for pair in draws.shuffled(pairs) for row in draws.shuffled(pair)]
