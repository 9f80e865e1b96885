"""Submissions drawn at random, awkward ones among them, as cases of the same form as the files."""

from __future__ import annotations

import numpy as np

from .build import CARD, ROPE, STEELS, WORK, pooled, run, submission, table

ENDS = ("last checkpoint", "dull", "medium ran out", "tester stopped", "edge damaged", "edge touched up")
UNITS = {"N": 1.0, "gf": 0.00980665, "kgf": 9.80665, "lbf": 4.4482216152605}
CARD_UNITS = {"m": 1.0, "cm": 0.01, "ft": 0.3048}
NAMES = {ROPE: ("early", "late", "life", "hold"), STEELS: ("early", "late", "life"), CARD: ("life",)}
BLADES = {"wren.one": "1095", "wren.two": "AISI D2", "wren.three": "1095", "wren.four": "D2"}
PEOPLE = ("wren", "tern", "skua")
LEVELS = ("novice", "practised", "professional")


def generated(seed: int) -> dict:
    """A case without its answer."""
    rng = np.random.default_rng(seed)
    protocol = (ROPE, ROPE, STEELS, CARD)[rng.integers(4)]
    runs = _runs(rng, protocol)
    people = {p for r in runs for p in (r["sharpener"], r["tester"])}
    levels = {p: str(rng.choice(LEVELS)) for p in PEOPLE if p in people and rng.random() < 0.4}
    return {
        "says": f"drawn from seed {seed}",
        "protocol": protocol,
        "changes": {"estimand": ("total", "same stone and angle")[rng.integers(2)]},
        "repeatability": table(NAMES[protocol], _maybe(rng, float(10 ** rng.uniform(-4, -1))), **_facts(rng)),
        "submission": submission(runs, protocol, f"wren-{seed}", BLADES if rng.random() < 0.7 else {}, **levels),
    }


def _maybe(rng: np.random.Generator, value: object, chance: float = 0.7) -> object:
    return value if rng.random() < chance else None


def _facts(rng: np.random.Generator) -> dict:
    s2, df = float(10 ** rng.uniform(-2.5, -0.5)), float(rng.integers(1, 60))
    return ({}, pooled(s2, df), pooled(s2, df, float(rng.uniform(0.5, 20)), s2 * float(rng.uniform(0.3, 1.5))))[rng.integers(3)]


def _runs(rng: np.random.Generator, protocol: str) -> list[dict]:
    """Runs of a few blades and people, mostly in turn, with one or two things more that differ between them."""
    blades, sharpeners, testers = int(rng.integers(1, 4)), int(rng.integers(1, 4)), 1 + int(rng.random() < 0.2)
    also = rng.random(4) < 0.15
    runs = []
    for i in range(int(rng.integers(2, 10))):
        turn = i if rng.random() < 0.9 else int(rng.integers(12))
        facts: dict[str, object] = {
            "blade": list(BLADES)[turn % blades],
            "sharpener": PEOPLE[turn // blades % sharpeners],
            "tester": ("fid", "wren")[i % 5 % testers],
            "ended": str(rng.choice(ENDS, p=[0.6, 0.2, 0.05, 0.05, 0.05, 0.05])),
        }
        facts |= {"evening": _maybe(rng, 1 + i // 3, 0.9)} if also[0] else {}
        facts |= {"lot": _maybe(rng, f"wren.coil-{i % 2}", 0.9)} if also[1] else {}
        facts |= {"edge_part": ("heel", "tip")[i // 2 % 2]} if also[2] else {}
        facts |= {"edge_angle": _angle(rng)} if also[3] else {}
        facts |= {"tester_change_at_work": 2} if rng.random() < 0.03 else {}
        runs.append(run(_outcomes(rng, facts) if protocol == CARD else _forces(rng, facts), **facts))
    return runs


def _angle(rng: np.random.Generator) -> dict | None:
    sides = {"left_deg": float(rng.choice([15, 18])), "right_deg": _maybe(rng, 17.5, 0.2)}
    stated = {"basis": "per side"} | sides if rng.random() < 0.8 else {"basis": "both together", "left_deg": 31}
    return stated if rng.random() < 0.9 else None


def _outcomes(rng: np.random.Generator, facts: dict) -> dict:
    """Passes until an edge is dull, then fails, now and then mixed."""
    works = (0, 1, 2, 4, 8, 16, 32, 64, 128)
    last, dull = int(rng.integers(4, len(works) + 1)), float(10 ** rng.uniform(-0.5, 2.3))
    unit, factor = list(CARD_UNITS.items())[rng.integers(len(CARD_UNITS))]
    facts["work_unit"] = unit
    marks = {w: "".join("P" if w * rng.uniform(0.8, 1.2) < dull else "F" for _ in range(int(rng.integers(1, 4)))) for w in works[:last]}
    return {round(w / factor, 6): mark for w, mark in marks.items()}


def _forces(rng: np.random.Generator, facts: dict) -> dict:
    """Rising forces with reading error, readings missing, off the scale, on the limit, off a checkpoint."""
    unit, factor = list(UNITS.items())[rng.integers(len(UNITS))]
    facts["reading_unit"] = unit
    start, growth, noise = rng.uniform(0.5, 3), rng.uniform(0.1, 0.9), rng.uniform(0, 0.15)
    repeats = int(rng.integers(1, 5))
    found = {}
    for work in WORK[: 7 if rng.random() < 0.8 else int(rng.integers(1, 8))]:
        if rng.random() < 0.04:
            continue
        middle = start * (1 + work / 5) ** growth
        values = [_value(rng, middle * float(np.exp(noise * rng.standard_normal())), factor) for _ in range(repeats)]
        found[22 if work == 20 and rng.random() < 0.15 else work] = values
    return found


def _value(rng: np.random.Generator, force: float, factor: float) -> object:
    """A repeat as somebody might write it."""
    odd = rng.random()
    if odd < 0.005:
        return 0
    if odd < 0.02:
        return (round(force / factor, 2), str(rng.choice(["below", "above"])))
    if odd < 0.06:
        force = 4.0  # the limit of a life, but for rounding
    if odd < 0.20:
        return f"{force / factor:.3f}".replace(".", ",") if f"{force / factor:.3f}"[0] == "0" else f"{force / factor:.2f} (3)"
    return float(f"{force / factor:.4g}")
