"""What one month did to a pooled estimate, in plain English."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, listed, together

from .sentences import figures, ratio_text, settled

if TYPE_CHECKING:
    from edgehold.results.model.moves import StandingResult

LEAST_PERCENT = 0.05  # smaller moves would be told as 0.0 %
NOTICED = 1.005  # ratio of two intervals' widths on the ln scale from which one is called wider


def move_sentence(before: StandingResult, after: StandingResult, counted: Mapping[str, int]) -> str:
    """The sentence of one month.

    Parameters
    ----------
    before, after : where the comparison stood.
    counted : how many submissions of the pool were tested, corrected and retracted.
    """
    causes = [Reason(f"moves.{kind}", submissions=number) for kind, number in counted.items() if number]
    if not causes:
        return Reason("moves.unchanged")
    told = Reason("moves.with", causes=listed(causes), movement=_movement(before, after))
    if not before.verdict or not after.verdict or before.verdict == after.verdict:
        return told
    return together(told, Reason("moves.verdict", before=before.verdict, after=after.verdict))


def _movement(before: StandingResult, after: StandingResult) -> str:
    if after.result is None:
        return _no_answer(before, after)
    if before.result is None:
        return Reason("moves.pooled", **figures(after.result, "without_limit"))
    return _moved(before.result, after.result) + _width(before.result, after.result)


def _no_answer(before: StandingResult, after: StandingResult) -> Reason:
    left = Reason(f"moves.left_{'not_fitted' if after.state == 'not fitted' else 'bound' if after.one_sided else 'nothing'}")
    if before.result is not None:
        return Reason("moves.what_is_left", left=left)
    return Reason(f"moves.there_is{'_still' if before.state == after.state else ''}", left=left)


def _moved(before: RatioInterval, after: RatioInterval) -> Reason:
    percent = settled(100 * (after.ratio / before.ratio - 1))
    old, new = ratio_text(before.ratio), ratio_text(after.ratio)
    how = "stayed" if abs(percent) < LEAST_PERCENT else "rose" if percent > 0 else "fell"
    still = "_still" if old == new and how != "stayed" else ""
    return Reason(f"moves.{how}{still}", percent=abs(percent), old=old, new=new)


def _width(before: RatioInterval, after: RatioInterval) -> str:
    if before.low is None or before.high is None or after.low is None or after.high is None:
        return ""
    if before.low == before.high:
        return ""
    change = math.log(after.high / after.low) / math.log(before.high / before.low)
    if 1 / NOTICED < change < NOTICED:
        return ""
    return Reason(f"moves.{'wider' if change > 1 else 'narrower'}")
