"""What reference edges and known weights of a pool show, as published."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .arguments import Arguments
from .ratio import RatioInterval


class ReferenceSpread(Record):
    """How much two of one kind typically differ, according to reference edges and known weights."""

    what: Literal["rig", "scale", "drift", "lot", "pack", "segment", "weight"]
    """rig: a tester with an instrument; scale: the part of it that known weights show; drift: from the start to the end of an evening; lot:
    over the reference's work; pack, segment: of reference edges; weight: two weighings."""
    typical_ratio: float
    """By what ratio two of them typically differ: posterior median of exp(0.954 SD)."""
    typical_low: float
    """Lower end of its 95 % interval."""
    typical_high: float
    """Upper end."""
    most_ratio: float
    """95 % of pairs differ by less than this ratio, exp(2.77 SD)."""
    ln_sd: float
    """Posterior median of the standard deviation, ln scale."""
    from_prior_percent: float
    """Width of the SD's 95 % interval in that of its prior, in percent: near 100 the references add nothing."""
    levels: int
    """How many of them the pool has."""
    sentence: str
    """The same in plain English."""


class ReferencesResult(Record):
    """Reference edges and known weights of a pool: what they show by themselves. They enter the answers together with the runs."""

    state: Literal["fitted", "not fitted"]
    """Whether the joint model that they stand in has a posterior."""
    reason: str
    """Why not; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    edges: int
    """Reference edges read."""
    readings: int
    """Readings of these edges."""
    evenings: int
    """Evenings with one."""
    rigs: int
    """Rigs (a tester with an instrument) on which one was read."""
    packs: int
    """Packs that they are from."""
    lots: int
    """Lots of the medium that they cut."""
    weights: int
    """Known weights read."""
    scales: int
    """Instruments with which weights were read."""
    wear: RatioInterval | None
    """Sharpness of a reference edge after its fixed work over that before; null where it was never read after it."""
    drift: RatioInterval | None
    """Sharpness read at the end of an evening over that at its start, of an equal edge; null where nothing tells it."""
    spreads: tuple[ReferenceSpread, ...]
    """How much rigs, scales, evenings, lots, packs, segments and weights differ."""
    sentences: tuple[str, ...]
    """What they are, what the work does to them, and how readings drift within an evening, in plain English."""
