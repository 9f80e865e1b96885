"""What would settle a comparison: how many more runs of the same kind, by the planner's own calculation.

With N runs laid out as these were, the variance of the contrast is c·n/N times the variance between runs, n and c those of the runs
at hand. What the submission and the table together say of the spread is what further runs are drawn from.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, SubmissionEstimate
from edgehold.estimates.codes import moves_together
from edgehold.estimates.repeatability import Repeatability
from edgehold.estimates.verdict import BETTER, NOTHING_WORTH_HAVING, WORSE
from edgehold.numerics.distributions import t_ppf
from edgehold.planning.remedies import MOST_ROUNDS, Outlook
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

SEED = 20261125  # any fixed number: the same file gives the same report
SETTLED = (BETTER, WORSE, NOTHING_WORTH_HAVING)


@dataclass(frozen=True)
class Settling:
    """How far the runs are from an answer.

    Attributes
    ----------
    runs : used now.
    half_width : half of the 95 % interval now, as a ratio; None without an interval.
    width_runs : runs in all from which half of the expected interval is the worthwhile ratio or less, these if they do; None: more
        than are tried.
    verdict_runs : runs in all from which the right verdict has a chance of 80 % or more, whether there is no difference or one of m².
    sentences : the whole in words.
    """

    runs: int
    half_width: float | None
    width_runs: int | None
    verdict_runs: int | None
    sentences: tuple[str, ...]


def settling(contrast: Contrast, estimate: SubmissionEstimate, entry: Repeatability, rule: EndpointRule) -> Settling:
    """What would settle one contrast of one endpoint.

    Parameters
    ----------
    contrast, estimate : of the submission.
    entry : repeatability that it was moderated with.
    rule : the endpoint, for its worthwhile ratio.
    """
    runs = estimate.runs_used
    if not isinstance(contrast, ContrastEstimated) or not math.isfinite(contrast.interval.half_width):
        return Settling(runs, None, None, None, (_no_interval(contrast),))
    half = math.exp(contrast.interval.half_width)
    if contrast.verdict.kind in SETTLED:
        return Settling(runs, half, runs, runs, (Reason("report.settled", title=rule.title),))
    outlook = Outlook(entry, (math.sqrt(estimate.s2), estimate.df), SEED)
    arms = max(2, len({*estimate.blades}) * len({*estimate.sharpeners}))
    tried = [n for n in (arms * rounds for rounds in range(1, MOST_ROUNDS + 1)) if n > runs]
    limit = math.log(rule.worthwhile_ratio)
    spent = runs - int(estimate.df_own)

    def unscaled(n: int) -> float:
        return contrast.unscaled_variance * runs / n

    width = runs if math.log(half) <= limit else _least(tried, lambda n: expected_half_width(outlook, unscaled(n), n - spent) <= limit)
    verdict = _least(tried, lambda n: outlook.right(unscaled(n), n - spent, rule.worthwhile_ratio).enough)
    return Settling(runs, half, width, verdict, tuple(_sentences(runs, half, width, verdict, tried[-1], rule)))


def _least(tried: list[int], enough: Callable[[int], bool]) -> int | None:
    """The first that is enough, where more is never less; None where none is."""
    at = bisect.bisect_left(tried, True, key=enough)
    return tried[at] if at < len(tried) else None


def expected_half_width(outlook: Outlook, unscaled: float, df: int) -> float:
    """Root mean square of the half width of the 95 % interval, ln scale, as the planner draws it.

    With the spread known this is t·√(c·σ²).

    Parameters
    ----------
    outlook : the spread and what it is moderated with.
    unscaled : c, variance of the estimate divided by the variance between runs.
    df : degrees of freedom of the runs' own variance.
    """
    _, errors, total = outlook.drawn(unscaled, df)
    return float(np.sqrt((errors**2).mean()) * t_ppf(0.975, total))


def _no_interval(contrast: Contrast) -> Reason:
    if isinstance(contrast, ContrastBounded):
        return Reason("report.settle_bound")
    together = not isinstance(contrast, ContrastEstimated) and moves_together(contrast.reason)
    return Reason("report.settle_together" if together else "report.settle_no_interval")


def _sentences(runs: int, half: float, width: int | None, verdict: int | None, most: int, rule: EndpointRule) -> Iterator[Reason]:
    goal = ratio_text(rule.worthwhile_ratio)
    yield Reason("report.settle_reaches", title=rule.title, runs=runs, half=ratio_text(half), goal=goal)
    if width == runs:
        yield Reason("report.settle_narrow")
    elif width is None:
        yield Reason("report.settle_never_narrow", goal=goal, most=most)
    else:
        yield Reason("report.settle_more", more=width - runs, total=width, goal=goal)
    if verdict is None:
        yield Reason("report.settle_no_verdict", most=most)
    elif verdict != width:
        yield Reason("report.settle_verdict", difference=ratio_text(rule.worthwhile_ratio**2), total=verdict)
