"""What is said of families of steels, in plain English."""

from __future__ import annotations

from edgehold.pooling.families import FamilyAnswer
from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, together

from .sentences import compared, end_text, figures, topic, verdict_ending

UNDECIDED = "undecided"


def family_sentence(opening: str, one: FamilyAnswer, kind: str, result: RatioInterval | None) -> str:
    """One family against another: how sure it is and what that comes to, or why there is no ratio.

    Parameters
    ----------
    opening : which part of the dulling it speaks of.
    one : with a verdict, but for a family that a single steel stands for.
    kind : of the endpoint.
    result : its ratio; None where there is none.
    """
    names = {"opening": opening, "first": _average(one.first), "second": _average(one.second)}
    if result is None:
        return Reason("model_answer.no_ratio", **names, reason=one.reason)
    if one.verdict is not None and one.verdict.kind == UNDECIDED:
        return Reason(f"model_answer.{topic(kind)}_undecided", **names, **figures(result))
    if one.verdict is None:
        reach = {"low": end_text(result.low), "high": end_text(result.high), "level": f"{100 * result.level:g}"}
        return together(Reason("model_answer.family_anywhere", **names, **reach), _single(one))
    told = Reason("model_answer.answer", **names, compared=compared(kind, result.ratio), **figures(result))
    return together(told, verdict_ending(one.verdict.kind))


def _average(family: str) -> Reason:
    return Reason("families.average", family=family)


def _single(one: FamilyAnswer) -> Reason:
    """That one steel stands for a family, or one for either."""
    alone = [name for name, steels in ((one.first, one.steels_first), (one.second, one.steels_second)) if len(steels) == 1]
    return Reason("model_answer.family_single_each") if len(alone) > 1 else Reason("model_answer.family_single", family=alone[0])
