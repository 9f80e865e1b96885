"""What the hierarchical model says, in plain English."""

from __future__ import annotations

from collections.abc import Sequence

from edgehold.pooling.headline import Answer as Found
from edgehold.pooling.what_matters import WhatMatters
from edgehold.results.model.answers import HowMuchResult, MethodLine
from edgehold.results.model.numbers import needed
from edgehold.results.model.ratio import RatioInterval

from .sentences import VERDICT_ENDINGS, amount, compared, named, ratio_text

RESIDUAL_NAME = "run-to-run"
UNITS = {"steel": "blade", "practice": "sharpener"}
ONE_OF_EACH = {"steel": "these two blades", "practice": "these two sharpeners"}
WHOLE = {"steel": "steels", "practice": "classes of sharpeners"}
CALLED = {
    "steel": "two of the steels met",
    "practice": "practised and novice sharpeners",
    "sharpener": "two sharpeners of one class",
    "tester": "two testers",
    "blade": "two blades of one steel",
    "batch": "two batches of one steel",
    "lot": "two lots of the medium",
    "evening": "two evenings",
    "submission": "two submissions, all else alike,",
    "steel × sharpener": "from one sharpener to the next, a steel’s standing",
    "steel × tester": "from one tester to the next, a steel’s standing",
    RESIDUAL_NAME: "two runs by the same people with the same blade",
}
SHORT = {
    "steel": "the steel",
    "practice": "practice in sharpening",
    "sharpener": "who sharpens",
    "tester": "who tests",
    "blade": "the single blade",
}
MOSTLY_PRIOR = 80.0  # percent of a prior's spread left from which a figure is called mostly that


def figures(result: RatioInterval) -> str:
    """A ratio with its interval, as it stands in a sentence."""
    return f"{ratio_text(result.ratio)}, {100 * result.level:g} % interval {_end(result.low)} to {_end(result.high)}"


def _end(value: float | None) -> str:
    return ratio_text(value) if value is None else amount(value)


def answer_sentence(opening: str, one: Found, kind: str, result: RatioInterval, general: RatioInterval | None) -> str:
    """The answer on one comparison: what it speaks of, how sure it is, and what that comes to."""
    if general is not None:
        return _of_units(opening, one, kind, result, general)
    first, second = named(one.factor, one.first), named(one.factor, one.second)
    verdict = needed(one.verdict).kind
    if verdict == "undecided":
        better = "lasted longer" if kind == "life" else "was sharper"
        return f"{opening}, these runs cannot yet say whether {first} or {second} {better} (ratio {figures(result)})."
    return f"{opening}, {first} {compared(kind, result.ratio)} {second} (ratio {figures(result)}). {VERDICT_ENDINGS[verdict]}"


def _of_units(opening: str, one: Found, kind: str, result: RatioInterval, general: RatioInterval) -> str:
    """The answer where one side is a single blade or sharpener: the verb is of the blades, the steels get their own wider interval."""
    unit, whole = UNITS[one.factor], WHOLE[one.factor]
    sides = [_side(one.factor, name, count, unit) for name, count in ((one.first, one.units_first), (one.second, one.units_second))]
    told = f"{sides[0]} {compared(kind, result.ratio)} {sides[1]}"
    these = ONE_OF_EACH[one.factor] if one.units_first == one.units_second == 1 else f"these {unit}s"
    return (
        f"{opening}, {told} (ratio {figures(result)}). This speaks of {these}, not of the {whole}: between the {whole} themselves the "
        f"ratio may lie anywhere from {_end(general.low)} to {_end(general.high)}."
    )


def _side(factor: str, name: str, units: int, unit: str) -> str:
    if factor == "practice":
        return f"the edge of the one {name} sharpener" if units == 1 else f"an edge of the {units} {name} sharpeners"
    return f"the one {unit} of {name}" if units == 1 else f"a {unit} of the {units} of {name}"


def no_answer_sentence(opening: str, factor: str, first: str, second: str, reason: str) -> str:
    """Why there is no ratio."""
    return f"{opening}, there is no ratio of {named(factor, first)} to {named(factor, second)}: {reason}."


def agreement_sentence(result: RatioInterval, methods: Sequence[MethodLine]) -> str:
    """Whether other methods' ratios lie within the headline's interval; empty where none has one."""
    others = [(line.method, line.result.ratio) for line in methods if line.result is not None]
    if not others:
        return "No other method has a ratio here."
    outside = [(method, ratio) for method, ratio in others if not (result.low or 0.0) <= ratio <= (result.high or float("inf"))]
    if not outside:
        agree = "The other method agrees" if len(others) == 1 else f"The other {len(others)} methods agree"
        return f"{agree}: {'its ratio lies' if len(others) == 1 else 'their ratios lie'} within the interval of the headline."
    names = " and ".join(f"“{method}” ({ratio_text(ratio)})" for method, ratio in outside)
    return f"It does depend on the method: {names} {'lies' if len(outside) == 1 else 'lie'} outside the interval of the headline."


def matters_words(row: HowMuchResult) -> str:
    """How much two of one kind differ, or why that is not known."""
    who = _called(row.what)
    if row.state == "withheld":
        return f"How much {who.rstrip(',')} differ is not known: {row.reason}; a figure would be the prior alone."
    told = f"{who[0].upper()}{who[1:]}"
    limits = f"95 % interval {amount(needed(row.typical_low))} to {amount(needed(row.typical_high))}"
    if row.what == "practice":
        return f"{told} differ by {ratio_text(row.typical_ratio)} ({limits})."
    verb = "typically shifts" if row.what.startswith("steel ×") and " or " not in row.what else "typically differ"
    mostly = " This is mostly the prior: the runs add little." if needed(row.from_prior_percent) >= MOSTLY_PRIOR else ""
    return f"{told} {verb} by {ratio_text(row.typical_ratio)} ({limits}); 95 % of pairs by less than {ratio_text(row.most_ratio)}.{mostly}"


def _called(what: str) -> str:
    parts = what.split(" or ")
    if len(parts) == 1:
        return CALLED[what]
    return f"two of what these runs cannot tell apart ({', '.join(parts)})"


def matters_sentence(rows: Sequence[HowMuchResult], found: WhatMatters, opening: str, reason: str) -> str:
    """What matters more, only where one exceeds the other with a posterior probability of 95 % or more."""
    if not rows:
        return f"What matters more is not known: {reason}."
    given = {row.what: row for row in rows if row.state == "given" and row.what in SHORT}
    listed = ", ".join(f"{SHORT[what]} {ratio_text(row.typical_ratio)}" for what, row in given.items())
    if not found.more:
        return f"{opening}, these runs cannot say yet which matters more. Two that differ in nothing else typically differ by: {listed}."
    larger: dict[str, list[str]] = {}
    for more, less, _ in found.more:
        larger.setdefault(more, []).append(SHORT[less])
    told = "; ".join(f"{SHORT[more]} matters more than {_list(less)}" for more, less in larger.items())
    rest = " Of the other pairs they cannot say it yet." if len(found.more) < found.asked else ""
    return f"{opening}, {told}.{rest} Two that differ in nothing else typically differ by: {listed}."


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
