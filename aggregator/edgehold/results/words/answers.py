"""What the hierarchical model says, in plain English."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from edgehold.pooling.answer import Estimated, NotEstimable
from edgehold.pooling.headline import REFERENCE
from edgehold.pooling.what_matters import WhatMatters
from edgehold.results.model.answers import HowMuchResult, MethodLine
from edgehold.results.model.numbers import needed
from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, capital, listed, together

from .sentences import amount, compared, end_text, figures, ratio_text, sides, verdict_ending

RESIDUAL_NAME = "run-to-run"
ONE_PAIR = ("practice", "level")  # of which two are met, and no spread
SHORT = ("steel", "level", "practice", "sharpener", "tester", "blade")  # what is asked to matter more
PAIR = 2
MOSTLY_PRIOR = 80.0  # percent of a prior's spread left from which a figure is called mostly that


def no_ratio_sentence(opening: str, one: NotEstimable) -> Reason:
    """Why a comparison has no ratio."""
    return Reason("model_answer.no_ratio", opening=opening, **sides(one.factor, one.first, one.second), reason=one.reason)


def answer_sentence(opening: str, one: Estimated, kind: str, result: RatioInterval, general: RatioInterval | None) -> str:
    """The answer on one comparison: what it speaks of, how sure it is, and what that comes to."""
    names = {"opening": opening, **sides(one.factor, one.first, one.second)}
    told = _with_ratio(opening, one, kind, result, general, names)
    return together(told, Reason("model_answer.through_reference")) if one.evidence == REFERENCE else told


def _with_ratio(
    opening: str, one: Estimated, kind: str, result: RatioInterval, general: RatioInterval | None, names: Mapping[str, str]
) -> str:
    if general is not None:
        return _of_units(opening, one, kind, result, general)
    verdict = needed(one.verdict).kind
    if verdict == "undecided":
        return Reason(f"model_answer.{'life' if kind == 'life' else 'other'}_undecided", **names, **figures(result))
    return together(
        Reason("model_answer.answer", **names, compared=compared(kind, result.ratio), **figures(result)), verdict_ending(verdict)
    )


def _of_units(opening: str, one: Estimated, kind: str, result: RatioInterval, general: RatioInterval) -> Reason:
    """The answer where one side is a single blade or sharpener: the verb is of the blades, the steels get their own wider interval."""
    first, second = (
        Reason(f"model_answer.{one.factor}_side", name=name, units=units)
        for name, units in ((one.first, one.units_first), (one.second, one.units_second))
    )
    return Reason(
        f"model_answer.{one.factor}_{'two' if one.units_first == one.units_second == 1 else 'units'}",
        opening=opening,
        first=first,
        second=second,
        compared=compared(kind, result.ratio),
        least=end_text(general.low),
        most=end_text(general.high),
        **figures(result),
    )


def agreement_sentence(result: RatioInterval, methods: Sequence[MethodLine]) -> Reason:
    """Whether other methods' ratios lie within the headline's interval."""
    others = [(line.method, line.result.ratio) for line in methods if line.result is not None]
    if not others:
        return Reason("model_answer.no_other_method")
    outside = [(method, ratio) for method, ratio in others if not (result.low or 0.0) <= ratio <= (result.high or float("inf"))]
    if not outside:
        return Reason("model_answer.methods_agree", methods=len(others))
    names = " and ".join(Reason("model_answer.method", method=method, ratio=ratio_text(ratio)) for method, ratio in outside)
    return Reason("model_answer.methods_outside", methods=len(outside), names=names)


def matters_words(row: HowMuchResult) -> str:
    """How much two of one kind differ, or why that is not known."""
    who = _called(row.what)
    if row.state == "withheld":
        return Reason("model_answer.withheld", who=who.rstrip(","), reason=row.reason)
    shifts = " × " in row.what and " or " not in row.what
    if row.what == "level" and row.levels > PAIR:
        ends = {"low": amount(needed(row.typical_low)), "high": amount(needed(row.typical_high))}
        return Reason("model_answer.levels_differ", typical=ratio_text(row.typical_ratio), **ends)
    told = Reason(
        f"model_answer.{'pair_differs' if row.what in ONE_PAIR else 'shifts' if shifts else 'differ'}",
        who=capital(who),
        typical=ratio_text(row.typical_ratio),
        low=amount(needed(row.typical_low)),
        high=amount(needed(row.typical_high)),
        most=ratio_text(row.most_ratio),
    )
    mostly = row.what not in ONE_PAIR and needed(row.from_prior_percent) >= MOSTLY_PRIOR
    return together(told, Reason("model_answer.mostly_prior") if mostly else "")


def _called(what: str) -> Reason:
    parts = what.split(" or ")
    if len(parts) == 1:
        return Reason(f"model_answer.called_{what.replace(' × ', '_by_')}")
    return Reason("model_answer.called_together", names=", ".join(parts))


def matters_sentence(rows: Sequence[HowMuchResult], found: WhatMatters, opening: str, reason: str) -> str:
    """What matters more, only where one exceeds the other with a posterior probability of 95 % or more."""
    if not rows:
        return Reason("model_answer.matters_unknown", reason=reason)
    short = {what: Reason(f"model_answer.short_{what}") for what in SHORT}
    ratios = ", ".join(f"{short[row.what]} {ratio_text(row.typical_ratio)}" for row in rows if row.state == "given" and row.what in SHORT)
    typical = Reason("model_answer.matters_typical", ratios=ratios)
    if not found.more:
        return together(Reason("model_answer.matters_open", opening=opening), typical)
    larger: dict[str, list[str]] = {}
    for more, less, _ in found.more:
        larger.setdefault(more, []).append(short[less])
    pairs = "; ".join(Reason("model_answer.matters_pair", more=short[more], less=listed(less)) for more, less in larger.items())
    rest = Reason("model_answer.matters_rest") if len(found.more) < found.asked else ""
    return together(Reason("model_answer.matters_more", opening=opening, pairs=pairs), rest, typical)
