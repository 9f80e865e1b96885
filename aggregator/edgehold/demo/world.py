"""The seeded draws that many files share: a person's habit, a blade's luck, a coil's toughness."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .cast import BLADES, CREWS, LATER_SUPPLIES, PEOPLE, SUPPLIES, Person, Specimen, Supply
from .effects import Effects

_SHARED, _SCENE, _PAIRS, _REFERENCES, _LATER = 1, 2, 3, 4, 5  # first word of a stream's key, so that no two streams ever coincide


@dataclass(frozen=True)
class World:
    """One draw of everything that is not a single run's own luck; all in ln keenness, by key."""

    effects: Effects
    sharpeners: dict[str, float]
    testers: dict[str, float]
    blades: dict[str, float]
    batches: dict[str, float]
    lots: dict[str, float]
    steel_testers: dict[str, float]
    steel_sharpeners: dict[str, float]

    def described(self) -> dict[str, dict[str, float]]:
        """The draws as plain values, rounded to nine decimals."""
        names = ("sharpeners", "testers", "blades", "batches", "lots", "steel_testers", "steel_sharpeners")
        return {name: {key: round(v, 9) for key, v in getattr(self, name).items()} for name in names}


def batch_of(specimen: Specimen) -> str:
    """The batch's key; a blade of unknown batch is a batch of its own."""
    return specimen.batch or f"{specimen.key} (batch not known)"


def draw_world(seed: int, effects: Effects) -> World:
    """Everything shared, drawn once a seed in the order of the cast: the two crews, and the pairs of people elsewhere."""
    crews = _drawn(np.random.default_rng([seed, _SHARED]), effects, lambda one: one.shore in CREWS)
    pairs = _drawn(np.random.default_rng([seed, _PAIRS]), effects, lambda one: one.shore not in CREWS)
    drawn = {name: crews[name] | pairs[name] for name in crews}
    rng = np.random.default_rng([seed, _LATER])
    drawn["lots"] |= {one.key: float(effects.lot_sd * rng.standard_normal()) for one in LATER_SUPPLIES}
    return World(effects, **drawn)


def _drawn(
    rng: np.random.Generator, effects: Effects, belongs: Callable[[Person | Specimen | Supply], bool]
) -> dict[str, dict[str, float]]:
    """The draws of those people, blades and coils that belong here, by the names of ``World``."""
    handles = [p.handle for p in PEOPLE if belongs(p)]
    blades = [b for b in BLADES if belongs(b)]
    pairs = [f"{c.steel} : {h}" for c in effects.curves for h in handles]

    def draw(sd: float, keys: list[str]) -> dict[str, float]:
        return {key: float(sd * z) for key, z in zip(keys, rng.standard_normal(len(keys)), strict=True)}

    return {
        "sharpeners": draw(effects.sharpener_sd, handles),
        "testers": draw(effects.tester_sd, handles),
        "blades": draw(effects.blade_sd, [b.key for b in blades]),
        "batches": draw(effects.batch_sd, sorted({batch_of(b) for b in blades})),
        "lots": draw(effects.lot_sd, [s.key for s in SUPPLIES if belongs(s)]),
        "steel_testers": draw(effects.steel_tester_sd, pairs),
        "steel_sharpeners": draw(effects.steel_sharpener_sd, pairs),
    }


def scene_stream(seed: int, place: int) -> np.random.Generator:
    """The generator of one scene, whatever the other scenes do."""
    return np.random.default_rng([seed, _SCENE, place])


def reference_stream(seed: int, number: int) -> np.random.Generator:
    """The generator of one submission's reference edges and known weights."""
    return np.random.default_rng([seed, _REFERENCES, number])
