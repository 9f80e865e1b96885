"""How one submission sits among those that are pooled: the same contrast without it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from edgehold.estimates import Contrast, SubmissionEstimate
from edgehold.pooling.pairwise.studies import LEAST_STUDIES
from edgehold.pooling.pairwise.three_level import three_level
from edgehold.records.model.protocol import EndpointRule, Protocol, major
from edgehold.records.model.submission import Submission
from edgehold.results.model.results import Comparison, Results
from edgehold.results.publish.influence import interval_of
from edgehold.results.words.sentences import compared, named, ratio_text, when

BUILT = "build/results/results.json"


@dataclass(frozen=True)
class Among:
    """One contrast of this submission beside the others.

    Attributes
    ----------
    endpoint, factor, first, second : which.
    studies : of the others; submissions joined by people or blades are one.
    ratio, low, high : pooled without this submission; None where there are fewer than three studies.
    next_low, next_high : where the true ratio of a further study is expected, 95 %; None where there is none.
    sentence : the whole in words.
    """

    endpoint: str
    factor: str
    first: str
    second: str
    studies: int
    ratio: float | None
    low: float | None
    high: float | None
    next_low: float | None
    next_high: float | None
    sentence: str


def read_results(root: Path) -> tuple[Results | None, str]:
    """The results of the last build, or why there are none."""
    file = root / BUILT
    if not file.is_file():
        return None, "No results are built here ('edgehold pool' makes them), so there is nothing to hold this beside."
    try:
        return Results.model_validate_json(file.read_bytes()), ""
    except ValueError:
        return None, "The results built here have another form than this program's: 'edgehold pool' makes them anew."


def among(record: Submission, protocol: Protocol, estimates: tuple[SubmissionEstimate, ...], results: Results | None) -> tuple[Among, ...]:
    """Every contrast of the primary endpoint that is pooled, without this submission.

    Parameters
    ----------
    record, protocol, estimates : of the submission.
    results : of the last build; None: nothing is pooled.
    """
    rule = next(rule for rule in protocol.endpoints if rule.primary)
    pools = [] if results is None else results.pools
    key = (protocol.id, major(protocol.version), record.origin)
    endpoints = [e for p in pools if (p.protocol, p.major, p.origin) == key for e in p.endpoints if e.id == rule.id]
    comparisons = [c for e in endpoints for c in e.pairwise]
    contrasts = [c for e in estimates if e.endpoint == rule.id for c in e.contrasts]
    found = []
    for comparison in comparisons:
        own = next(
            (c for c in contrasts if (c.factor, c.first, c.second) == (comparison.factor, comparison.first, comparison.second)), None
        )
        if own is not None:
            found.append(_among(comparison, own, record.id, rule, protocol))
    return tuple(found)


def _among(comparison: Comparison, own: Contrast, name: str, rule: EndpointRule, protocol: Protocol) -> Among:
    others = [
        (line.ln_estimate, line.ln_variance, line.cluster)
        for line in comparison.lines
        if line.submission != name and line.ln_estimate is not None and line.ln_variance
    ]
    studies = len({cluster for _, _, cluster in others})
    opening = when(rule.kind, protocol.work.unit, rule.at, rule.start, rule.end)
    first, second = named(own.factor, own.first), named(own.factor, own.second)
    if studies < LEAST_STUDIES:
        count = ("no other study has", "one other study has", "two other studies have")[studies]
        told = f"{opening}, {count} both {first} and {second}: too few to pool."
        return Among(rule.id, own.factor, own.first, own.second, studies, None, None, None, None, None, told)
    fit = three_level([e for e, _, _ in others], [v for _, v, _ in others], [cluster for _, _, cluster in others], profile=False).fit
    estimate, interval, further = float(fit.coefficients[0]), interval_of(fit), fit.prediction
    ends = None if further is None else (math.exp(further.low), math.exp(further.high))
    sentence = (
        f"{opening}, over {studies} other studies {first} {compared(rule.kind, math.exp(estimate))} {second} "
        f"({ratio_text(math.exp(estimate))}, 95 % interval {ratio_text(math.exp(interval.low))} to {ratio_text(math.exp(interval.high))})."
        f"{_own_place(own, ends)}"
    )
    next_low, next_high = ends or (None, None)
    return Among(
        endpoint=rule.id,
        factor=own.factor,
        first=own.first,
        second=own.second,
        studies=studies,
        ratio=math.exp(estimate),
        low=math.exp(interval.low),
        high=math.exp(interval.high),
        next_low=next_low,
        next_high=next_high,
        sentence=sentence,
    )


def _own_place(own: Contrast, ends: tuple[float, float] | None) -> str:
    """Where this submission's ratio lies against what a further study is expected to find."""
    if own.estimate is None or ends is None:
        return " This submission has no ratio to hold beside that." if own.estimate is None else ""
    low, high = ends
    ratio = math.exp(own.estimate)
    expected = f"between {ratio_text(low)} and {ratio_text(high)}"
    if low <= ratio <= high:
        return f" A further study would be expected {expected}: this one, {ratio_text(ratio)}, lies within."
    overlaps = own.interval is not None and math.exp(own.interval.low) <= high and math.exp(own.interval.high) >= low
    why = (
        "; by its own interval it could be like the others" if overlaps else ", even by its own interval: look for what was different here"
    )
    return f" A further study would be expected {expected}: this one, {ratio_text(ratio)}, lies outside{why}."
