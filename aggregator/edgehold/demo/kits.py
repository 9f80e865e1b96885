"""What each sharpener sharpens with: angles and abrasives as people state them.

Mean particle sizes: FEPA P400 35.0 and P800 21.8 micrometres (ISO 6344-3); JIS #1000 11.5 and #3000 4.0 (JIS R 6001-2,
electrical resistance method). All four from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .cast import PEOPLE


@dataclass(frozen=True)
class Kit:
    """Abrasives in order, burr removal, strop and usual minutes; None where nobody noted it."""

    stages: list[dict[str, object]] | None
    deburring: str | None
    strop: str | None
    minutes: int | None


def stage(as_printed: str, system: str | None = None, grit: str | None = None, um: float | None = None) -> dict[str, object]:
    """One abrasive as printed on it, with its grit and micrometres where somebody knows them."""
    known = {} if system is None else {"grit_system": system, "grit": grit}
    return {"as_printed": as_printed, **known, "micrometres": um}


_WATER_STONES = [stage("1000", "JIS", "#1000", 11.5), stage("3000", "JIS", "#3000", 4.0)]
_TWO_SIDED = [stage("coarse/fine, coarse side"), stage("coarse/fine, fine side")]
_PAPERS = [stage("P400", "FEPA P", "P400", 35.0), stage("P800", "FEPA P", "P800", 21.8)]
_KITS = (
    Kit(_WATER_STONES, "edge-trailing strokes", "bare leather", 20),
    Kit(_TWO_SIDED, "alternating light strokes", "none", 15),
    Kit(_PAPERS, "drawn through cork", "none", 25),
    Kit(_TWO_SIDED[1:], None, None, None),
    Kit(None, "alternating light strokes", "leather with compound", 12),
)

_HANDLES = [p.handle for p in PEOPLE]
_SAYS_BOTH = {"oakum", "capstan", "whelk"}
_GUIDED = {"kedge", "tern", "gannet"}
_NOT_KNOWN = {"puffin", "plover", "winkle"}
_SAYS_THIRTY = "sandpiper"  # thirty, "per side": perhaps both sides together were meant


def kit(handle: str) -> Kit:
    """The kit of one sharpener."""
    return _KITS[_HANDLES.index(handle) % len(_KITS)]


def edge_angle(handle: str, grind: str | None, rng: np.random.Generator) -> dict[str, object] | None:
    """The bevel angle as this sharpener states it."""
    per_side = 15 + _HANDLES.index(handle) % 6 + float(rng.integers(0, 2))
    if handle in _NOT_KNOWN:
        return None
    if handle == _SAYS_THIRTY:
        return {"basis": "per side", "left_deg": 30.0, "known_by": "estimated"}
    if handle in _SAYS_BOTH:
        return {"basis": "both together", "left_deg": 2 * per_side, "known_by": "estimated"}
    known_by = "guide" if handle in _GUIDED else "estimated"
    other = {"right_deg": per_side - 5} if grind == "one-sided" else {}
    return {"basis": "per side", "left_deg": per_side, **other, "known_by": known_by}
