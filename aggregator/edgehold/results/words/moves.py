"""What one month did to a pooled estimate, in plain English."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from edgehold.results.model.ratio import RatioInterval

from .sentences import amount, ratio_text, settled, studies_joined

if TYPE_CHECKING:
    from edgehold.results.model.moves import StandingResult

CAUSES = {
    "tested": ("one submission more", "{count} submissions more"),
    "corrected": ("one corrected", "{count} corrected"),
    "retracted": ("one retracted", "{count} retracted"),
}
LEAST_PERCENT = 0.05  # smaller moves would be told as 0.0 %
NOTICED = 1.005  # ratio of two intervals' widths on the ln scale from which one is called wider


def move_sentence(before: StandingResult, after: StandingResult, counted: Mapping[str, int]) -> str:
    """The sentence of one month.

    Parameters
    ----------
    before, after : where the comparison stood.
    counted : how many submissions that compare the two were tested, corrected and retracted.
    """
    causes = [CAUSES[kind][number > 1].format(count=number) for kind, number in counted.items() if number]
    if not causes:
        return "Nothing that compares these two changed."
    return f"With {_listed(causes)}, {_movement(before, after)}"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _movement(before: StandingResult, after: StandingResult) -> str:
    if after.result is None:
        return _not_pooled(before, after)
    if before.result is None:
        return f"there are {after.studies} studies, and these are pooled: {_ratio(after.result)}."
    return f"{_moved(before.result, after.result)}{_width(before.result, after.result)}.{_verdict(before, after)}"


def _not_pooled(before: StandingResult, after: StandingResult) -> str:
    left = {
        "single": "one submission, which stands alone",
        "listed": f"{after.submissions} submissions, which are listed and not pooled ({studies_joined(after.submissions, after.studies)})",
        "not fitted": "no ratio of the two, because its numbers failed",
    }.get(after.state, "only a bound, no ratio" if after.one_sided else "no ratio of the two")
    if before.result is not None:
        return f"what is left is {left}."
    return f"there {'are' if after.state == 'listed' else 'is'} {'still ' if before.state == after.state else ''}{left}."


def _ratio(result: RatioInterval) -> str:
    return f"ratio {ratio_text(result.ratio)}, {100 * result.level:g} % interval {_end(result.low)} to {_end(result.high)}"


def _end(value: float | None) -> str:
    return "without limit" if value is None else amount(value)


def _moved(before: RatioInterval, after: RatioInterval) -> str:
    percent = settled(100 * (after.ratio / before.ratio - 1))
    if abs(percent) < LEAST_PERCENT:
        return f"the ratio stayed at {ratio_text(after.ratio)}"
    told = f"the ratio {'rose' if percent > 0 else 'fell'} by {abs(percent):.1f} %"
    old, new = ratio_text(before.ratio), ratio_text(after.ratio)
    return f"{told} and is still {new}" if old == new else f"{told}, from {old} to {new}"


def _width(before: RatioInterval, after: RatioInterval) -> str:
    if before.low is None or before.high is None or after.low is None or after.high is None:
        return ""
    if before.low == before.high:
        return ""
    change = math.log(after.high / after.low) / math.log(before.high / before.low)
    if 1 / NOTICED < change < NOTICED:
        return ""
    return f", and its interval became {'wider' if change > 1 else 'narrower'}"


def _verdict(before: StandingResult, after: StandingResult) -> str:
    return "" if before.verdict == after.verdict else f" The verdict went from “{before.verdict}” to “{after.verdict}”."
