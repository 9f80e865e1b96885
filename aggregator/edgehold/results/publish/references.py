"""What reference edges and known weights of a pool show, from what pooling found to what is published."""

from __future__ import annotations

from typing import Literal

from edgehold.numerics.normal_differences import MOST
from edgehold.pooling.curves.shown import ShownByReferences
from edgehold.pooling.hierarchical import ContrastPosterior
from edgehold.pooling.what_matters import HowMuch
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.model.references import ReferenceSpread, ReferencesResult
from edgehold.results.words.references import reference_sentences, spread_sentence

from .fields import FITTED, one_of
from .reasons import reasoned

KINDS: tuple[Literal["rig", "scale", "drift", "lot", "pack", "segment", "weight"], ...] = (
    "rig", "scale", "drift", "lot", "pack", "segment", "weight",
)  # fmt: skip


def references_result(found: ShownByReferences | None, unit: str) -> ReferencesResult | None:
    """What is published of a pool's references; None where it has none.

    Parameters
    ----------
    found : what pooling found.
    unit : of work, for the sentences.
    """
    if found is None:
        return None
    spreads = sorted((_spread(row) for row in found.spreads), key=lambda row: KINDS.index(row.what))
    result = ReferencesResult(
        state=one_of("not fitted" if found.reason else "fitted", FITTED),
        **reasoned(found.reason),
        edges=found.edges,
        readings=found.readings,
        evenings=found.evenings,
        rigs=found.rigs,
        packs=found.packs,
        lots=found.lots,
        weights=found.weights,
        scales=found.scales,
        wear=_ratio(found.wear, -1.0),
        drift=_ratio(found.drift, 1.0),
        spreads=tuple(spreads),
        sentences=(),
    )
    return result.model_copy(update={"sentences": reference_sentences(result, found.work, unit)})


def _ratio(posterior: ContrastPosterior | None, sign: float) -> RatioInterval | None:
    """A ratio of sharpness; ``sign`` −1 turns a loss into what is left."""
    if posterior is None:
        return None
    told = ratio_interval(posterior.quantile(0.5), posterior.interval)
    if sign > 0 or told.low is None or told.high is None:
        return told
    return told.model_copy(update={"ratio": published(1 / told.ratio), "low": published(1 / told.high), "high": published(1 / told.low)})


def _spread(row: HowMuch) -> ReferenceSpread:
    result = ReferenceSpread(
        what=one_of(row.name, KINDS),
        typical_ratio=needed(ratio(row.typical)),
        typical_low=needed(ratio(row.interval.low)),
        typical_high=needed(ratio(row.interval.high)),
        most_ratio=needed(ratio(row.most)),
        ln_sd=needed(published(needed(row.most) / MOST)),
        from_prior_percent=needed(published(min(100.0, 100 * needed(row.from_prior)))),
        levels=row.levels,
        sentence="",
    )
    return result.model_copy(update={"sentence": spread_sentence(result)})
