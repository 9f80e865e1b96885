"""What more would add to a plan: edges exchanged with a friend's table, that table alone, a second evening.

Exchanges stand first. Without one, whoever sharpens well at a table cannot be told from whoever cuts and reads there kindly, however
many evenings follow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from edgehold.records.model.plan import Plan
from edgehold.records.pairs import HALVES

from .chances import SIGHTS
from .occasion import Occasion
from .precision import Cut, Precision, cuts_of, least_precise, precision
from .remedies import Outlook

EXCHANGE, FRIEND, EVENING = "edges exchanged", "a friend's table", "a second evening"
OWN, ACROSS = "own", "across"
FRIENDS = 2  # number of the friend's table


@dataclass(frozen=True)
class Addition:
    """Something more, and what it would come to.

    Attributes
    ----------
    kind : edges exchanged, a friend's table or a second evening.
    about : whether of the plan's own comparison, or of one's own edges (or blades) against the friend's.
    half_width : of the 95 % interval, ln scale; None where the runs never tell.
    seen : by true ratio, the chance that a difference is seen at all.
    """

    kind: str
    about: str
    half_width: float | None
    seen: dict[float, float]


def additions(asked: Occasion, plan: Plan, outlook: Outlook) -> tuple[Addition, ...]:
    """What an exchange, a friend's table and a second evening add; where levels are compared there is nothing to exchange.

    The friend makes the same plan with other people, blades, rope and evenings. Exchanged is one edge each way: it is cut beside an edge
    that its host puts on the same blade; where blades are compared, one blade each way, sharpened by its host, and where they are cut in
    turn beside a blade of the host's.

    Parameters
    ----------
    asked, plan : as planned.
    outlook : of the plan's endpoint.
    """
    factor = "sharpener" if asked.in_rounds else "blade"
    mine = cuts_of(plan)
    theirs = tuple(_friends(cut) for cut in mine)
    levels = asked.sharpeners if asked.in_rounds else asked.blades
    evening = _addition(EVENING, OWN, least_precise((*mine, *_again(mine)), factor, levels), outlook)
    if asked.levels:  # both tables make the same levels, so that a friend's tells about one's own comparison
        same = tuple(replace(friend, sharpener=own.sharpener) for friend, own in zip(theirs, mine, strict=True))
        return (_addition(FRIEND, OWN, least_precise((*mine, *same), factor, levels), outlook), evening)
    first = _here(asked) if asked.in_rounds else asked.blades[0]
    across = (factor, first, _name(first))
    return (
        _addition(EXCHANGE, ACROSS, precision((*mine, *theirs, *_exchanged(asked, mine)), *across), outlook),
        _addition(FRIEND, ACROSS, precision((*mine, *theirs), *across), outlook),
        evening,
    )


def _addition(kind: str, about: str, known: Precision, outlook: Outlook) -> Addition:
    if math.isinf(known.unscaled):
        return Addition(kind, about, None, dict.fromkeys(SIGHTS, 0.0))
    seen = {true: outlook.seen(known.unscaled, known.df, true) for true in SIGHTS}
    return Addition(kind, about, outlook.half_width(known.unscaled, known.df), seen)


def _here(asked: Occasion) -> str:
    """The first sharpener who is there, and so can send an edge."""
    return next(name for name in asked.sharpeners if not asked.alone or name in asked.testers)


def _name(mine: str) -> str:
    """What stands for somebody or something at the friend's table; no handle and no key looks like it."""
    return f"the friend's {mine}"


def _friends(cut: Cut) -> Cut:
    return replace(cut, table=FRIENDS, sharpener=_name(cut.sharpener), blade=_name(cut.blade), tester=_name(cut.tester))


def _again(cuts: Sequence[Cut]) -> tuple[Cut, ...]:
    """The same on further evenings, with halves changed over."""
    evenings, pairs = max(cut.evening for cut in cuts), 2 * len(cuts)
    other: dict[str, str] = dict(zip(HALVES, reversed(HALVES), strict=True))
    return tuple(
        replace(
            cut,
            evening=cut.evening + evenings,
            pair=None if cut.pair is None else cut.pair + pairs,
            edge_part=other.get(cut.edge_part, cut.edge_part),
        )
        for cut in cuts
    )


def _blades_exchanged(blade: str, home: Cut, pair: int | None) -> tuple[Cut, ...]:
    """A blade sent each way, in turn with a blade of the table where it goes."""
    back = replace(home, blade=_name(blade), pair=pair)
    visit = replace(_friends(back), blade=blade)
    return (visit, replace(visit, blade=_name(blade)), back, replace(back, blade=blade))


def _exchanged(asked: Occasion, mine: Sequence[Cut]) -> tuple[Cut, ...]:
    """The runs of one edge sent each way."""
    home, pair = mine[0], 4 * len(mine) if asked.in_turn else None
    if asked.blades_in_turn:
        return _blades_exchanged(asked.blades[0], home, pair)
    host = _here(asked) if asked.in_rounds else home.sharpener
    blade = home.blade if asked.in_rounds else asked.blades[0]
    visit = replace(home, table=FRIENDS, sharpener=host, blade=blade, tester=_name(home.tester), pair=pair, edge_part=HALVES[0])
    back = replace(home, sharpener=_name(host), blade=_name(blade), pair=pair, edge_part=HALVES[0])
    if not asked.in_rounds:
        return (replace(visit, sharpener=_name(host)), replace(back, sharpener=host))
    beside = (replace(visit, sharpener=_name(host), edge_part=HALVES[1]), replace(back, sharpener=host, edge_part=HALVES[1]))
    return (visit, beside[0], back, beside[1])
