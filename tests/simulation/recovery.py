"""Recovery: how often the pooled 95 % intervals of the demonstration hold its true ratios, over many seeds.

Every seed redraws everything random about people, blades, batches, coils, evenings, runs and readings; scenes, steels'
mean curves and the novices' gap stay, and with them the true ratios. Each demonstration is written, read back through
every check, and runs through endpoints, repeatability, estimates and pooling. Run from the repository's root::

    PYTHONPATH=. python tests/simulation/recovery.py run --first 1 --seeds 2000 --out build/recovery.jsonl
    PYTHONPATH=. python tests/simulation/recovery.py table build/recovery.jsonl

``run`` appends and skips the seeds that are already there, so it can be stopped and started again.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from unittest import mock

import numpy as np
from monte_carlo import lower_bound
from read_back import read_back

from edgehold.demo import Demonstration, generate
from edgehold.endpoints import curve_points, endpoint_rows
from edgehold.estimates import estimate_submissions, profile, repeatability_table, submissions
from edgehold.pooling.gather.all_answers import all_answers
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool
from edgehold.pooling.pairwise.comparisons import ComparisonNotPooled, PooledComparison, compare
from edgehold.records.canonical import pool_key

WANTED = 0.93  # the least that the lower 99 % Monte-Carlo bound of a coverage may be


def pooled_comparisons(seed: int, factor: str = "") -> tuple[tuple[PooledComparison, ...], dict[tuple, float]]:
    """All comparisons of one seed's demonstration, and the true ln ratios by the same names.

    With a ``factor`` only protocols that ask about it are pooled, of which everything is the same without the others.
    """
    demonstration = generate(seed)
    repository = read_back(demonstration)
    asking = {pool_key(s) for s in repository.submissions if factor in ("", repository.protocol_of(s).record.question.factor)}
    rows = [row for row in endpoint_rows(repository) if row.pool in asking]
    table = repeatability_table(rows, repository.protocols)
    # A submission's own likelihood interval is the slowest part of the path, and a pooled interval uses it only where the
    # likelihood is level at its top. Nor does one use the curve of a bound, which only the sensitivity result weighs in.
    with (
        mock.patch.object(profile._Profile, "limit", limit_where_needed),
        mock.patch.object(submissions, "tabulated_profile", lambda runs, vector: ()),
    ):
        estimates = estimate_submissions(rows, table, repository.protocols)
    worthwhile = {  # for verdicts only; no interval depends on it
        (pool_key(s), rule.id): rule.worthwhile_ratio for s in repository.submissions for rule in repository.protocol_of(s).record.endpoints
    }
    return compare(estimates, rows, table, worthwhile), planted(demonstration)


LIMIT = profile._Profile.limit
SURELY_CURVED = 0.25  # variance of a contrast of lives at most which its likelihood is not level: an interval of ×1.6 or more


def limit_where_needed(self: profile._Profile, side: int, largest: float) -> float:
    """A limit where the curvature of the likelihood may say nothing; none where nothing that is pooled asks for it."""
    vector = self.runs.basis.T @ self.direction * self.length2
    variance = float(vector @ self.runs.fit.covariance @ vector)
    return LIMIT(self, side, largest) if variance > SURELY_CURVED else side * math.inf


def recovered(seed: int, factor: str = "") -> Iterator[dict[str, object]]:
    """One line for each comparison that was pooled; ``factor`` as for ``pooled_comparisons``."""
    comparisons, truths = pooled_comparisons(seed, factor)
    for c in comparisons:
        if isinstance(c, ComparisonNotPooled):
            continue
        names = (c.pool.protocol, c.pool.major, c.endpoint, c.factor, c.first, c.second)
        interval = c.fit.intervals[0]
        yield {
            "seed": seed, "names": names, "true": truths[names], "studies": c.studies, "one_sided": c.one_sided,
            "estimate": float(c.fit.coefficients[0]), "low": float(interval.low), "high": float(interval.high),
        }  # fmt: skip


def published(seed: int, factor: str) -> Iterator[dict[str, object]]:
    """One line for each published answer about a factor, from the hierarchical model of all readings; as ``recovered`` otherwise."""
    demonstration = generate(seed)
    repository = read_back(demonstration)
    asking = {pool_key(s) for s in repository.submissions if repository.protocol_of(s).record.question.factor == factor}
    rows = [row for row in endpoint_rows(repository) if row.pool in asking]
    points = [point for point in curve_points(repository) if point.pool in asking]
    pools = by_pool(repository, asked_of_pool)
    answers = all_answers(rows, points, by_endpoint(repository, asked_of), pools, sensitivity=False).answers
    truths = planted(demonstration)
    for (pool, endpoint), answered in answers.items():
        for answer in answered.headline.answers:
            if answer.factor == factor and answer.general is not None:
                names = (pool.protocol, pool.major, endpoint, factor, answer.first, answer.second)
                interval = answer.general.interval
                yield {
                    "seed": seed, "names": names, "true": truths[names], "studies": answer.units_first, "one_sided": 0,
                    "estimate": float(answer.general.mean), "low": float(interval.low), "high": float(interval.high),
                }  # fmt: skip


def planted(demonstration: Demonstration) -> dict[tuple, float]:
    """The true ln ratios of a demonstration by the names of what is compared, either way round."""
    truths = {}
    for r in demonstration.effects["true_ratios"]:  # levels are compared by name, and planted with the keener first
        place = (r["protocol"], r["major"], r["endpoint"], r["factor"])
        truths |= {(*place, r["first"], r["second"]): r["ln_ratio"], (*place, r["second"], r["first"]): -r["ln_ratio"]}
    return truths


def run(first: int, seeds: int, out: Path, factor: str = "", of: Callable[[int, str], Iterator[dict[str, object]]] = recovered) -> None:
    """Append the lines of each seed that is not there yet."""
    out.parent.mkdir(parents=True, exist_ok=True)
    done = {line["seed"] for line in _lines(out)} if out.exists() else set()
    with out.open("a", encoding="utf-8") as file:
        for seed in range(first, first + seeds):
            if seed not in done:
                file.writelines(json.dumps(line) + "\n" for line in of(seed, factor))
                file.flush()
                print(f"\rseed {seed}", end="", file=sys.stderr)


def _lines(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def table(lines: Iterable[dict]) -> list[str]:
    """Markdown rows: one for each comparison, and one for each protocol MAJOR, endpoint and kind over all its pairs.

    The row over all pairs counts seeds, not intervals, in its bound: intervals of one seed are not independent.
    """
    groups: dict[tuple, list[dict]] = defaultdict(list)
    for line in lines:
        protocol, major, endpoint, factor, first, second = line["names"]
        pair = f"{first.removeprefix('demo-')} : {second.removeprefix('demo-')}"
        groups[(protocol, major, endpoint, factor, pair)].append(line)
        if factor == "steel":
            groups[(protocol, major, endpoint, factor, "all pairs")].append(line)
    head = "| protocol | endpoint | comparison | true ratio | seeds | studies | covered | 99 % bound | bias, ln | width |"
    return [head, "|---|---|---|---|---|---|---|---|---|---|", *(_row(k, groups[k]) for k in sorted(groups))]


def _row(key: tuple, lines: list[dict]) -> str:
    protocol, major, endpoint, _, pair = key
    seeds = len({line["seed"] for line in lines})
    covered = float(np.mean([line["low"] <= line["true"] <= line["high"] for line in lines]))
    truths = {line["true"] for line in lines}
    true = f"{math.exp(truths.pop()):.2f}" if len(truths) == 1 else ""
    bias = np.mean([line["estimate"] - line["true"] for line in lines])
    studies = np.mean([line["studies"] for line in lines])
    half = math.exp(np.median([line["high"] - line["low"] for line in lines]) / 2)
    return (
        f"| {protocol} {major} | {endpoint} | {pair} | {true} | {seeds} | {studies:.1f} | {covered:.3f} "
        f"| {lower_bound(covered, seeds):.3f} | {bias:+.3f} | ×/÷ {half:.2f} |"
    )


def main() -> None:
    """Parse, call, print."""
    parser = argparse.ArgumentParser(description="Recovery of the demonstration's true ratios")
    commands = parser.add_subparsers(dest="command", required=True)
    running = commands.add_parser("run", help="simulate and append")
    running.add_argument("--first", type=int, default=1)
    running.add_argument("--seeds", type=int, default=2000)
    running.add_argument("--out", type=Path, default=Path("build/recovery.jsonl"))
    running.add_argument("--factor", default="", help="only protocols that ask about it, such as level")
    running.add_argument("--published", action="store_true", help="the published answers on it, not the random effects of its studies")
    showing = commands.add_parser("table", help="print the table of runs so far")
    showing.add_argument("lines", type=Path, nargs="+")
    arguments = parser.parse_args()
    if arguments.command == "run":
        run(arguments.first, arguments.seeds, arguments.out, arguments.factor, published if arguments.published else recovered)
    else:
        print("\n".join(table(line for path in arguments.lines for line in _lines(path))))


if __name__ == "__main__":
    main()
