"""How many runs fit, what limits them, and in which blocks of evening and lot."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from edgehold.words import Reason

from .geometry import edge_lost_mm
from .minutes import practice_minutes, run_minutes
from .occasion import Occasion
from .orders import LEAST_CODED, LONGEST_LISTED

SPARE = 1.1  # medium for the practice run, the clamped end and a run begun again


@dataclass(frozen=True)
class Limit:
    """One thing that runs use up.

    Attributes
    ----------
    name : medium, minutes, hand, steel, edges or wish.
    runs : how many runs it allows in all.
    text : the figures behind it.
    """

    name: str
    runs: int
    text: str


@dataclass(frozen=True)
class Block:
    """Runs made in one evening from one lot by one tester.

    Attributes
    ----------
    evenings : one a run; they differ only where an evening is too short for one run of each arm.
    lot : 1, 2 …
    tester : handle's number among the testers.
    """

    evenings: tuple[int, ...]
    lot: int
    tester: int

    @property
    def size(self) -> int:
        """Runs."""
        return len(self.evenings)


@dataclass(frozen=True)
class Capacity:
    """What fits.

    Attributes
    ----------
    blocks : in order.
    limits : every limit, the tightest first.
    run_m : metres of medium that one whole run uses.
    buy_m : metres to have, with some to spare; of one lot where there is one.
    lost_mm : height that the edge of a blade loses at one sharpening, at least.
    blade_runs : sharpenings of each blade: its runs, but for an edge that is cut as it was left.
    """

    blocks: tuple[Block, ...]
    limits: tuple[Limit, ...]
    run_m: float
    buy_m: float
    lost_mm: float
    blade_runs: int

    @property
    def runs(self) -> int:
        """Runs in all."""
        return sum(block.size for block in self.blocks)


def capacity(asked: Occasion) -> Capacity:
    """As many whole rounds (one run of every arm; of three blades or more in turn two) as fit.

    Parameters
    ----------
    asked : who, with what, for how long.
    """
    run_m = asked.last_checkpoint * asked.stock.mm_per_unit / 1000
    lost = edge_lost_mm(asked.stock.flat_mm, asked.stock.angle_deg)
    limits = _limits(asked, run_m, lost)
    blocks = _blocks(asked, run_m, min(limit.runs for limit in limits))
    runs = sum(block.size for block in blocks)
    return Capacity(
        blocks=blocks,
        limits=tuple(sorted(limits, key=lambda limit: limit.runs)),
        run_m=run_m,
        buy_m=math.ceil(runs * run_m * SPARE * 10) / 10,
        lost_mm=lost,
        blade_runs=max(0, runs - len(asked.as_left)) // len(asked.blades) // (2 if asked.halves and not asked.as_left else 1),
    )


def evening_runs(asked: Occasion) -> int:
    """Runs that one evening holds: minutes after the practice run, and hands. Edges in turn are cut in the same evening."""
    return _whole_pairs(asked, min(_evening_by_minutes(asked), asked.stock.runs_a_hand * len(asked.testers)))


def sharpenings(asked: Occasion, lost: float) -> int:
    """Runs that the height of steel allows: each sharpening of a blade serves one, or the two halves of its edge."""
    return len(asked.blades) * math.floor(asked.stock.steel_mm / lost + 1e-9) * (2 if asked.halves else 1)


def _whole_pairs(asked: Occasion, runs: int) -> int:
    return runs - runs % 2 if asked.in_turn else runs


def evening_minutes(asked: Occasion, runs: int) -> float:
    """Minutes of an evening with so many runs."""
    return practice_minutes(asked.protocol) + runs * run_minutes(asked.protocol, asked.last_checkpoint).whole


def _evening_by_minutes(asked: Occasion) -> int:
    free = asked.stock.minutes - practice_minutes(asked.protocol)
    return max(0, math.floor(free / run_minutes(asked.protocol, asked.last_checkpoint).whole + 1e-9))


def _limits(asked: Occasion, run_m: float, lost: float) -> list[Limit]:
    at_hand, run = asked.stock, run_minutes(asked.protocol, asked.last_checkpoint)
    evenings, hands = at_hand.evenings, len(asked.testers)
    by_minutes = Reason(
        "plan.limit_minutes",
        evenings=evenings,
        minutes=at_hand.minutes,
        practice=practice_minutes(asked.protocol),
        run=run.whole,
        sharpening=run.sharpening,
        readings=run.readings,
        cutting=run.cutting,
    )
    by_hand = Reason("plan.limit_hand", runs=at_hand.runs_a_hand, testers=hands, evenings=evenings)
    found = [
        Limit("minutes", evenings * _whole_pairs(asked, _evening_by_minutes(asked)), by_minutes),
        Limit("hand", evenings * hands * at_hand.runs_a_hand, by_hand),
        Limit(
            "steel",
            sharpenings(asked, lost),
            Reason("plan.limit_steel", lost=lost, whole=at_hand.steel_mm),
        ),
    ]
    if at_hand.lots_m:
        runs = sum(math.floor(metres / run_m + 1e-9) for metres in at_hand.lots_m)
        listed = " + ".join(f"{metres:g}" for metres in at_hand.lots_m)
        found.append(Limit("medium", runs, Reason("plan.limit_medium", lots=listed, run=run_m)))
    if asked.as_left:
        found.append(Limit("edges", len(asked.arms), Reason("plan.limit_edges")))
    if at_hand.most_runs is not None:
        found.append(Limit("wish", at_hand.most_runs, Reason("plan.limit_wish", runs=at_hand.most_runs)))
    return found


def _blocks(asked: Occasion, run_m: float, most: int) -> tuple[Block, ...]:
    t, evening = asked.round_runs, evening_runs(asked)
    coded_pair = t == 2 and asked.coded and not asked.in_rounds and not asked.in_turn
    left = [math.floor(metres / run_m + 1e-9) for metres in asked.stock.lots_m] or [most]
    groups = (
        _groups(t, evening, asked.stock.evenings, left, most) if evening >= t else _across(t, evening, asked.stock.evenings, left, most)
    )
    parts = [part for group in groups for part in _parted(group, t, coded_pair, len(asked.testers) if len(groups) == 1 else 1)]
    return tuple(Block(evenings, lot, number % len(asked.testers)) for number, (evenings, lot) in enumerate(parts))


Group = tuple[tuple[int, ...], int]


def _groups(t: int, evening: int, evenings: int, left: list[int], most: int) -> list[Group]:
    """Whole rounds of each evening, lot by lot."""
    found: list[Group] = []
    for number in range(1, evenings + 1):
        room = evening
        while room >= t and most >= t and any(runs >= t for runs in left):
            lot = next(i for i, runs in enumerate(left) if runs >= t)
            size = t * (min(room, most, left[lot]) // t)
            found.append(((number,) * size, lot + 1))
            room, most, left[lot] = room - size, most - size, left[lot] - size
    return found


def _across(t: int, evening: int, evenings: int, left: list[int], most: int) -> list[Group]:
    """Rounds that go over several evenings, because one does not hold a run of each arm."""
    places = [number for number in range(1, evenings + 1) for _ in range(evening)][:most]
    found: list[Group] = []
    for start in range(0, len(places) - t + 1, t):
        lot = next((i for i, runs in enumerate(left) if runs >= t), None)
        if lot is None:
            break
        found.append((tuple(places[start : start + t]), lot + 1))
        left[lot] -= t
    return found


def _parted(group: Group, t: int, coded_pair: bool, testers: int) -> list[Group]:
    """A group's blocks: one run of each arm, or, of two arms under codes, as long as can be drawn from."""
    evenings, lot = group
    if not coded_pair:
        return [(evenings[i : i + t], lot) for i in range(0, len(evenings), t)]
    parts = max(math.ceil(len(evenings) / LONGEST_LISTED), min(testers, len(evenings) // LEAST_CODED), 1)
    rounds = len(evenings) // t
    ends = [t * (rounds * part // parts) for part in range(parts + 1)]
    return [(evenings[a:b], lot) for a, b in pairwise(ends)]
