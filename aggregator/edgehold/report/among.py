"""How one submission sits among those that are pooled: the same contrast without it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic_core import from_json

from edgehold.disk import LARGEST_BUILT_BYTES, read_file, there
from edgehold.estimates import Contrast, ContrastEstimated, SubmissionEstimate
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import EndpointRule, Protocol, major
from edgehold.records.model.submission import Submission
from edgehold.results.words.sentences import compared, ratio_text, sides, when
from edgehold.words import Reason, together

if TYPE_CHECKING:
    from edgehold.results.model.results import Comparison, Results

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


def read_results(root: Path, pool: PoolKey) -> tuple[Results | None, str]:
    """The results of the last build, or why there are none; of their lists only that of pools, and in it only one."""
    file = root / BUILT
    if not there(file):
        return None, Reason("report.no_results")
    from edgehold.results.model.results import Results  # here, for nobody waits for it where nothing was built

    data = read_file(file, LARGEST_BUILT_BYTES)
    try:
        return Results.model_validate_json(_of_pool(data, pool, Results.model_fields)), ""
    except ValueError:
        return None, Reason("report.other_results")


def _of_pool(data: bytes, pool: PoolKey, names: Iterable[str]) -> bytes:
    """Results without whatever is not about one pool: it is not even parsed, for every pool is a line (``results.publish.written``).

    Parameters
    ----------
    data : the results' file; one that is laid out otherwise is given back as it is.
    pool : which.
    names : of what results hold.
    """
    head, begun, rest = data.partition(b'\n"pools":[\n')
    lines, ended, _ = rest.partition(b"\n],\n")
    if not (begun and ended):
        return data
    wanted = {"protocol": pool.protocol, "major": pool.major, "origin": pool.origin}
    own = [line for line in lines.split(b",\n") if json.dumps(pool.protocol).encode() in line and wanted.items() <= from_json(line).items()]
    known = from_json(head.rstrip(b",") + b"}")
    short = json.dumps(known | {name: [] for name in names if name not in known and name != "pools"}).encode()
    return short[:-1] + b', "pools": [' + b",".join(own) + b"]}"


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
    from edgehold.pooling.pairwise.random_effects import StudiesPooled  # here, for it brings the whole of pooling
    from edgehold.pooling.pairwise.studies import LEAST_STUDIES
    from edgehold.pooling.pairwise.three_level import three_level

    others = [
        (line.ln_estimate, line.ln_variance, line.cluster)
        for line in comparison.lines
        if line.submission != name and line.ln_estimate is not None and line.ln_variance
    ]
    studies = len({cluster for _, _, cluster in others})
    names = {"opening": when(rule, protocol.work.unit), **sides(own.factor, own.first, own.second)}
    estimates, variances, clusters = ([line[i] for line in others] for i in range(3))
    fit = three_level(estimates, variances, clusters, profile=False).fit if studies >= LEAST_STUDIES else None
    if not isinstance(fit, StudiesPooled):
        told = Reason(f"report.others_{('none', 'one', 'two')[studies]}", **names)
        return Among(rule.id, own.factor, own.first, own.second, studies, None, None, None, None, None, told)
    estimate, interval, further = float(fit.coefficients[0]), fit.intervals[0], fit.prediction
    ends = None if isinstance(further, str) else (math.exp(further.low), math.exp(further.high))
    ratio, low, high = (math.exp(end) for end in (estimate, interval.low, interval.high))
    told = Reason(
        "report.others",
        **names,
        studies=studies,
        compared=compared(rule.kind, ratio),
        ratio=ratio_text(ratio),
        low=ratio_text(low),
        high=ratio_text(high),
    )
    next_low, next_high = ends or (None, None)
    return Among(
        endpoint=rule.id,
        factor=own.factor,
        first=own.first,
        second=own.second,
        studies=studies,
        ratio=ratio,
        low=low,
        high=high,
        next_low=next_low,
        next_high=next_high,
        sentence=together(told, _own_place(own, ends)),
    )


def _own_place(own: Contrast, ends: tuple[float, float] | None) -> str:
    """Where this submission's ratio lies against what a further study is expected to find."""
    if not isinstance(own, ContrastEstimated):
        return Reason("report.own_no_ratio")
    if ends is None:
        return ""
    low, high = ends
    ratio = math.exp(own.estimate)
    overlaps = math.exp(own.interval.low) <= high and math.exp(own.interval.high) >= low
    place = "within" if low <= ratio <= high else "overlaps" if overlaps else "outside"
    return Reason(f"report.own_{place}", low=ratio_text(low), high=ratio_text(high), ratio=ratio_text(ratio))
