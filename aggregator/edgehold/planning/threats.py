"""Ways in which a plan can still mislead, as the protocol's own kinds of threats."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from edgehold.counted import counted
from edgehold.records.model.plan import Plan, PlannedRun

from .occasion import Occasion
from .orders import LEAST_CODED, carry_over_counts
from .plans import arms_in_order, treatment_numbers


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
    found = [*_expectation(asked, plan), *_confounding(asked), *_order(asked, plan), *_generality(asked, plan)]
    found += [OpenThreat(threat.threat, threat.text) for threat in asked.protocol.threats if not threat.steps]
    return tuple(found)


def _expectation(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if plan.blinding == "none":
        yield OpenThreat("expectation", "Nothing hides whose edge it is: whoever hopes that one wins can help it along without knowing.")
    sharp_testers = sorted(set(asked.testers) & set(asked.sharpeners))
    if sharp_testers and plan.blinding != "none":
        yield OpenThreat("expectation", f"{' and '.join(sharp_testers)} sharpen and test: a hand may know its own edge under any code.")
    if asked.coded and len(asked.blades) > 1:
        yield OpenThreat("expectation", "Blades can be told apart by their shape under any code; write down which one you take each for.")
    if asked.coded and any(size < LEAST_CODED for size in _sizes(plan)) and len(asked.arms) == 2:
        yield OpenThreat("expectation", "With two coded runs in a block, whoever recognises one edge knows the other.")


def _confounding(asked: Occasion) -> Iterator[OpenThreat]:
    if asked.alone:
        yield OpenThreat("confounding", "One person sharpens and tests: an edge that suits that hand cannot be told from a better edge.")
    if asked.as_left:
        names = " and ".join(sorted({arm.sharpener for arm in asked.as_left}))
        yield OpenThreat("confounding", f"The edge of {names} is cut as it was left: its age and its use since are part of the answer.")


def _order(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if asked.as_left:
        yield OpenThreat("order", "The edge that was left has to come first: whatever changes over the evening looks like the edge.")
        return
    numbers = treatment_numbers(arms_in_order(plan))
    blocks = [[numbers[run.order - 1] for run in runs] for _, runs in groupby(plan.runs, key=lambda run: run.block)]
    after = carry_over_counts(blocks)
    arms = range(len(set(numbers)))
    counts = [after[(a, b)] for a in arms for b in arms if a != b]
    if max(counts) - min(counts) > 0:
        yield OpenThreat("carry-over", "With so few runs not every edge comes equally often straight after every other.")
    places = [[i for i, x in enumerate(numbers) if x == arm] for arm in arms]
    means = [sum(place) / len(place) for place in places]
    if max(means) - min(means) > 1e-9:
        later = counted(f"{max(means) - min(means):.2g}", "run")
        yield OpenThreat("order", f"On average one edge comes {later} later than another: tiredness and the coil's drift lean on it.")
    if any(len({run.evening for run in runs}) > 1 for _, runs in _blocks(plan)):
        yield OpenThreat("order", "An evening does not hold a run of each: days and edges are partly mixed.")


def _generality(asked: Occasion, plan: Plan) -> Iterator[OpenThreat]:
    if asked.protocol.question.factor == "sharpener":
        blades = "one blade" if len(asked.blades) == 1 else f"{len(asked.blades)} blades"
        yield OpenThreat("generality", f"It is about these people on {blades}, not about practice in general.")
    elif _one_blade_a_steel(asked):
        yield OpenThreat("generality", "One blade a steel: it is about these blades, not about their steels.")
    if len({run.lot for run in plan.runs}) == 1:
        yield OpenThreat("medium", "One lot of the medium: another may say otherwise.")
    if len({run.evening for run in plan.runs}) == 1:
        yield OpenThreat("generality", "One evening: the weather and the form of that day are in every figure.")
    if len(asked.testers) == 1:
        yield OpenThreat("generality", "One tester: another hand may read and cut otherwise.")


def _one_blade_a_steel(asked: Occasion) -> bool:
    known = [steel for steel in asked.steels if steel is not None]
    return len(known) < len(asked.steels) or any(known.count(steel) < 2 for steel in known)


def _blocks(plan: Plan) -> list[tuple[int, list[PlannedRun]]]:
    return [(number, list(runs)) for number, runs in groupby(plan.runs, key=lambda run: run.block)]


def _sizes(plan: Plan) -> list[int]:
    return [len(runs) for _, runs in _blocks(plan)]
