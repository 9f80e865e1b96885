"""Coverage of the published ratio of two families of steels, and how often its verdict is wrong.

The first table draws whole pools of runs, hands them to ``headline`` and ``families`` and writes down what came out beside the truth. The
second draws estimates of steels with known errors alone, so that many more pools can be asked. Run from the repository's root::

    PYTHONPATH=. python tests/simulation/family_coverage.py --pools 400 --drawn 4000

writes ``family_coverage.md`` beside this script.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: small matrices are slower in threads

import argparse
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from grid import add_cluster, spread_over
from monte_carlo import lower_bound

from edgehold.numerics.second_stage import second_stage
from edgehold.pooling.families import PLACES, FamiliesEstimated, families
from edgehold.pooling.headline import headline
from edgehold.pooling.posterior_verdict import verdict_of
from edgehold.pooling.spread_priors import DEFAULT_PRIORS, IN_FAMILY

WORTHWHILE = 1.25
WANTED, WANTED_TWICE = 0.93, 0.90  # least 99 % lower bound of coverage, and where steels differ by twice the prior's median
TABLE = Path(__file__).with_name("family_coverage.md")
RUN, TESTER, SHARPENER, BLADE = 0.25, 0.15, 0.15, 0.12
KNOWN = 0.08  # standard error of a steel where estimates are drawn
TWICE = 0.49  # twice the median of the prior


@dataclass(frozen=True)
class Design:
    """What is drawn.

    Attributes
    ----------
    told : in words.
    sizes : steels of each family; the first two families are compared.
    ratio : true ratio of the first family's mean to the second's.
    tau : standard deviation between steels of one family, ln.
    people : everybody tests edges of three steels in turn, by their own hand and by the next one's.
    blades : of a steel, that go round; 0: one of each steel at every table.
    """

    told: str
    sizes: tuple[int, ...]
    ratio: float = 1.0
    tau: float = 0.15
    people: int = 8
    blades: int = 0


DESIGNS = (
    Design("two families of 2 steels", (2, 2)),
    Design("same, true ×1.5", (2, 2), ratio=1.5),
    Design("two families of 3 steels, alike within", (3, 3), tau=0.0),
    Design("two families of 3 steels, .30 within", (3, 3), tau=0.30),
    Design("two families of 2 steels, one blade each that goes round", (2, 2), blades=1),
    Design("families of 4 and 1 steels", (4, 1)),
)


def drawn(design: Design, seed: int) -> tuple[np.ndarray, dict[str, list[str]], dict[str, str]]:
    """Values, labels, and the family of every steel; the first family's mean lies the true ratio above all others."""
    rng = np.random.default_rng([20261129, seed])
    family_of = {f"s{n}.{k}": f"f{n}" for n, size in enumerate(design.sizes) for k in range(size)}
    gap = math.log(design.ratio)
    means = {steel: gap * (family == "f0") + rng.normal(0, design.tau) for steel, family in family_of.items()}
    steels, hands = list(family_of), rng.normal(0, SHARPENER, design.people)
    blades: dict[str, float] = {}
    values: list[float] = []
    labels: dict[str, list[str]] = {name: [] for name in ("steel", "blade", "sharpener", "tester", "submission")}
    for tester in range(design.people):
        level = rng.normal(0, TESTER)
        for step in range(3):
            steel = steels[(tester + step) % len(steels)]
            blade = f"{steel}.{tester % design.blades if design.blades else tester}"
            own = blades.setdefault(blade, rng.normal(0, BLADE))
            for by in (tester, (tester + 1) % design.people):
                values.append(means[steel] + own + level + hands[by] + rng.normal(0, RUN))
                for name, value in zip(labels, (steel, blade, f"p{by}", f"p{tester}", f"t{tester}"), strict=True):
                    labels[name].append(value)
    return np.array(values), labels, family_of


@dataclass(frozen=True)
class Outcome:
    """What came out of one pool: whether the interval holds the truth, its half-width on the ln scale, the verdict."""

    held: bool
    half_width: float
    verdict: str


def outcome(design: Design, seed: int) -> Outcome:
    """One pool of runs."""
    y, labels, family_of = drawn(design, seed)
    found = families(headline(y, y, labels, worthwhile=WORTHWHILE), family_of, WORTHWHILE)
    answer = next(one for one in found.pairs if (one.first, one.second) == ("f0", "f1"))
    if not isinstance(answer, FamiliesEstimated):
        return Outcome(False, math.nan, "")
    low, high = answer.posterior.interval.low, answer.posterior.interval.high
    return Outcome(low <= math.log(design.ratio) <= high, (high - low) / 2, answer.verdict.kind if answer.verdict else "")


def of_estimates(sizes: tuple[int, ...], tau: float, seed: int) -> Outcome:
    """One set of estimates with known errors, families alike."""
    rng = np.random.default_rng([20261130, *sizes, round(100 * tau), seed])  # each row draws its own
    groups = np.repeat(np.arange(len(sizes)), sizes)
    means = rng.normal(0, tau, len(groups)) + rng.normal(0, KNOWN, len(groups))
    stage = second_stage(np.ones(1), means[None], KNOWN**2 * np.eye(len(groups))[None], groups, DEFAULT_PRIORS[IN_FAMILY], PLACES)
    mixture, step = stage.contrast(0, 1)[0].merged(), math.log(WORTHWHILE)
    better, worse = mixture.above(step), mixture.below(-step)
    verdict = verdict_of(better, 1 - better - worse, worse, mixture.above(0.0)) if min(sizes[:2]) > 1 else ""
    return Outcome(0.025 <= mixture.below(0.0) <= 0.975, (mixture.quantile(0.975) - mixture.quantile(0.025)) / 2, verdict)


def row(told: str, ratio: float, found: list[Outcome], twice: bool = False) -> str:
    """One line of a table."""
    held, width = sum(one.held for one in found) / len(found), float(np.median([one.half_width for one in found]))
    wrong = {"better", "worse"} if ratio < WORTHWHILE else {"worse", "no difference worth having"}
    bad, right = (sum(one.verdict in kinds for one in found) / len(found) for kinds in (wrong, {"better"} - wrong))
    bound = lower_bound(held, len(found))
    missed = "" if bound >= (WANTED_TWICE if twice else WANTED) else " (missed)"
    return f"| {told} | {held:.3f} | {bound:.3f}{missed} | {width:.2f} | {bad:.3f} | {f'{right:.2f}' if ratio > WORTHWHILE else '–'} |"


def rows(pools: int, cluster: str | None = None) -> Iterator[str]:
    """The first table, line by line."""
    with spread_over(None, cluster) as workers:
        for design in DESIGNS:
            yield row(design.told, design.ratio, list(workers.map(partial(outcome, design), range(pools), chunksize=10)))


def rows_of_estimates(pools: int, cluster: str | None = None) -> Iterator[str]:
    """The second table, line by line."""
    with spread_over(None, cluster) as workers:
        for sizes in ((2, 2), (3, 2), (5, 5), (2, 1), (4, 1)):
            for tau in (0.0, 0.1, 0.2, 0.3, TWICE):
                found = list(workers.map(partial(of_estimates, sizes, tau), range(pools), chunksize=100))
                yield row(f"{sizes[0]} and {sizes[1]} steels, {tau:.2f} within", 1.0, found, tau == TWICE)


def main() -> None:
    """Write both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=400, help="pools of runs a row")
    parser.add_argument("--drawn", type=int, default=4000, help="sets of estimates a row")
    add_cluster(parser)
    asked = parser.parse_args()
    columns = "| coverage | 99 % lower bound | median half-width, ln | wrong verdicts | right “better” |\n|---|---|---|---|---|---|\n"
    prior = DEFAULT_PRIORS[IN_FAMILY]
    text = (
        "# Coverage of the ratio of two families of steels\n\n"
        f"Made by `family_coverage.py`. The spread between steels of one family has a half-t prior with {prior.df:g} degrees of\n"
        f"freedom and scale {prior.scale:g}, median {prior.median:.3f}. Wanted: a lower 99 % Monte-Carlo bound of {WANTED}, and of\n"
        f"{WANTED_TWICE} where steels differ by twice that median. Wrong verdicts: better or worse at a true ×1; worse, or no\n"
        "difference, at ×1.5. A family of which one steel was met has an interval and no verdict.\n\n"
        f"## Whole pools, {asked.pools} a row\n\n"
        "Eight people, each with three steels in turn, edges by their own hand and by the next one's. True spreads:\n"
        f"run {RUN}, tester {TESTER}, sharpener {SHARPENER}, blade {BLADE}, steels of one family .15 unless a row says otherwise.\n\n"
        f"| design {columns}"
    )
    for line in rows(asked.pools, asked.cluster):
        print(line, flush=True)
        text += line + "\n"
    text += f"\n## Estimates of steels with a standard error of {KNOWN}, {asked.drawn} sets a row\n\n| design {columns}"
    for line in rows_of_estimates(asked.drawn, asked.cluster):
        print(line, flush=True)
        text += line + "\n"
    TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
