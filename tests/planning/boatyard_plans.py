"""Occasions for tests: the volunteers of an invented boatyard and the repository's own protocols."""

from __future__ import annotations

import json
import math
from functools import cache
from pathlib import Path

import yaml

from edgehold.estimates.repeatability import ASSUMED, POOLED, Repeatability
from edgehold.planning.capacity import capacity
from edgehold.planning.occasion import occasion, stock
from edgehold.planning.plans import draw_plan
from edgehold.records.model.protocol import Protocol

ROOT = Path(__file__).parents[2]
NO_PRIOR = 1e-9  # degrees of freedom of a prior that weighs nothing


@cache
def protocol(name: str = "two-sharpeners-rope", version: str = "1.1.0") -> Protocol:
    text = (ROOT / "protocols" / name / f"{version}.md").read_text(encoding="utf-8")
    return Protocol.model_validate_json(json.dumps(yaml.safe_load(text.split("---\n", 2)[1])))


def sharpeners(has=None, **asks):
    """Two sharpeners, one blade; open unless a coder is named."""
    people = {"blades": ["wren.galley"], "sharpeners": ["tern", "wren"], "testers": ["fennel"]}
    return occasion(protocol(), stock(protocol(), **(has or {})), **(people | asks))


def steels(has=None, blades=("wren.galley", "wren.rigging"), **asks):
    """Blades of several steels, sharpened by one person."""
    rope = protocol("steels-exchanged-rope", "2.0.0")
    people = {"blades": list(blades), "sharpeners": ["wren"], "testers": ["fennel"]}
    return occasion(rope, stock(rope, **(has or {})), **(people | asks))


def drawn(asked, seed=1, sealed=False):
    return draw_plan(asked, capacity(asked), id="boatyard-plan", month="2026-05", seed=seed, sealed=sealed)


def roomy(runs: int, evenings: int = 1) -> dict:
    """Room for so many runs and for nothing else to matter."""
    each = math.ceil(runs / evenings)
    return {"evenings": evenings, "minutes": 30 + 60 * each, "runs_a_hand": each, "steel_mm": 99.0, "most_runs": runs}


def own_spread_only(ln_sd: float) -> Repeatability:
    """A table that lends nothing, so that an evening stands on its own spread, as in a textbook's t test."""
    return Repeatability(math.nan, 0.0, NO_PRIOR, ln_sd**2, ASSUMED, 0)


def pooled(ln_sd: float, df: float) -> Repeatability:
    return Repeatability(ln_sd**2, df, math.inf, ln_sd**2, POOLED, 9)
