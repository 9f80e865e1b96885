"""What a submission's own reference edges and known weights say: of the drift of an evening, of the lot, and of the rig."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgehold.endpoints.readings import keenness, pooled_variance
from edgehold.endpoints.runs import by_work
from edgehold.records.canonical import CanonicalReference
from edgehold.records.canonical_references import canonical_references, canonical_weights
from edgehold.records.model.protocol import Protocol, major
from edgehold.records.model.submission import Submission
from edgehold.records.units import plural
from edgehold.results.model.references import ReferencesResult
from edgehold.results.words.sentences import amount, ratio_text
from edgehold.words import Reason

if TYPE_CHECKING:
    from edgehold.results.model.results import Results

NORMAL = 1.959963984540054  # 97.5 % point
LEAST_HIGH = 0.0005  # ln; nearer to 0 a scale reads true to the tenth of a percent that is written


@dataclass(frozen=True)
class Told:
    """One figure of the own references.

    Attributes
    ----------
    what : ``"drift"``, ``"wear"`` or ``"scale"``.
    evening : that it is of; None where none was written, and for wear and scale.
    ratio, low, high : of sharpness (end over start, after over before), or of shown over known weight; no limits where nothing says how
        well the reference repeats.
    count : edges, or weights.
    sentence : in words.
    """

    what: str
    evening: int | None
    ratio: float
    low: float | None
    high: float | None
    count: int
    sentence: str


def own_references(record: Submission, protocol: Protocol, results: Results | None) -> tuple[Told, ...]:
    """Drift by evenings, what the fixed work does in this lot, and how far the scale is off; nothing where none of it was read.

    Parameters
    ----------
    record, protocol : of the submission, without errors.
    results : of the last build, which say how well edges of one pack and weighings repeat; None: widths are left out.

    Notes
    -----
    The difference of two segments has the variance 2(σ_s² + σ_r²/2m), σ_s the spread between segments of a pack as its pool has it and σ_r
    that between m repeats, pooled over the submission's own reference edges; the loss over the work 2σ_r²/m for each edge; the mean of n
    weights σ_w²/n. All as known, so that limits are those of a normal.
    """
    if protocol.reading.kind == "pass/fail" or protocol.reference is None:
        return ()
    pooled = _of_pool(record, protocol, results)
    edges = canonical_references(record, protocol)
    read = [_levels(edge, protocol) for edge in edges]
    variance = _reading_variance(edges, protocol)
    return (*_drift(edges, read, variance, pooled), *_wear(read, variance, protocol), *_scale(record, pooled))


def _of_pool(record: Submission, protocol: Protocol, results: Results | None) -> ReferencesResult | None:
    key = (protocol.id, major(protocol.version), record.origin)
    return next((p.references for p in (results.pools if results else ()) if (p.protocol, p.major, p.origin) == key), None)


def _spread(pooled: ReferencesResult | None, what: str) -> float | None:
    return next((row.ln_sd for row in (pooled.spreads if pooled else ()) if row.what == what), None)


def _levels(edge: CanonicalReference, protocol: Protocol) -> dict[bool, float]:
    """Keenness by whether it was read after the work, where it was on the scale."""
    rule, found = protocol.reading, {}
    for reading in by_work(edge.readings):
        if reading.values:
            told = keenness(reading.values, reading.limits, rule.keener, rule.resolution, rule.scale_end)
            if told.limit is None:
                found[reading.work > 0] = told.low
    return found


def _reading_variance(edges: Sequence[CanonicalReference], protocol: Protocol) -> float:
    """Variance of a mean of repeats; nan where nothing was repeated."""
    values = [r.values for edge in edges for r in edge.readings if r.values and min(r.values) > 0]
    repeats = protocol.reading.repeats or 1
    return pooled_variance(values) / repeats


def _drift(
    edges: Sequence[CanonicalReference], read: Sequence[dict[bool, float]], variance: float, pooled: ReferencesResult | None
) -> list[Told]:
    """The end of each evening against its start, over the readings that both have."""
    evenings: dict[int | None, dict[str, list[dict[bool, float]]]] = defaultdict(lambda: defaultdict(list))
    for edge, levels in zip(edges, read, strict=True):
        evenings[edge.evening][edge.when].append(levels)
    segment, found = _spread(pooled, "segment"), []
    for evening, by_time in evenings.items():
        both = [(start, end) for start, end in zip(by_time["start"], by_time["end"], strict=False) if start.keys() & end.keys()]
        pairs, used = [end[after] - start[after] for start, end in both for after in start.keys() & end.keys()], len(both)
        if not pairs:
            continue
        sd = None if segment is None or math.isnan(variance) else math.sqrt(2 * (segment**2 + variance * used / len(pairs)) / used)
        found.append(_told("drift", evening, float(np.mean(pairs)), sd, 2 * used, several=len(evenings) > 1))
    return found


def _wear(read: Sequence[dict[bool, float]], variance: float, protocol: Protocol) -> list[Told]:
    """What is left of the sharpness after the fixed work."""
    losses = [levels[True] - levels[False] for levels in read if len(levels) == 2]
    if not losses or protocol.reference is None:
        return []
    sd = None if math.isnan(variance) else math.sqrt(2 * variance / len(losses))
    work, unit = protocol.reference.work, protocol.work.unit
    return [_told("wear", None, float(np.mean(losses)), sd, len(losses), work=f"{work:g} {unit if work == 1 else plural(unit)}")]


def _scale(record: Submission, pooled: ReferencesResult | None) -> list[Told]:
    """What the rig showed of known weights, over what they are."""
    shown = [math.log(one.read_n / one.known_n) for one in canonical_weights(record)]
    if not shown:
        return []
    weighing = _spread(pooled, "weight")
    return [_told("scale", None, float(np.mean(shown)), None if weighing is None else weighing / math.sqrt(len(shown)), len(shown))]


def _told(what: str, evening: int | None, value: float, sd: float | None, count: int, *, several: bool = False, work: str = "") -> Told:
    low, high = (None, None) if sd is None else (math.exp(value - NORMAL * sd), math.exp(value + NORMAL * sd))
    width = Reason("report.reference_no_width")
    if low is not None and high is not None:
        width = Reason("report.reference_width", low=amount(low), high=amount(high))
    when = Reason("report.reference_this_evening")
    if several and evening is not None:
        when = Reason("report.reference_of_evening", evening=evening)
    if what == "scale":
        how = "true" if abs(value) < LEAST_HIGH else "high" if value > 0 else "low"
        sentence = Reason(f"report.reference_scale_{how}", weights=count, percent=100 * abs(math.expm1(value)), width=width)
    elif what == "drift":
        sentence = Reason("report.reference_drift", when=when, ratio=ratio_text(math.exp(value)), width=width)
    else:
        sentence = Reason("report.reference_wear", work=work, ratio=ratio_text(math.exp(value)), width=width)
    return Told(what, evening, math.exp(value), low, high, count, sentence)
