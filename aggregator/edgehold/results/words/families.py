"""What is said of families of steels, in plain English."""

from __future__ import annotations

from edgehold.pooling.families import FamiliesEstimated, FamiliesNotEstimable, FamilyAnswer
from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, together

from .sentences import compared, end_text, figures, topic, verdict_ending

UNDECIDED = "undecided"


def no_ratio_of_families(opening: str, one: FamiliesNotEstimable) -> Reason:
    """Why two families have no ratio."""
    return Reason("model_answer.no_ratio", **_named(opening, one), reason=one.reason)


def family_sentence(opening: str, one: FamiliesEstimated, kind: str, result: RatioInterval) -> str:
    """One family against another: how sure it is and what that comes to.

    Parameters
    ----------
    opening : which part of the dulling it speaks of.
    one : with a verdict, but for a family that a single steel stands for.
    kind : of the endpoint.
    result : its ratio.
    """
    names = _named(opening, one)
    if one.verdict is not None and one.verdict.kind == UNDECIDED:
        return Reason(f"model_answer.{topic(kind)}_undecided", **names, **figures(result))
    if one.verdict is None:
        reach = {"low": end_text(result.low), "high": end_text(result.high), "level": f"{100 * result.level:g}"}
        return together(Reason("model_answer.family_anywhere", **names, **reach), _single(one))
    told = Reason("model_answer.answer", **names, compared=compared(kind, result.ratio), **figures(result))
    return together(told, verdict_ending(one.verdict.kind))


def _named(opening: str, one: FamilyAnswer) -> dict[str, str]:
    return {"opening": opening, "first": _average(one.first), "second": _average(one.second)}


def _average(family: str) -> Reason:
    return Reason("families.average", family=family)


def _single(one: FamiliesEstimated) -> Reason:
    """That one steel stands for a family, or one for either."""
    alone = [name for name, steels in ((one.first, one.steels_first), (one.second, one.steels_second)) if len(steels) == 1]
    return Reason("model_answer.family_single_each") if len(alone) > 1 else Reason("model_answer.family_single", family=alone[0])
