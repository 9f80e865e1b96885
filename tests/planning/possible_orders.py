"""Every order that could be drawn, listed: what `edgehold.planning.orders` draws is held to it."""

from collections.abc import Iterator, Sequence
from itertools import permutations, product

from edgehold.errors import InputError
from edgehold.planning.orders import Order, coded_orders, williams


def possible_orders(t: int, sizes: Sequence[int], coded: bool) -> Iterator[Order]:
    """Every order that `draw_order` could give. Grows fast: for few blocks.

    Parameters
    ----------
    t, sizes, coded : as for `draw_order`.
    """
    if t == 2 and coded:
        for parts in product(*(coded_orders(size) for size in sizes)):
            yield tuple(x for part in parts for x in part)
        return
    rows = williams(t)
    if len(sizes) > len(rows):
        raise InputError(f"got {len(sizes)} blocks, wanted at most {len(rows)}: later blocks are drawn anew and alike")
    for chosen in _choices(rows, len(sizes), coded):
        for names in permutations(range(t)):
            yield tuple(names[x] for row in chosen for x in row)


def _choices(rows: tuple[Order, ...], count: int, coded: bool) -> Iterator[tuple[Order, ...]]:
    if coded:
        yield from (chosen for chosen in permutations(rows, count) if count < 2 or chosen[0][0] != chosen[1][0])
        return
    pairs = sorted({tuple(sorted((row, row[::-1]))) for row in rows})
    for mixed in permutations(pairs):
        for flips in product((False, True), repeat=len(pairs)):
            flat = [row for pair, flip in zip(mixed, flips, strict=True) for row in (pair[::-1] if flip else pair)]
            yield tuple(flat[:count])
