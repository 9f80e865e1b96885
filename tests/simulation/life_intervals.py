"""How often the likelihood interval for a ratio of lives holds the truth, against Wald's.

Two arms of n/2 runs each, ln life Gaussian, true ratio 1.65, right-censored at one common amount of work so that the
stated share is censored on average, the rest seen exactly or only between checkpoints that double. The run variance is
drawn from the prior that the fit is given (d0 = 4), or fixed and nothing borrowed (d0 = 0).

    python tests/simulation/life_intervals.py [seeds] > tests/simulation/life_intervals.md
"""

from __future__ import annotations

import itertools
import math
import sys

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm
from scipy.stats import t as t_distribution

from edgehold.estimates.profile import fit_runs, profile_limits

SD, TRUTH, PRIOR_DF = 0.45, 0.5, 4.0
RUNS, CENSORED, SEEN, PRIORS = (8, 16), (0.0, 0.25, 0.5), ("exactly", "between checkpoints"), (0.0, PRIOR_DF)


def censoring_point(share: float) -> float:
    """ln work beyond which the stated share of both arms together would go on."""
    if share == 0:
        return math.inf
    return brentq(lambda c: (norm.sf(c, 0, SD) + norm.sf(c, TRUTH, SD)) / 2 - share, -5, 5)


def observed(y: np.ndarray, end: float, seen: str) -> tuple[np.ndarray, np.ndarray]:
    """What is known of the lives: exact or the bracket of doubling checkpoints; open above where censored."""
    if seen == "exactly":
        low, high = y.copy(), y.copy()
    else:
        low = np.floor(y / math.log(2)) * math.log(2)
        high = low + math.log(2)
    censored = y > end
    low[censored], high[censored] = end, math.inf
    return low, high


def one(n: int, share: float, seen: str, prior_df: float, generator: np.random.Generator) -> dict[str, bool]:
    """One simulated submission: what was given, and whether it held the truth."""
    sd = SD * math.sqrt(prior_df / generator.chisquare(prior_df)) if prior_df else SD
    y = np.repeat([TRUTH, 0.0], n // 2) + sd * generator.standard_normal(n)
    low, high = observed(y, censoring_point(share), seen)
    x = np.repeat(np.eye(2), n // 2, axis=0)
    basis, vector = x / math.sqrt(n / 2), np.array([1.0, -1.0]) / math.sqrt(n / 2)
    runs = fit_runs(low, high, basis, prior_df, SD**2)
    found = profile_limits(runs, vector, 0.3)
    given = {"interval": math.isfinite(found.estimate), "nothing": math.isnan(found.estimate)}
    se = math.sqrt(vector @ runs.fit.covariance @ vector)
    wald = abs(found.estimate - TRUTH) <= norm.ppf(0.975) * se if given["interval"] else False
    wald_t = abs(found.estimate - TRUTH) <= t_distribution.ppf(0.975, runs.df) * se if given["interval"] else False
    return given | {"held": found.low <= TRUTH <= found.high, "wald": wald, "wald_t": wald_t}


def cell(n: int, share: float, seen: str, prior_df: float, seeds: int) -> str:
    """A row of the table."""
    if prior_df == 0 and seen != "exactly":
        return ""
    results = [one(n, share, seen, prior_df, np.random.default_rng([n, int(100 * share), k])) for k in range(seeds)]
    two_sided = [r for r in results if r["interval"]]
    bounds = [r for r in results if not r["interval"] and not r["nothing"]]
    rate = {key: np.mean([r[key] for r in two_sided]) for key in ("held", "wald", "wald_t")}
    error = math.sqrt(rate["held"] * (1 - rate["held"]) / len(two_sided))
    bound = f"{np.mean([r['held'] for r in bounds]):.3f} of {len(bounds)}" if bounds else "none"
    everything = np.mean([r["held"] for r in results])
    return (
        f"| {n} | {100 * share:.0f} % | {seen} | {prior_df:.0f} | {len(two_sided)} | {rate['held']:.3f} ± {error:.3f} "
        f"| {rate['wald']:.3f} | {rate['wald_t']:.3f} | {bound} | {everything:.3f} |"
    )


def main(seeds: int) -> None:
    """Print the table."""
    print("# Intervals for a ratio of lives\n")
    print(f"Made by `life_intervals.py` with {seeds} seeds a row. Nominal: .95. Where an arm has no end there is a bound")
    print("instead of an interval; whether that happens depends on the same runs, so only the last column is a coverage.\n")
    print("| runs | censored | seen | d0 | intervals | likelihood ratio | Wald, normal | Wald, t | bounds held | all held |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for combination in itertools.product(RUNS, CENSORED, SEEN, PRIORS):
        row = cell(*combination, seeds)
        if row:
            print(row, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
