"""Ways in which a plan can still mislead, as the protocol's own kinds of threats."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from edgehold.records.model.plan import Plan, PlannedRun
from edgehold.records.sharpeners import taken_apart
from edgehold.words import Reason
from edgehold.words.catalogue import Argument

from .occasion import Occasion, names_of
from .orders import LEAST_CODED, carry_over_counts
from .plans import arms_in_order, half_balance, in_halves, in_pairs, treatment_numbers


@dataclass(frozen=True)
class OpenThreat:
    """One threat that the plan does not close.

    Attributes
    ----------
    threat : kind, as in a protocol.
    text : in one sentence.
    """

    threat: str
    text: str


def open_threats(asked: Occasion, plan: Plan) -> tuple[OpenThreat, ...]:
    """Everything that the plan leaves open, and what the protocol itself does.

    Parameters
    ----------
    asked, plan : what was asked for and what was drawn.
    """
    found = [*_expectation(asked, plan), *_confounding(asked, plan), *_order(asked, plan), *_generality(asked, plan)]
    found += [OpenThreat(threat.threat, threat.text) for threat in asked.protocol.threats if not threat.steps]
    return tuple(found)


def _expectation(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if plan.blinding == "none":
        yield _open("expectation", "plan.open_nothing_hidden")
    sharp_testers = sorted(set(asked.testers) & {taken_apart(name)[0] for name in asked.sharpeners})
    if sharp_testers and plan.blinding != "none":
        yield _open("expectation", "plan.open_own_edges", names=" and ".join(sharp_testers))
    if asked.coded and len(asked.blades) > 1:
        yield _open("expectation", "plan.open_blades_by_shape")
    if asked.blades_in_turn:
        yield _open("expectation", "plan.open_hand_feels")
    if asked.coded and asked.in_rounds:
        yield _open("expectation", "plan.open_rounds_give_away")
    elif asked.coded and asked.blades_in_turn:
        yield _open("expectation", "plan.open_turns_give_away")
    elif asked.coded and any(size < LEAST_CODED for size in _sizes(plan)) and len(asked.arms) == 2:
        yield _open("expectation", "plan.open_two_coded")


def _confounding(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if asked.alone:
        yield _open("confounding", "plan.open_one_hand")
    if in_halves(plan) and half_balance(plan):
        yield _open("confounding", "plan.open_halves" if abs(half_balance(plan)) < len(plan.runs) // 2 else "plan.open_one_half")
    if asked.as_left:
        yield _open("confounding", "plan.open_as_left", names=names_of(asked.left_by))


def _order(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if in_pairs(plan):  # cut in turn: neither edge comes later than the other
        return
    if asked.as_left:
        yield _open("order", "plan.open_left_first")
        return
    numbers = treatment_numbers(arms_in_order(plan))
    blocks = [[numbers[run.order - 1] for run in runs] for _, runs in groupby(plan.runs, key=lambda run: run.block)]
    after = carry_over_counts(blocks)
    arms = range(len(set(numbers)))
    counts = [after[(a, b)] for a in arms for b in arms if a != b]
    if max(counts) - min(counts) > 0:
        yield _open("carry-over", "plan.open_carry_over")
    places = [[i for i, x in enumerate(numbers) if x == arm] for arm in arms]
    means = [sum(place) / len(place) for place in places]
    if max(means) - min(means) > 1e-9:
        yield _open("order", "plan.open_later", runs=float(f"{max(means) - min(means):.2g}"))
    if any(len({run.evening for run in runs}) > 1 for _, runs in _blocks(plan)):
        yield _open("order", "plan.open_days_mixed")


def _generality(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if asked.levels:
        yield _open("generality", "plan.open_one_maker", blades=len(asked.blades))
    elif asked.in_rounds:
        yield _open("generality", "plan.open_these_people", blades=len(asked.blades))
    elif _one_blade_a_steel(asked):
        yield _open("generality", "plan.open_one_blade")
    if len({run.lot for run in plan.runs}) == 1:
        yield _open("medium", "plan.open_one_lot")
    if len({run.evening for run in plan.runs}) == 1:
        yield _open("generality", "plan.open_one_evening")
    if len(asked.testers) == 1:
        yield _open("generality", "plan.open_one_tester")


def _open(threat: str, code: str, **arguments: Argument) -> OpenThreat:
    return OpenThreat(threat, Reason(code, **arguments))


def _one_blade_a_steel(asked: Occasion) -> bool:
    known = [steel for steel in asked.steels if steel is not None]
    return len(known) < len(asked.steels) or any(known.count(steel) < 2 for steel in known)


def _blocks(plan: Plan) -> list[tuple[int, list[PlannedRun]]]:
    return [(number, list(runs)) for number, runs in groupby(plan.runs, key=lambda run: run.block)]


def _sizes(plan: Plan) -> list[int]:
    return [len(runs) for _, runs in _blocks(plan)]
