"""The interlaboratory view as published: testers by code number, new in every table."""

from __future__ import annotations

from aggregator.pooling.circulation import CirculatedBlade

from .model import Interlaboratory, LaboratoryCell
from .numbers import published

FEW_TESTERS = 3  # |h| cannot pass (p - 1)/sqrt(p) = 1.155 with three (ISO 5725-2 7.3), so nothing can be flagged


def interlaboratory_result(circulated: CirculatedBlade, unit: str | None) -> Interlaboratory:
    """Repeatability and reproducibility on one circulating blade, published.

    Parameters
    ----------
    circulated : what pooling found.
    unit : the reading's canonical unit.
    """
    result = circulated.result
    return Interlaboratory(
        item=circulated.blade,
        scale="reading unit" if circulated.raw else "ln",
        unit=(unit or "") if circulated.raw else "ln",
        testers=result.p,
        runs=circulated.runs,
        mean=published(result.mean),
        s_r=published(result.s_r),
        s_R=published(result.s_R),
        s_L=published(result.s_L),
        h_critical=published(result.h_critical),
        k_critical=published(result.k_critical),
        note=_note(circulated),
        cells=_cells(circulated),
    )
