"""Invented runs with known truth for the model of all runs."""

from __future__ import annotations

import numpy as np

TRUTH = {"sharpener": 0.20, "tester": 0.25, "blade": 0.10, "steel × tester": 0.08, "steel × sharpener": 0.08, "residual": 0.20}
STEELS = {"s1": 0.0, "s2": 0.3, "s3": -0.2}


def labels_of_exchange(people=12, partners=3, blades=2, steels=tuple(STEELS)) -> dict[str, list]:
    """Everybody sharpens blades of every steel and tests what ``partners`` people, beginning with the tester, have sharpened."""
    names = ("steel", "blade", "batch", "sharpener", "tester", "submission", "version", "sharpening")
    labels: dict[str, list] = {name: [] for name in names}
    for tester in range(people):
        for step in range(partners):
            sharpener = (tester + step) % people
            for k, steel in enumerate(steels):
                blade = f"{steel}.{(tester + k + step) % blades}"
                row = (
                    steel,
                    blade,
                    None,
                    f"p{sharpener}",
                    f"p{tester}",
                    f"u{tester // 2}",
                    "1.0",
                    "novice" if sharpener % 2 else "practised",
                )
                for name, value in zip(names, row, strict=True):
                    labels[name].append(value)
    return labels


def values_of(labels, seed: int, truth=TRUTH, steels=STEELS) -> np.ndarray:
    """Values with the given standard deviations, by random term."""
    draw = np.random.default_rng(seed)
    columns = dict(labels) | {
        "steel × tester": [f"{a} {b}" for a, b in zip(labels["steel"], labels["tester"], strict=True)],
        "steel × sharpener": [f"{a} {b}" for a, b in zip(labels["steel"], labels["sharpener"], strict=True)],
    }
    y = np.array([steels[one] for one in labels["steel"]], dtype=float)
    for name, sd in truth.items():
        if name == "residual":
            y += sd * draw.standard_normal(len(y))
        else:
            levels, codes = np.unique(columns[name], return_inverse=True)
            y += sd * draw.standard_normal(len(levels))[codes]
    return y
