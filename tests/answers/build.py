"""Submissions and tables in few words, for the cases of this folder and for those that are generated."""

from __future__ import annotations

from collections.abc import Sequence

ROPE, CARD, STEELS = "two-sharpeners-rope/1.1.0", "life-on-card/1.0.0", "steels-exchanged-rope/2.0.0"
TURNS = "steels-exchanged-rope/3.0.0"
WORK = (0, 5, 10, 20, 40, 80, 160)


def table(endpoints: Sequence[str], reading_variance: float | None = 0.01, **facts) -> dict:
    """What a form carries of the published table, the same for every endpoint; the protocol's assumption without facts."""
    known = {"s2_pooled": None, "df_pooled": 0.0, "prior_s2": 0.0625, "prior_df": 4.0, "source": "assumed", "submissions": 0}
    return {"sha256": "0" * 64, "reading_variance": reading_variance, "endpoints": dict.fromkeys(endpoints, known | facts)}


def pooled(s2: float, df: float, prior_df: float | None = None, prior_s2: float | None = None) -> dict:
    """Facts of a pooled entry; ``prior_df`` None: submissions do not evidently differ."""
    prior = s2 if prior_s2 is None else prior_s2
    return {"s2_pooled": s2, "df_pooled": df, "prior_s2": prior, "prior_df": prior_df, "source": "pooled", "submissions": 6}


def forces(start: float, growth: float, work: Sequence[float] = WORK, bumps: Sequence[float] = ()) -> dict[float, list[float]]:
    """Three repeats at each amount of work: force rises as a power of work, every reading a little off."""
    found = {}
    for i, w in enumerate(work):
        middle = start * (1 + w / 5) ** growth * (1 + (bumps[i] if i < len(bumps) else 0))
        found[w] = [round(middle * off, 2) for off in (0.97, 1.0, 1.04)]
    return found


def run(readings: dict, blade: str = "wren.galley", sharpener: str = "wren", tester: str = "fid", **facts) -> dict:
    """A run with its preparation: readings are {work: repeats}, repeats numbers, text, (number, limit) or outcomes."""
    return {"readings": readings, "blade": blade, "sharpener": sharpener, "tester": tester} | facts


PREPARED = ("edge_part", "edge_angle", "condition", "start_state")


def submission(runs: Sequence[dict], protocol: str = ROPE, name: str = "wren-1", steels: dict | None = None, **levels: str) -> dict:
    """A submission of runs made by ``run``; ``steels`` are designations or compositions by blade,
    ``levels`` how used people are to sharpening.
    """
    preparations, made = [], []
    for number, facts in enumerate(runs, 1):
        preparation = {"id": f"edge-{number}", "blade": facts["blade"], "sharpener": facts["sharpener"]}
        preparations.append(preparation | {key: facts[key] for key in PREPARED if key in facts})
        made.append(_run(number, facts, protocol))
    people = sorted({facts[role] for facts in runs for role in ("sharpener", "tester")} - {"factory"})
    blades = sorted({facts["blade"] for facts in runs})
    stated = {blade: {"designation" if isinstance(steel, str) else "composition_percent": steel} for blade, steel in (steels or {}).items()}
    return {
        "format": "submission/1.0.0",
        "id": name,
        "protocol": dict(zip(("id", "version"), protocol.split("/"), strict=True)),
        "origin": "measured",
        "licence": "CC0-1.0",
        "submitted_by": people[0],
        "month": "2026-05",
        "people": [{"handle": p, "agreed": "yes"} | ({"sharpening": levels[p]} if p in levels else {}) for p in people],
        "blades": [{"key": b} | ({"steel": stated[b]} if b in stated else {}) for b in blades],
        "preparations": preparations,
        "runs": made,
    }


def _run(number: int, facts: dict, protocol: str) -> dict:
    card = protocol == CARD
    known = {
        "id": f"run-{number}",
        "order": number,
        "preparation": f"edge-{number}",
        "tester": facts["tester"],
        "work_unit": "m" if card else "cut",
        "reading_unit": None if card else "N",
        "ended": "last checkpoint",
    }
    own = {key: value for key, value in facts.items() if key not in ("readings", "blade", "sharpener", *PREPARED)}
    return known | own | {"readings": [_reading(work, repeats) for work, repeats in facts["readings"].items()]}


def _reading(work: object, repeats: Sequence) -> dict:
    if isinstance(repeats, str):
        return {"work": work, "outcomes": [{"P": "pass", "F": "fail"}[mark] for mark in repeats]}
    values = [{"written": v[0], "limit": v[1]} if isinstance(v, tuple) else {"written": v} for v in repeats]
    return {"work": work, "values": values}
