"""Coverage, wrong verdicts, power and looks of the published headline, beside the same pools analysed with all true spreads known.

Every seed draws a pool (``pools.py``), hands it to ``headline`` and writes down what came out beside the truth. Run from the
repository's root::

    PYTHONPATH=. python tests/simulation/headline_coverage.py --out build/headline_coverage
    PYTHONPATH=. python tests/simulation/headline_coverage.py --out build/headline_coverage --summary

A run appends one line a seed to one file a row and skips the seeds that are there, so it can be stopped and started again, and rows
or seeds can be run in pieces. ``--summary`` writes ``headline_coverage.md`` beside this script. Lines hold estimates and
probabilities, so that other thresholds and rules can be tried without fitting anything again.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: small matrices are slower in threads

import argparse
import json
import math
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from grid import add_cluster, spread_over
from monte_carlo import lower_bound
from pools import EXCHANGED, LAST_READING, LIMITS, ONE, PRACTICE, STEELS, WHOLE, Design, Pool, draw, ideal

from edgehold.pooling.answer import Estimated
from edgehold.pooling.headline import Headline, HeadlineNotFitted, headline, why_none
from edgehold.pooling.posterior_verdict import BEYOND, WITHIN, verdict_of
from edgehold.pooling.spread_priors import DEFAULT_PRIORS, scaled

WORTHWHILE = 1.25
EDGE = math.log(WORTHWHILE)
WANTED, WANTED_SCALED = 0.93, 0.90  # least lower bounds of coverage: with the priors as they are, and with other scales
MOST_WRONG, MOST_EVER_WRONG = 0.025, 0.05  # largest shares of wrong "better" or "worse": at one look, and ever over all of them
WIDEST = 1.3  # largest median half-width over the ideal's
LEAST_POWER = 0.9  # share of the ideal's power that the headline is to reach
CLAIMED = 500  # pools below which a figure is shown and nothing is claimed of it
LOOKS = 24
TABLE = Path(__file__).with_name("headline_coverage.md")

Comparison = tuple[str, str, str]  # "steel" or "practice", first, second


@dataclass(frozen=True)
class Row:
    """One row of the study.

    Attributes
    ----------
    goal : ``"coverage"``, ``"priors"``, ``"power"`` or ``"looks"``.
    design : what is drawn.
    told : what it is, in words.
    scale : what the scales of all priors are multiplied by.
    """

    goal: str
    design: Design
    told: str
    scale: float = 1.0

    @property
    def asked(self) -> tuple[Comparison, ...]:
        """The comparisons looked at: first to second, in a chain first to last as well."""
        if self.design.practice:
            return (("practice", *PRACTICE),)
        last = [STEELS[self.design.steels - 1]] if self.design.steels > 2 else []
        return tuple(("steel", STEELS[0], other) for other in (STEELS[1], *last))


ROUND = {"blade": 0.15}
SAME = {"blade": 0.0, "sharpener": 0.0, "tester": 0.0, "submission": 0.0, "steel × sharpener": 0.0, "steel × tester": 0.0}
ALL_TERMS = {"batch": 0.10, "lot": 0.10, "evening": 0.08}
COVERAGE = (
    Row("coverage", Design("own blades"), "everybody their own blades, 6 testers"),
    Row("coverage", Design("round 2", blades=2, sds=ROUND), "2 blades a steel go round 6 testers, blade SD .15"),
    Row("coverage", Design("round 2 wide", blades=2, sds={"blade": 0.30}), "same, blade SD .30"),
    Row("coverage", Design("round 2 ten", files=10, testers=10, blades=2, sds=ROUND), "same, blade SD .15, 10 testers"),
    Row("coverage", Design("round 3", blades=3, sds=ROUND), "3 blades a steel go round 6 testers"),
    Row(
        "coverage",
        Design("one sharpener", blades=2, sharpening=ONE, sds=ROUND | {"steel × sharpener": 0.15}),
        "2 blades a steel, one person sharpens all, steel × sharpener SD .15",
    ),
    Row("coverage", Design("one blade", blades=1, sds=ROUND), "1 blade a steel goes round 6 testers"),
    Row(
        "coverage",
        Design("unbalanced", files=12, testers=4, sharpening=EXCHANGED, unbalanced=True),
        "4 testers, 12 files, 32 runs, unbalanced, edges and blades exchanged",
    ),
    Row(
        "coverage",
        Design("exchanged", files=10, testers=10, blades=4, sharpening=EXCHANGED),
        "4 blades a steel and edges exchanged, 10 testers",
    ),
    Row("coverage", Design("heavy tails", tails=5), "own blades, runs with tails of t on 5 df"),
    Row("coverage", Design("heavy tails round", blades=3, sds=ROUND, tails=5), "3 blades go round, runs with tails of t on 5 df"),
    Row("coverage", Design("unequal testers", run_sds=(0.15, 0.60)), "own blades, run SD .15 to .60 by tester"),
    Row(
        "coverage",
        Design("drift", runs=8, evenings=2, drift=-0.06),
        "own blades, 2 evenings of 4 runs, each place reads .06 lower, order drawn",
    ),
    Row(
        "coverage",
        Design(
            "all terms", files=8, testers=8, runs=8, blades=4, evenings=2, lots=4, batches=2, sharpening=EXCHANGED, sds=ROUND | ALL_TERMS
        ),
        "8 testers, every term there is: 4 blades of 2 batches a steel, lots, evenings",
    ),
    Row("coverage", Design("limits", ratio=1.5, ends=LIMITS), "own blades, ×1.5, stopped or outlasting runs known by a limit"),
    Row(
        "coverage",
        Design("last reading", ratio=1.5, ends=LAST_READING),
        "own blades, ×1.5, stopped runs known to lie below their last reading",
    ),
    Row(
        "coverage",
        Design("chain", files=8, testers=8, steels=5, blades=2, sds=ROUND),
        "5 steels in a chain, 2 blades each go round, 8 files of two",
    ),
    Row("coverage", Design("two files", files=2, testers=2), "two files, own blades"),
    Row("coverage", Design("one file", files=1, testers=1), "one file, one blade a steel"),
    Row("coverage", Design("practice", files=8, testers=8, practice=True), "practised : novice, 4 sharpeners each, 8 testers"),
    Row("coverage", Design("runs alone", sds=SAME), "own blades, every spread 0 but the runs'"),
)
PRIORS = tuple(
    Row("priors", row.design, f"{row.told}, prior scales {word}", scale)
    for row in COVERAGE
    if row.design.name in ("own blades", "round 2", "round 2 wide", "one sharpener", "one blade", "unbalanced", "two files", "practice")
    for word, scale in (("halved", 0.5), ("doubled", 2.0))
)
POWER = tuple(
    Row("power", Design(f"power {files}", files=files, testers=files, ratio=1.5), f"own blades, ×1.5, {files} files")
    for files in (3, 5, 8, 12, 16, 24)
)
SERIES = tuple(
    Row(
        "looks",
        Design(
            f"looks {ratio:g}{' round' if blades else ''}", files=LOOKS, testers=LOOKS, ratio=ratio, months=True, blades=blades, sds=sds
        ),
        f"{LOOKS} months, ×{ratio:g}, {f'{blades} blades a steel go round' if blades else 'own blades'}",
    )
    for blades, sds, ratios in ((0, {}, (1.0, 1.25, 1.5)), (4, ROUND, (1.0, 1.25)))
    for ratio in ratios
)
ROWS: dict[str, Row] = {
    row.design.name + {0.5: " halved", 1.0: "", 2.0: " doubled"}[row.scale]: row for row in (*COVERAGE, *PRIORS, *POWER, *SERIES)
}


# ---- one seed ----------------------------------------------------------------------------------------------------------------


def line(name: str, seed: int) -> dict:
    """What one pool, or one series of them, came to."""
    row = ROWS[name]
    pool = draw(row.design, seed)
    return _series(pool, seed) if row.goal == "looks" else pool_line(pool, row.asked, seed, row.scale)


def pool_line(pool: Pool, asked: Sequence[Comparison], seed: int, scale: float = 1.0) -> dict:
    """One pool's answers beside truth and ideal."""
    began = time.perf_counter()
    found = _published(pool, scale)
    told = {"seed": seed, "seconds": round(time.perf_counter() - began, 3), "state": _state(found), "reason": why_none(found)}
    told |= {"k": _rounded(found.fit.convergence.pareto_k), "points": found.fit.convergence.points}
    return told | {"answers": {" : ".join(one): _answer(found, pool, one) for one in asked}}


def _state(found: Headline) -> str:
    return "not fitted" if isinstance(found, HeadlineNotFitted) else "fitted"


def _published(pool: Pool, scale: float = 1.0):
    return headline(pool.low, pool.high, pool.labels, worthwhile=WORTHWHILE, priors=scaled(DEFAULT_PRIORS, scale))


def _asked_of(found, asked: Comparison):
    return found.practice if asked[0] == "practice" else found.pair(*asked[1:])


def _answer(found, pool: Pool, asked: Comparison) -> dict:
    answer = _asked_of(found, asked)
    best, truth = ideal(pool, *asked, answer.about), pool.truth(*asked, answer.about)
    told = {"about": answer.about, "truth": _rounded(truth)}
    told |= {"ideal": _rounded(best.estimate), "ideal_half": _rounded(best.half), "ideal_verdict": _verdict(best.above)}
    if not isinstance(answer, Estimated):
        return told | {"state": "not estimable", "reason": answer.reason}
    told |= {"state": "estimated", "reason": "", "estimate": _rounded(answer.estimate)}
    told |= {"low": _rounded(answer.interval.low), "high": _rounded(answer.interval.high)}
    told |= dict(zip(("better", "within", "worse", "above"), map(_rounded, _probabilities(answer.posterior.above)), strict=True))
    told |= {"verdict": answer.verdict.kind if answer.verdict else ""}
    if answer.general is not answer.posterior:
        known, at_large = pool.truth(*asked), answer.general.interval
        told |= {"general_held": bool(at_large.low <= known <= at_large.high), "general_half": _rounded((at_large.high - at_large.low) / 2)}
    return told


def _probabilities(above: Callable[[float], float]) -> tuple[float, float, float, float]:
    """Better, within, worse, and above ×1."""
    better, worse = above(EDGE), 1 - above(-EDGE)
    return better, max(0.0, 1 - better - worse), worse, above(0.0)


def _verdict(above: Callable[[float], float]) -> str:
    """What the program's thresholds make of a posterior."""
    return verdict_of(*_probabilities(above))


def _rounded(value: float) -> float | None:
    return round(float(value), 5) if math.isfinite(value) else None


# ---- looks -------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Look:
    """One look at the pool: probabilities of the ratio against the worthwhile one, and how many clusters of people there are.

    A look without a posterior, or with one blade of a steel, has probabilities of zero.
    """

    better: float
    within: float
    worse: float
    above: float
    clusters: int


Rule = Callable[[Sequence[Look]], str]


def _series(pool: Pool, seed: int) -> dict:
    """A series of months, each with a file more."""
    began, looks, best, unfitted = time.perf_counter(), [], [], 0
    for month in range(1, pool.design.files + 1):
        so_far = pool.first(month)
        found = _published(so_far)
        answer = found.pair(*STEELS[:2])
        told = _probabilities(answer.posterior.above) if answer.verdict else (0.0, 0.0, 0.0, 0.0)
        unfitted += isinstance(found, HeadlineNotFitted)
        looks.append([*map(_rounded, told), clusters(so_far.labels)])
        reached = ideal(so_far, "steel", *STEELS[:2])
        best.append([_rounded(reached.estimate), _rounded(reached.sd)])
    return {"seed": seed, "seconds": round(time.perf_counter() - began, 2), "unfitted": unfitted, "looks": looks, "ideal": best}


def clusters(labels: Mapping[str, Sequence[str]]) -> int:
    """Groups of files that no tester and no sharpener joins."""
    people = [set(pair) for pair in zip(labels["tester"], labels["sharpener"], strict=True)]
    groups: list[set] = []
    for file in dict.fromkeys(labels["submission"]):
        mine = set().union(*(who for who, own in zip(people, labels["submission"], strict=True) if own == file))
        joined = [group for group in groups if group & mine]
        groups = [group for group in groups if not group & mine] + [mine.union(*joined)]
    return len(groups)


def said(look: Look, beyond: float, within: float) -> str:
    """A look's verdict by two thresholds; empty where it comes to none of the three."""
    if max(look.better, look.worse) >= beyond:
        return "better" if look.better > look.worse else "worse"
    return "no difference worth having" if look.within >= within else ""


def bare(beyond: float, within: float) -> Rule:
    """What the last look says."""
    return lambda history: said(history[-1], beyond, within)


def held(further: int, beyond: float, within: float) -> Rule:
    """What the last look says once every look has said it since there were so many clusters of people fewer."""

    def rule(history: Sequence[Look]) -> str:
        verdict = said(history[-1], beyond, within)
        for look in reversed(history):
            if said(look, beyond, within) != verdict:
                return ""
            if look.clusters <= history[-1].clusters - further:
                return verdict
        return ""

    return rule


def spent(error: float, within_error: float) -> Rule:
    """The k-th look spends 6/(π²k²) of an error: their sum is the error, however many looks follow (Bonferroni)."""

    def rule(history: Sequence[Look]) -> str:
        share = 6 / (math.pi * len(history)) ** 2
        return said(history[-1], 1 - error * share, 1 - within_error * share)

    return rule


def stepwise(growth: float, beyond: float, within: float) -> Rule:
    """A verdict is made anew only when the clusters of people have grown by a share since it was last made; in between it stands."""

    def rule(history: Sequence[Look]) -> str:
        verdict, counted = "", 1
        for look in history:
            if look.clusters >= growth * counted:
                verdict, counted = said(look, beyond, within), look.clusters
        return verdict

    return rule


def for_ever(error: float, within_error: float, rho: float = 8.0) -> Rule:
    """Thresholds of a normal mixture's boundary, with clusters of people for the information (Robbins 1970, Ann. Math. Stat. 41:1397-1409).

    A standardised sum of n independent normal parts ever passes √((n + ρ)/n · (2 ln(1/2α) + ln((n + ρ)/ρ))) upwards with probability
    α at most, about.
    """

    def threshold(alpha: float, n: int) -> float:
        z = math.sqrt((n + rho) / n * (2 * math.log(1 / (2 * alpha)) + math.log((n + rho) / rho)))
        return 0.5 * (1 + math.erf(z / math.sqrt(2)))

    return lambda history: said(history[-1], *(threshold(one, history[-1].clusters) for one in (error, within_error)))


def kept(rule: Rule, beyond: float, within: float) -> Rule:
    """What a rule once let stand, as long as every look since has said it by easier thresholds: it is ever wrong no more often."""

    def longer(history: Sequence[Look]) -> str:
        verdict = said(history[-1], beyond, within)
        for k in range(len(history), 0, -1):
            if said(history[k - 1], beyond, within) != verdict:
                break
            if verdict and rule(history[:k]) == verdict:
                return verdict
        return ""

    return longer


RULES: dict[str, Rule] = {
    f"as it is, {BEYOND:g}/{WITHIN:g}": bare(BEYOND, WITHIN),
    "as it is, .95/.95": bare(0.95, 0.95),
    "as it is, .975/.95": bare(0.975, 0.95),
    "as it is, .99/.975": bare(0.99, 0.975),
    "as it is, .99/.99": bare(0.99, 0.99),
    "as it is, .995/.99": bare(0.995, 0.99),
    "held with 1 cluster more, .95/.90": held(1, 0.95, 0.90),
    "held with 1 cluster more, .975/.95": held(1, 0.975, 0.95),
    "held with 1 cluster more, .99/.975": held(1, 0.99, 0.975),
    "held with 2 clusters more, .975/.975": held(2, 0.975, 0.975),
    "held with 2 clusters more, .98/.975": held(2, 0.98, 0.975),
    "held with 2 clusters more, .99/.99": held(2, 0.99, 0.99),
    "held with 3 clusters more, .975/.975": held(3, 0.975, 0.975),
    "held with 1 cluster more, .985/.975, then kept while .95/.90": kept(held(1, 0.985, 0.975), 0.95, 0.90),
    "held with 2 clusters more, .975/.95, then kept while .90/.90": kept(held(2, 0.975, 0.95), 0.90, 0.90),
    "held with 2 clusters more, .98/.975, then kept while .95/.90": kept(held(2, 0.98, 0.975), 0.95, 0.90),
    "held with 2 clusters more, .98/.975, then kept while .90/.90": kept(held(2, 0.98, 0.975), 0.90, 0.90),
    "made anew when clusters have grown by half, .975/.975": stepwise(1.5, 0.975, 0.975),
    "made anew when clusters have grown by half, .985/.985": stepwise(1.5, 0.985, 0.985),
    "made anew when clusters have doubled, .975/.975": stepwise(2.0, 0.975, 0.975),
    "made anew when clusters have doubled, .985/.975": stepwise(2.0, 0.985, 0.975),
    "passed .9925/.99 once, then kept while .95/.90": kept(bare(0.9925, 0.99), 0.95, 0.90),
    "spends .05 by looks": spent(0.05, 0.05),
    "mixture boundary .05": for_ever(0.05, 0.05),
}


def standing(rule: Rule, told: dict) -> list[str]:
    """What stands at each look of a series."""
    history = [Look(*one) for one in told["looks"]]
    return [rule(history[: k + 1]) for k in range(len(history))]


# ---- running -----------------------------------------------------------------------------------------------------------------


def run(
    names: Sequence[str],
    out: Path,
    first: int,
    seeds: int,
    jobs: int = 1,
    until: float = math.inf,
    block: int = 20,
    cluster: str | None = None,
) -> None:
    """Append the line of every seed that is not there yet, row by row in blocks, until a time."""
    out.mkdir(parents=True, exist_ok=True)
    done = {name: {one["seed"] for one in lines(out / f"{name}.jsonl")} for name in names}
    left = iter([(name, seed) for name, seed in turns(names, first, seeds, block) if seed not in done[name]])
    with spread_over(jobs, cluster) as workers:
        while time.time() < until and (batch := list(islice(left, 2 * jobs))):
            for name, found in zip((name for name, _ in batch), workers.map(line, *zip(*batch, strict=True)), strict=True):
                with (out / f"{name}.jsonl").open("a", encoding="utf-8") as file:
                    file.write(json.dumps(found) + "\n")
                print(f"\r{name} seed {found['seed']}   ", end="", file=sys.stderr)


def turns(names: Sequence[str], first: int, seeds: int, block: int) -> Iterator[tuple[str, int]]:
    """Rows in turn, a block of seeds each."""
    for start in range(first, first + seeds, block):
        for name in names:
            for seed in range(start, min(start + block, first + seeds)):
                yield name, seed


def lines(path: Path) -> list[dict]:
    """Lines of one row so far; none where there is no file."""
    return [json.loads(text) for text in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


# ---- summary -----------------------------------------------------------------------------------------------------------------


def answers(found: Sequence[dict], asked: str) -> list[dict]:
    """Answers to one comparison that have an interval."""
    return [one["answers"][asked] for one in found if "low" in one["answers"][asked]]


def covered(told: Sequence[dict]) -> list[bool]:
    """Whether each interval holds the truth."""
    return [one["low"] <= one["truth"] <= one["high"] for one in told]


def ideal_covered(told: Sequence[dict]) -> list[bool]:
    """The same of the ideal's."""
    return [abs(one["ideal"] - one["truth"]) <= one["ideal_half"] for one in told]


def wrong(verdict: str, truth: float) -> bool:
    """Whether a verdict of "better" or "worse" is not so; exactly at the worthwhile ratio is not beyond it."""
    return (verdict == "better" and truth <= EDGE + 1e-9) or (verdict == "worse" and truth >= -EDGE - 1e-9)


def wrongly_same(verdict: str, truth: float) -> bool:
    """Whether "no difference worth having" is not so; exactly at the worthwhile ratio it is not."""
    return verdict == "no difference worth having" and abs(truth) >= EDGE - 1e-9


def widths(told: Sequence[dict]) -> tuple[float, float, float]:
    """Median half-width, the ideal's, and the median of their ratio."""
    own = np.array([(one["high"] - one["low"]) / 2 for one in told])
    best = np.array([one["ideal_half"] for one in told])
    return float(np.median(own)), float(np.median(best)), float(np.median(own / best))


def upper_bound(share: float, n: int) -> float:
    """Upper one-sided 99 % limit of a proportion."""
    return 1 - lower_bound(1 - share, n)


def _kept(right: bool, n: int) -> str:
    return "not claimed" if n < CLAIMED else "kept" if right else "**missed**"


def _percent(held_by: Sequence[bool]) -> str:
    return f"{np.mean(held_by):.3f}" if len(held_by) else "–"


def _bounded(held_by: Sequence[bool]) -> str:
    return f"{np.mean(held_by):.3f} ({lower_bound(float(np.mean(held_by)), len(held_by)):.3f})" if len(held_by) else "–"


COVERAGE_COLUMNS = (
    "pool", "speaks of", "pools", "no answer", "covered (99 % bound)", "", "ideal covers", "wrong better/worse", "", "wrong no difference",
    "half-width", "ideal", "over ideal", "", "points", "k̂ at most", "seconds",
)  # fmt: skip


def _coverage_cells(row: Row, found: Sequence[dict]) -> list[list[str]]:
    cells = []
    for asked in row.asked:
        told = answers(found, " : ".join(asked))
        if not told:
            continue
        n, held_by = len(told), covered(told)
        bound = lower_bound(float(np.mean(held_by)), n)
        off = [wrong(one["verdict"], one["truth"]) for one in told]
        same = [wrongly_same(one["verdict"], one["truth"]) for one in told]
        own, best, ratio = widths(told)
        judged = any(one["verdict"] for one in told)
        cells.append([
            row.told + (f"; {asked[1]} : {asked[2]}" if len(row.asked) > 1 else ""), "/".join(sorted({one["about"] for one in told})),
            str(len(found)), str(len(found) - n),
            f"{np.mean(held_by):.3f} ({bound:.3f})",
            _kept(bound >= (WANTED if row.scale == 1 else WANTED_SCALED), n), _percent(ideal_covered(told)),
            f"{sum(off)} of {n}" if judged else "no verdict", _kept(np.mean(off) <= MOST_WRONG, n) if judged else "",
            f"{sum(same)} of {n}" if judged else "", f"{own:.2f}", f"{best:.2f}", f"{ratio:.2f}",
            _kept(ratio <= WIDEST, n) if row.design.ends == WHOLE else "",
            f"{np.median([one['points'] for one in found]):.0f}",
            f"{max((one['k'] for one in found if one['k'] is not None), default=math.nan):.2f}",
            f"{np.median([one['seconds'] for one in found]):.2f}",
        ])  # fmt: skip
    return cells


AT_LARGE_COLUMNS = ("pool", "pools", "covered (99 % bound)", "", "half-width")


def _at_large_cells(row: Row, found: Sequence[dict]) -> list[list[str]]:
    """Where the answer is about single blades or sharpeners: what is said of steels and classes themselves."""
    told = [one for asked in row.asked for one in answers(found, " : ".join(asked)) if "general_held" in one]
    if not told:
        return []
    inside = [one["general_held"] for one in told]
    bound = lower_bound(float(np.mean(inside)), len(inside))
    half = float(np.median([one["general_half"] for one in told]))
    return [[row.told, str(len(told)), _bounded(inside), _kept(bound >= WANTED, len(told)), f"{half:.2f}"]]


POWER_COLUMNS = (
    "files",
    "pools",
    "better",
    "ideal",
    "over ideal",
    "",
    *(f"at {level:g}, ideal" for level in (0.90, 0.975, 0.99)),
    "covered (99 % bound)",
)


def _power_cells(row: Row, found: Sequence[dict]) -> list[list[str]]:
    told = answers(found, " : ".join(row.asked[0]))
    if not told:
        return []
    n = len(found)
    own, best = (np.array([one[key] == "better" for one in told]).sum() / n for key in ("verdict", "ideal_verdict"))
    other = [f"{_passing(told, level, n)[0]:.3f}, {_passing(told, level, n)[1]:.3f}" for level in (0.90, 0.975, 0.99)]
    share = own / best if best else math.nan
    return [
        [
            str(row.design.files),
            str(n),
            f"{own:.3f}",
            f"{best:.3f}",
            f"{share:.2f}",
            _kept(share >= LEAST_POWER, n),
            *other,
            _bounded(covered(told)),
        ]
    ]


def _passing(told: Sequence[dict], level: float, n: int) -> tuple[float, float]:
    """Shares of pools whose posterior passes another threshold: the headline's, the ideal's."""
    own = sum(one["better"] >= level for one in told) / n
    z = [(one["ideal"] - EDGE) / (one["ideal_half"] / 1.959963984540054) for one in told]
    return own, sum(0.5 * math.erfc(-one / math.sqrt(2)) >= level for one in z) / n


def looks_table(found: Mapping[str, Sequence[dict]]) -> tuple[list[str], list[list[str]]]:
    """Columns and rows: for each rule, how often it is ever wrong, and how often it is rightly "better" by some looks."""
    rows = [(name, ROWS[name]) for name in ROWS if ROWS[name].goal == "looks" and found.get(name)]
    columns, cells = ["rule"], [[name] for name in RULES]
    for name, row in rows:
        ratio, truth = f"×{row.design.ratio:g}{' round' if row.design.blades else ''}", math.log(row.design.ratio)
        right = "better" if truth > EDGE + 1e-9 else "no difference worth having" if truth < EDGE - 1e-9 else ""
        columns += [f"{ratio}: ever wrong (bound)", *([f"{ratio}: ever wrongly no difference"] if truth >= EDGE - 1e-9 else [])]
        columns += [f"{ratio}: rightly {right} at looks 6, 12, 24"] if right else []
        for rule, line_cells in zip(RULES.values(), cells, strict=True):
            said_at = [standing(rule, one) for one in found[name]]
            ever = float(np.mean([any(wrong(verdict, truth) for verdict in one) for one in said_at]))
            line_cells.append(f"{ever:.3f} ({upper_bound(ever, len(said_at)):.3f})")
            if truth >= EDGE - 1e-9:
                line_cells.append(f"{np.mean([any(wrongly_same(verdict, truth) for verdict in one) for one in said_at]):.3f}")
            if right:
                line_cells.append(", ".join(f"{np.mean([one[k - 1] == right for one in said_at]):.2f}" for k in (6, 12, LOOKS)))
    return columns, cells


HEAD = """# Coverage, wrong verdicts and power of the published headline

Made by `headline_coverage.py`; what was asked, what is drawn and what this shows is in `README.md`. Everything is on the ln scale.
"Ideal" is the same pool with every true standard deviation known, by generalised least squares; of runs known by a limit it sees the
values themselves. "(99 % bound)" is Wilson's one-sided limit. Of fewer than {claimed} pools nothing is claimed.

## Coverage

The true ratio is ×1 unless a row says otherwise, the worthwhile one ×{worthwhile:g}. Kept: the lower bound of the coverage is at least
{wanted}; "better" or "worse" is wrong in at most {wrong} of the pools; the median of half-width over the ideal's is at most {widest}
(not judged where the ideal sees the values behind limits).

{coverage}

Where the answer is about these blades, what is said of the steels themselves:

{at_large}

## Prior scales halved and doubled

The same pools. Kept: the lower bound of the coverage is at least {wanted_scaled}; the other columns as above.

{priors}

## Power

How often the verdict is "better" where the true ratio is ×1.5, everybody has their own blades and a file holds four runs; "ideal" comes
to its verdict by the same thresholds. Kept: at least {power} of the ideal's. "at .90, ideal" and so on: both with another threshold.

{powers}

## Looking every month

A file more each month, every third by somebody met before; {looks} looks. "ever wrong": the share of series in which "better" or "worse"
stands wrongly at any look, with its upper bound, which is to be at most {ever}. At ×{worthwhile:g} exactly, "better" and "no
difference worth having" are both wrong. In "round" 4 blades a steel go from hand to hand.

{series}
"""


def summary(found: Mapping[str, Sequence[dict]]) -> str:
    """The tables, of the rows that have lines."""
    of = {
        goal: [cells for name, row in ROWS.items() if row.goal == goal and found.get(name) for cells in make(row, found[name])]
        for goal, make in (("coverage", _coverage_cells), ("priors", _coverage_cells), ("power", _power_cells))
    }
    at_large = [
        cells for name, row in ROWS.items() if row.goal == "coverage" and found.get(name) for cells in _at_large_cells(row, found[name])
    ]
    return HEAD.format(
        claimed=CLAIMED, worthwhile=WORTHWHILE, wanted=WANTED, wrong=MOST_WRONG, widest=WIDEST, wanted_scaled=WANTED_SCALED,
        power=LEAST_POWER, looks=LOOKS, ever=MOST_EVER_WRONG, coverage=_table(COVERAGE_COLUMNS, of["coverage"]),
        at_large=_table(AT_LARGE_COLUMNS, at_large),
        priors=_table(COVERAGE_COLUMNS, of["priors"]), powers=_table(POWER_COLUMNS, of["power"]), series=_table(*looks_table(found)),
    )  # fmt: skip


def _table(columns: Sequence[str], cells: Sequence[Sequence[str]]) -> str:
    return "\n".join("| " + " | ".join(row) + " |" for row in (columns, ["---"] * len(columns), *cells))


def main() -> None:
    """Parse, run or summarise."""
    parser = argparse.ArgumentParser(description="Coverage, wrong verdicts, power and looks of the published headline")
    parser.add_argument("--out", type=Path, default=Path("build/headline_coverage"))
    parser.add_argument("--rows", nargs="+", choices=tuple(ROWS), default=None, metavar="ROW", help=f"of: {', '.join(ROWS)}")
    parser.add_argument(
        "--goals", nargs="+", choices=("coverage", "priors", "power", "looks"), default=("coverage", "priors", "power", "looks")
    )
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=1, help="processes, or half of what a cluster gets at a time")
    add_cluster(parser)
    parser.add_argument("--minutes", type=float, default=math.inf, help="stop after so many")
    parser.add_argument("--summary", action="store_true", help=f"write {TABLE.name} from the lines so far")
    parser.add_argument("--table", type=Path, default=TABLE, help="where --summary writes")
    arguments = parser.parse_args()
    if arguments.summary:
        arguments.table.write_text(summary({name: lines(arguments.out / f"{name}.jsonl") for name in ROWS}), encoding="utf-8")
        return
    names = arguments.rows or [name for name, row in ROWS.items() if row.goal in arguments.goals]
    until = time.time() + 60 * arguments.minutes
    run(names, arguments.out, arguments.first, arguments.seeds, arguments.jobs, until, cluster=arguments.cluster)


if __name__ == "__main__":
    main()
