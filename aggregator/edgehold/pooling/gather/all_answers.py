"""From rows of runs to the one answer on every comparison of every pool and endpoint.

The questions are answered in ``headline`` and ``what_matters``; this module only gathers their rows, labels and priors.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from edgehold.endpoints.rows import EndpointRow
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.headline import Headline, headline_of, unanswered
from edgehold.pooling.separability import Separability
from edgehold.pooling.what_matters import WhatMatters, what_matters
from edgehold.records.canonical import PoolKey
from edgehold.words import arguments_of, code_of

from .all_runs import labels_of, with_values
from .in_processes import each

Key = tuple[PoolKey, str]


@dataclass(frozen=True, eq=False)
class Answered:
    """All that the runs of one endpoint of one pool answer.

    Attributes
    ----------
    pool, endpoint : whose runs.
    left_out : runs without a value, or shared by two testers.
    submissions : submissions in the model.
    headline : every comparison.
    matters : how much steels, people and blades differ.
    direct : by (factor, first, second), the submissions that hold both, and the people who tested either.
    """

    pool: PoolKey
    endpoint: str
    left_out: int
    submissions: int
    headline: Headline
    matters: WhatMatters
    direct: Mapping[tuple[str, str, str], tuple[int, int]]


def all_answers(
    rows: Iterable[EndpointRow], worthwhile: Mapping[Key, float], priors: Mapping[Key, Mapping[str, HalfT]], sensitivity: bool = True
) -> dict[Key, Answered]:
    """Every comparison of every pool and endpoint of which some run has a value, in their order.

    Parameters
    ----------
    rows : endpoint rows of all submissions.
    worthwhile : worthwhile ratio by pool and endpoint.
    priors : of the spreads, by pool and endpoint.
    sensitivity : whether intervals with the priors' scales halved and doubled are wanted, too.
    """
    jobs = [(key, runs, left_out, worthwhile[key], priors[key], sensitivity) for key, runs, left_out in with_values(rows)]
    return {(one.pool, one.endpoint): one for one in each(_answered, jobs, [len(rows) for _, rows, *_ in jobs])}


def judged(answers: Mapping[Key, Answered], primary: Mapping[PoolKey, str]) -> dict[PoolKey, Separability | NotFitted]:
    """What the runs of every pool can tell apart, judged once, by the answers on its primary endpoint; the reason where numbers failed."""
    found = {pool: answers[(pool, endpoint)].headline for pool, endpoint in sorted(primary.items()) if (pool, endpoint) in answers}
    return {pool: one.apart or NotFitted(code_of(one.reason), **arguments_of(one.reason)) for pool, one in found.items()}


def _answered(
    key: Key, rows: list[EndpointRow], left_out: int, worthwhile: float, priors: Mapping[str, HalfT], sensitivity: bool
) -> Answered:
    labels = labels_of(rows) | {
        "lot": [row.lot for row in rows],
        "evening": [None if row.evening is None else str(row.evening) for row in rows],
        "pair": [row.pair for row in rows],
    }
    runs = checked_runs([row.low for row in rows], [row.high for row in rows], labels)
    found = attempt(
        lambda: headline_of(runs, worthwhile, priors, sensitivity=sensitivity),
        lambda why: unanswered(why, runs),
        lambda one: one.fit.coefficients,
    )
    asked = [*found.pairs, *([found.practice] if found.practice else [])]
    direct = {(one.factor, one.first, one.second): _direct(rows, one.factor, one.first, one.second) for one in asked}
    return Answered(*key, left_out, len({row.submission for row in rows}), found, what_matters(found), direct)


def _direct(rows: list[EndpointRow], factor: str, first: str, second: str) -> tuple[int, int]:
    """Submissions that hold both sides, and people who tested either."""
    sides: dict[str, set[str]] = defaultdict(set)
    testers = set()
    for row in rows:
        side = row.steel if factor == "steel" else _practice(row.sharpening)
        if side in (first, second):
            sides[row.submission].add(side)
            testers.add(row.tester)
    return sum(len(met) == 2 for met in sides.values()), len(testers)


def _practice(sharpening: str | None) -> str | None:
    return sharpening if sharpening in (None, "novice") else "practised"
