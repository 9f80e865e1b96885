"""Compositions against limits: what lies outside them, and how far; ``site/pages/assets/form/compositions.js`` does the same."""

from __future__ import annotations

from collections.abc import Mapping

from .model.registers import SteelClass, SteelEntry

BALANCE = "Fe"
"""What is left; a data sheet may or may not say how much."""
RESIDUAL = {
    "Al": 0.3, "Bi": 0.1, "Co": 0.3, "Cr": 0.3, "Cu": 0.4, "La": 0.1, "Mn": 1.65, "Mo": 0.08, "Nb": 0.06, "Ni": 0.3, "Pb": 0.4, "Se": 0.1,
    "Si": 0.6, "Te": 0.1, "Ti": 0.05, "V": 0.1, "W": 0.3, "Zr": 0.05,
}  # fmt: skip
"""Mass per cent from which EN 10020:2000, table 1, calls an element an alloy (from memory): the most of one that limits do not name."""
OTHER_RESIDUAL = 0.1
"""The same for every other element."""
UNTOLD = ("Mn", "P", "S", "Si")
"""What short data sheets leave out: not given is not known. Any other element that is not given is taken as 0."""
WEIGHTS = {"C": 10.0, "N": 10.0}
"""How much one per cent counts in a distance, 1 for all else: a tenth of a per cent of carbon does about what one of chromium does
(declared by the project)."""

Limits = dict[str, tuple[float, float]]
"""Lowest and highest mass per cent by element."""


def limits_of(steel: SteelEntry | SteelClass) -> Limits:
    """Limits of a steel by element."""
    listed = steel.windows if isinstance(steel, SteelClass) else steel.composition
    return {one.element: (one.min or 0.0, 100.0 if one.max is None else one.max) for one in listed}


def of_element(limits: Limits, element: str) -> tuple[float, float]:
    """Lowest and highest mass per cent of an element; one that the limits do not name may be there as a residual only."""
    return limits.get(element, (0.0, RESIDUAL.get(element, OTHER_RESIDUAL)))


def outside(limits: Limits, composition: Mapping[str, float]) -> dict[str, float]:
    """By how many per cent each element lies above its limits, or (below 0) under them; empty where all fit."""
    apart = {}
    for element in sorted({*limits, *composition} - {BALANCE}):
        low, high = of_element(limits, element)
        share = composition.get(element, None if element in UNTOLD else 0.0)
        if share is not None and not low <= share <= high:
            apart[element] = share - (high if share > high else low)
    return apart


def distance(apart: Mapping[str, float]) -> float:
    """How far off all that is in one figure: the per cent outside, carbon and nitrogen tenfold."""
    return sum(abs(by) * WEIGHTS.get(element, 1.0) for element, by in apart.items())


def meet(one: Limits, other: Limits) -> bool:
    """Whether some composition lies within both limits, where nothing is told of what short data sheets leave out."""
    both = ((of_element(one, element), of_element(other, element)) for element in {*one, *other} - set(UNTOLD))
    return all(max(low for low, _ in pair) <= min(high for _, high in pair) for pair in both)
