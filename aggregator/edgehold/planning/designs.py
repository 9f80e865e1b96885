"""What can be done at all: a plan is always made, of what was asked for where that fits, else of the nearest thing that does."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from edgehold.records.units import plural
from edgehold.words import Reason

from .capacity import SPARE, Capacity, capacity, evening_minutes, evening_runs, sharpenings
from .occasion import Occasion, lasts, rule_within

PLENTY = 1e6  # of anything that is not to limit


@dataclass(frozen=True)
class Design:
    """What will be done, and how it differs from what was asked for.

    Attributes
    ----------
    asked : who, with what, for how long and how far, changed where it had to be.
    fits : the runs that fit, one of every arm or more.
    changes : what had to be changed; empty where nothing was.
    """

    asked: Occasion
    fits: Capacity
    changes: tuple[Reason, ...]


def going_to(asked: Occasion, last: float) -> Occasion:
    """The same with runs that end at another checkpoint, judged by what is reached there.

    The worthwhile ratio is the new endpoint's, unless another than the old one's was asked for.
    """
    rule = rule_within(asked.protocol, last) or asked.rule
    kept = asked.worthwhile_ratio != asked.rule.worthwhile_ratio
    return replace(asked, last_checkpoint=last, rule=rule, worthwhile_ratio=asked.worthwhile_ratio if kept else rule.worthwhile_ratio)


def doable(asked: Occasion) -> Design:
    """What was asked for if a run of every arm fits; else shorter runs; else the shortest, with as much more of everything as they take.

    Where edges are cut in turn, two pairs come before longer runs: in one alone the half changes with the sharpener, and of two blades
    one is known by a single sharpening.
    """
    ends = [last for last in reversed(lasts(asked.protocol)) if last <= asked.last_checkpoint]
    for least in least_rounds(asked):
        for last in ends:
            shorter = going_to(asked, last)
            fits = capacity(shorter)
            if fits.runs >= least * asked.round_runs:
                return Design(shorter, fits, () if last == asked.last_checkpoint else (_shortened(asked, last),))
    return _with_more(going_to(asked, ends[-1]), () if len(ends) == 1 else (_shortened(asked, ends[-1]),))


def least_rounds(asked: Occasion) -> tuple[int, ...]:
    """Rounds of all arms that are enough for an answer, then those that are worth doing at all."""
    return (2, 1) if asked.in_turn and asked.round_runs == 2 and not asked.as_left else (1,)


def other_designs(chosen: Design) -> tuple[Design, ...]:
    """Other checkpoints at which runs may end, from the farthest, where a run of every arm fits; of those with the same endpoint and as
    many runs the farthest alone."""
    asked, met = chosen.asked, {(chosen.asked.rule.id, chosen.fits.runs)}
    found = []
    for last in reversed(lasts(asked.protocol)):
        other = going_to(asked, last)
        fits = capacity(other)
        if fits.runs >= least_rounds(other)[0] * other.round_runs and (other.rule.id, fits.runs) not in met:
            met.add((other.rule.id, fits.runs))
            found.append(Design(other, fits, ()))
    return tuple(found)


def _shortened(asked: Occasion, last: float) -> Reason:
    return Reason("plan.shorter", last=last, given=asked.last_checkpoint, units=plural(asked.protocol.work.unit))


def _with_more(asked: Occasion, changes: tuple[Reason, ...]) -> Design:
    """One run of every arm, with as much more of whatever is short as that takes."""
    t, has = asked.round_runs, asked.stock
    least = evening_minutes(asked, 2 if asked.in_turn else 1)
    if least > has.minutes:
        minutes = float(math.ceil(least))
        changes += (Reason("plan.more_minutes", minutes=minutes, given=has.minutes),)
        has = replace(has, minutes=minutes)
    evenings = math.ceil(t / evening_runs(replace(asked, stock=has)))
    if evenings > has.evenings:
        changes += (Reason("plan.more_evenings", evenings=evenings, given=has.evenings),)
        has = replace(has, evenings=evenings)
    if has.most_runs is not None and has.most_runs < t:
        changes += (Reason("plan.more_runs_than_wished", runs=t, given=has.most_runs),)
        has = replace(has, most_runs=t)
    needs = capacity(replace(asked, stock=replace(has, lots_m=(), steel_mm=PLENTY)))
    if has.lots_m and not capacity(replace(asked, stock=replace(has, steel_mm=PLENTY))).runs:
        metres = math.ceil(t * needs.run_m * SPARE * 10) / 10
        changes += (Reason("plan.more_medium", metres=metres),)
        has = replace(has, lots_m=(metres,))
    steel = math.ceil(t / len(asked.blades) / (2 if asked.halves else 1)) * needs.lost_mm
    if sharpenings(replace(asked, stock=has), needs.lost_mm) < t:
        changes += (Reason("plan.more_steel", mm=steel, given=has.steel_mm),)
        has = replace(has, steel_mm=steel)
    stretched = replace(asked, stock=has)
    return Design(stretched, capacity(stretched), changes)
