"""Two hundred drawn selections of the demonstration's submissions and what the program says of each, for the explorer to say the same.

The evidence is what a built site hands to the explorer; two pairs more are made up, for what the demonstration has not: a great
size, and perfect agreement. Run this again after a change of pooling or of the demonstration, with a site built::

    python -m tests.explorer.write_corpus build/site/data/explore
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from tests.explorer.made_up import made_up_endpoint
from tests.explorer.reference import answer

CORPUS = Path(__file__).parents[1] / "cases" / "explorer"
SEED = 20261129
DRAWN, LEAST = 200, 5
MADE_UP = 160
RARELY = 0.05  # how often a selection is of the pair that is made up
FEW = 0.2  # how often a selection may stay that leaves too few studies to pool


def evidence(folder: Path) -> dict[str, dict[str, Any]]:
    """Every pair of which five submissions or more have a ratio somewhere, and two that are made up, by pool and pair."""
    read = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("*/*.json"))]
    told = [pair for pair in read if max(sum(v is not None for v in e["ln_variance"]) for e in pair["endpoints"]) >= LEAST]
    return {f"{pair['pool']}/{pair['pair']}": pair for pair in (*told, agreeing(), made_up(np.random.default_rng(SEED)))}


def agreeing() -> dict[str, Any]:
    """A simulated pair whose submissions agree better than their variances say, so that no spread is estimable."""
    pair = made_up(np.random.default_rng(SEED))
    (endpoint,), few = pair["endpoints"], 8
    figures = {"ln_ratio": [0.2 + 0.001 * i for i in range(few)], "ln_variance": [0.05] * few, "bound": [None] * few}
    return pair | {"pair": "demo-one-and-demo-same", "submissions": pair["submissions"][:few], "endpoints": [endpoint | figures]}


def made_up(rng: np.random.Generator) -> dict[str, Any]:
    """A simulated pair of many submissions, in about half as many studies."""
    studies, submissions = rng.integers(1, MADE_UP // 2, MADE_UP), range(MADE_UP)
    between, within = rng.normal(0, 0.2, MADE_UP), rng.normal(0, 0.1, MADE_UP)
    variances = rng.choice([0.01, 0.02, 0.03, 0.08], MADE_UP) * rng.uniform(0.9, 1.1, MADE_UP)
    ratios = [0.3 + between[studies[i]] + within[i] + rng.normal(0, variances[i] ** 0.5) for i in submissions]
    return {
        "pool": "made-up-v1-simulated",
        "pair": "demo-one-and-demo-other",
        "origin": "simulated",
        "protocol": "made-up",
        "factor": "steel",
        "first": "demo-one",
        "second": "demo-other",
        "submissions": [
            {
                "id": f"made-{i}",
                "study": int(studies[i]),
                "month": f"20{25 + i // 80}-{1 + i % 12:02}",
                "version": str(rng.choice(["1.0.0", "1.1.0"])),
                "interest": str(rng.choice(["none", "owner", "maker", "seller", "not stated"])),
                "blinding": str(rng.choice(["every run", "some runs", "no run", "not stated"])),
                "grade": 1 + i % 5,
            }
            for i in submissions
        ],
        "endpoints": [made_up_endpoint([float(f"{y:.10g}") for y in ratios], [float(f"{v:.10g}") for v in variances], 200.0)],
    }


def drawn(pair: dict[str, Any], rng: np.random.Generator) -> str:
    """One selection as an address has it: of every way to leave something out, now and then one."""
    submissions = pair["submissions"]

    def several(values: list[Any], most: int) -> str:
        return ",".join(map(str, rng.choice(values, min(len(values), int(rng.integers(1, most + 1))), replace=False)))

    months = sorted({one["month"] for one in submissions})
    asked = {
        "leave": several([one["id"] for one in submissions], max(3, len(submissions) // 8)) if rng.random() < 0.6 else "",
        "studies": several(sorted({one["study"] for one in submissions}), 2) if rng.random() < 0.25 else "",
        "versions": several(sorted({one["version"] for one in submissions}), 1) if rng.random() < 0.15 else "",
        "interest": "out" if rng.random() < 0.25 else "",
        "blind": "only" if rng.random() < 0.15 else "",
        "grade": str(rng.integers(2, 6)) if rng.random() < 0.15 else "",
        "from": str(rng.choice(months[: 1 + len(months) // 3])) if rng.random() < 0.2 else "",
        "to": str(rng.choice(months[len(months) // 2 :])) if rng.random() < 0.2 else "",
    }
    return "&".join(f"{name}={value}" for name, value in asked.items() if value)


def cases(pairs: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    """Pair, endpoint, address and answer of every selection: each pair whole, then drawn ones, pairs of many submissions oftener."""
    rng = np.random.default_rng(SEED)
    names, weights = list(pairs)[:-2], np.array([len(pair["submissions"]) for pair in pairs.values()][:-2], float)
    found = [_case(pairs, name, e["id"], "") for name, pair in pairs.items() for e in pair["endpoints"]]
    while len(found) < DRAWN:
        name = list(pairs)[-1] if rng.random() < RARELY else str(rng.choice(names, p=weights / weights.sum()))
        endpoint = str(rng.choice([e["id"] for e in pairs[name]["endpoints"]]))
        made = _case(pairs, name, endpoint, drawn(pairs[name], rng))
        if made["says"]["fit"] is not None or rng.random() < FEW:
            found.append(made)
    return found


def _case(pairs: dict[str, dict[str, Any]], name: str, endpoint: str, address: str) -> dict[str, Any]:
    says = answer(pairs[name], endpoint_of(pairs[name], endpoint), address)
    return {"pair": name, "endpoint": endpoint, "address": address, "says": _short(says)}


def _short(plain: Any) -> Any:
    """Numbers with ten significant digits."""
    if isinstance(plain, dict):
        return {name: _short(inside) for name, inside in plain.items()}
    if isinstance(plain, list):
        return [_short(inside) for inside in plain]
    return float(f"{plain:.10g}") if isinstance(plain, float) else plain


def endpoint_of(pair: dict[str, Any], name: str) -> dict[str, Any]:
    """An endpoint of a pair, by its id."""
    return next(e for e in pair["endpoints"] if e["id"] == name)


def main() -> None:
    """Write the evidence and the selections."""
    pairs = evidence(Path(sys.argv[1] if len(sys.argv) > 1 else "build/site/data/explore"))
    CORPUS.mkdir(parents=True, exist_ok=True)
    for name, content in (("evidence", list(pairs.values())), ("selections", cases(pairs))):
        lines = ",\n".join(json.dumps(one, separators=(",", ":"), allow_nan=False) for one in content)
        (CORPUS / f"{name}.json").write_text(f"[\n{lines}\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
