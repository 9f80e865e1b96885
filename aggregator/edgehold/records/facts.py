"""What a file records of one run's edge that a level of a treatment may be told by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from edgehold.errors import WrittenError

from .model.submission import AbrasiveStage, Blade, EdgeAngle, Preparation
from .registers import find_grit
from .units import canonical_value

STEEPER_DEG = 0.5  # a last stage at an angle larger by more than this is a microbevel


@dataclass(frozen=True)
class EdgeOfRun:
    """The preparation behind a run and its blade; None where the file does not hold them."""

    preparation: Preparation | None
    blade: Blade | None


def per_side(angle: EdgeAngle) -> float:
    """Mean angle per side in degrees of a stated edge angle."""
    if angle.basis == "both together":
        return angle.left_deg / 2
    return (angle.left_deg + (angle.left_deg if angle.right_deg is None else angle.right_deg)) / 2


def finish_um(preparation: Preparation | None) -> float | None:
    """Particle size of the last abrasive in micrometres: as written, else that of its designation; None where neither is known."""
    if preparation is None or not preparation.stages:
        return None
    return _micrometres(preparation.stages[-1])


def _micrometres(stage: AbrasiveStage) -> float | None:
    if stage.micrometres is not None or stage.grit_system is None or stage.grit is None:
        return stage.micrometres
    size = find_grit(stage.grit_system, stage.grit)
    return None if size is None else size.micrometres


def _angle(preparation: Preparation) -> float | None:
    return None if preparation.edge_angle is None else per_side(preparation.edge_angle)


def _microbevel(preparation: Preparation) -> str | None:
    """``yes`` where the last abrasive stood steeper than the edge; None where stages or the angle are not known."""
    angle = _angle(preparation)
    if not preparation.stages or angle is None:
        return None
    last = preparation.stages[-1].angle_deg
    return "yes" if last is not None and last > angle + STEEPER_DEG else "no"


def _thickness(blade: Blade) -> float | None:
    quantity = blade.thickness_behind_edge
    if quantity is None:
        return None
    try:
        return canonical_value(quantity.written, quantity.unit, "mm")
    except WrittenError:  # a finding of its own
        return None


def _hardness(blade: Blade) -> float | None:
    return None if blade.hardness is None else blade.hardness.hrc


NUMBERS: dict[str, Callable[[EdgeOfRun], float | None]] = {
    "last abrasive": lambda edge: finish_um(edge.preparation),
    "edge angle": lambda edge: None if edge.preparation is None else _angle(edge.preparation),
    "thickness behind the edge": lambda edge: None if edge.blade is None else _thickness(edge.blade),
    "hardness": lambda edge: None if edge.blade is None else _hardness(edge.blade),
}
"""Facts that are numbers: in micrometres, degrees per side, mm and HRC."""

WORDS: dict[str, Callable[[EdgeOfRun], str | None]] = {
    "microbevel": lambda edge: None if edge.preparation is None else _microbevel(edge.preparation),
    "strop": lambda edge: None if edge.preparation is None else edge.preparation.strop,
    "deburring": lambda edge: None if edge.preparation is None else edge.preparation.deburring,
    "start state": lambda edge: None if edge.preparation is None else edge.preparation.start_state,
    "condition": lambda edge: None if edge.preparation is None else edge.preparation.condition,
}
"""Facts that are words."""
