"""How often a network's intervals hold the truth, and how often a consistent network is called inconsistent.

Four treatments; a study takes two of them at random, or three with probability .3; arm variances uniform on .01–.08;
heterogeneity tau between contrasts, correlation one half. Only networks that hold together are counted.

    python tests/simulation/network.py [seeds] > tests/simulation/network.md
"""

from __future__ import annotations

import itertools
import math
import sys

import numpy as np
from scipy.linalg import block_diag

from edgehold.pooling.network.network import network

EFFECTS = {"a": 0.0, "b": 0.3, "c": 0.5, "d": 0.2}
STUDIES, TAUS = (6, 12, 30), (0.0, 0.15, 0.3)


def drawn(studies: int, tau: float, rng: np.random.Generator) -> tuple:
    """The contrasts of one network, each study against its first arm."""
    y, first, second, study, blocks = [], [], [], [], []
    for i in range(studies):
        base, *others = rng.choice(list(EFFECTS), 3 if rng.random() < 0.3 else 2, replace=False).tolist()
        v = rng.uniform(0.01, 0.08, 1 + len(others))
        arms = [EFFECTS[name] + rng.normal(0, tau / math.sqrt(2)) for name in (base, *others)] + rng.normal(0, np.sqrt(v))
        y += (arms[1:] - arms[0]).tolist()
        first, second, study = first + others, second + [base] * len(others), study + [i] * len(others)
        blocks.append(np.diag(v[1:]) + v[0])
    return np.array(y), block_diag(*blocks), first, second, study


def one(studies: int, tau: float, rng: np.random.Generator) -> dict:
    """What held in one network; empty where it falls apart or has no interval."""
    data = drawn(studies, tau, rng)
    fit, wald = network(*data, split=False), network(*data, interval="wald", split=False)
    if len(fit.treatments) < len(EFFECTS) or fit.reason or fit.interval_reason:
        return {}
    truth = EFFECTS["b"] - EFFECTS["a"]
    guarded, normal = (one.contrast("b", "a").interval for one in (fit, wald))
    found = fit.inconsistency
    result = {
        "guarded": guarded.low <= truth <= guarded.high,
        "normal": normal.low <= truth <= normal.high,
        "tau2": fit.tau2_interval.low <= tau**2 <= fit.tau2_interval.high,
    }
    if found.random_effects is not None:
        result |= {"common": found.between_designs.p < 0.05, "chi": found.random_effects.p < 0.05, "f": found.random_effects_p_f < 0.05}
    return result


def cell(studies: int, tau: float, seeds: int) -> str:
    """A row of the table."""
    results = [one(studies, tau, np.random.default_rng([studies, round(100 * tau), seed])) for seed in range(seeds)]
    counted = [result for result in results if result]
    tested = [result for result in counted if "f" in result]
    rate = {key: np.mean([result[key] for result in counted]) for key in ("guarded", "normal", "tau2")}
    alarm = {key: np.mean([result[key] for result in tested]) for key in ("common", "chi", "f")}
    error = math.sqrt(rate["guarded"] * (1 - rate["guarded"]) / len(counted))
    return (
        f"| {studies} | {tau} | {len(counted)} | {rate['guarded']:.3f} ± {error:.3f} | {rate['normal']:.3f} | {rate['tau2']:.3f} "
        f"| {alarm['common']:.3f} | {alarm['chi']:.3f} | {alarm['f']:.3f} |"
    )


def main(seeds: int) -> None:
    """Print the table."""
    print("# Networks of four treatments\n")
    print(f"Made by `network.py` with {seeds} seeds a row. Nominal: .95 for the intervals of one contrast (guarded Knapp–Hartung, the")
    print("default, and normal) and of tau² (profile); .05 for the design-by-treatment tests, all networks being consistent.\n")
    print("| studies | tau | networks | guarded | normal | tau² | alarm, common effect | alarm, random, chi-square | alarm, random, F |")
    print("|---|---|---|---|---|---|---|---|---|")
    for studies, tau in itertools.product(STUDIES, TAUS):
        print(cell(studies, tau, seeds), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
