"""From readings of runs to two steels along the whole course of work, pair by pair.

The arithmetic is in ``curve_contrast``; this module gathers its arrays. Compared are runs of one submission that the same
person sharpened and the same person tested: what these share is taken out as a block. The bands know how runs differ, not how
submissions differ; for that there are the pooled comparisons at single endpoints.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from aggregator.endpoints.rows import CurvePoint, EndpointRow
from aggregator.numerics.attempt import attempt
from aggregator.numerics.estimability import prepare
from aggregator.records.canonical import PoolKey

from .curve_contrast import CurveContrast, MeanCurves, curve_contrast, run_design
from .curves import starting_keenness
from .incomplete_runs import mean_curves_of_incomplete_runs, why_too_few

DRAWS = 2000  # for each pair; limits then move by about a twentieth of a standard error from one seed to another
BETWEEN = 4  # places between neighbouring checkpoints
LEAST_CHECKPOINTS = 2


@dataclass(frozen=True, eq=False)
class CurvePair:
    """Two steels along the whole course of work, in one pool.

    Attributes
    ----------
    pool, first, second : what is compared.
    submissions, runs_first, runs_second, blades_first, blades_second : how much stands behind it.
    ended_early : runs among them without a reading at the last checkpoint compared.
    left_out : checkpoints of the protocol that could not be used.
    reference : the pool's mean keenness at 0, that sharpness is shown relative to.
    contrast : both views, or the reason why there are none.
    """

    pool: PoolKey
    first: str
    second: str
    submissions: int
    runs_first: int
    runs_second: int
    blades_first: int
    blades_second: int
    ended_early: int
    left_out: tuple[float, ...]
    reference: float
    contrast: CurveContrast


@dataclass(frozen=True, eq=False)
class _Run:
    """One run: its steel, blade, submission, block, and keenness by work (nan where off the scale)."""

    steel: str
    blade: str
    submission: str
    block: str
    keenness: dict[float, float]


def curve_pairs(
    points: Iterable[CurvePoint], rows: Iterable[EndpointRow], checkpoints: dict[PoolKey, tuple[float, ...]], *, draws: int = DRAWS
) -> tuple[CurvePair, ...]:
    """Every pair of steels that some submission holds both of, by pool and name.

    Parameters
    ----------
    points : readings of runs; pass/fail readings have none.
    rows : endpoint rows, for the runs that two testers shared, which are left out.
    checkpoints : the protocol's checkpoints by pool.
    draws : how many, for each pair.
    """
    points = tuple(points)
    shared = {(row.pool, row.submission, row.run) for row in rows if row.split_tester}
    references = starting_keenness(points)
    runs = _runs(point for point in points if point.steel is not None and (point.pool, point.submission, point.run) not in shared)
    return tuple(
        _pair(pool, pair, runs[pool], checkpoints[pool], references.get(pool, 0.0), draws)
        for pool in sorted(runs)
        for pair in _pairs(runs[pool])
    )


def _runs(points: Iterable[CurvePoint]) -> dict[PoolKey, list[_Run]]:
    found: dict[PoolKey, dict[tuple[str, str], _Run]] = {}
    for p in points:
        block = f"{p.submission}\n{p.sharpener}\n{p.tester}"
        run = found.setdefault(p.pool, {}).setdefault((p.submission, p.run), _Run(p.steel, p.blade, p.submission, block, {}))
        run.keenness[p.work] = p.keenness if p.limit is None else np.nan
    return {pool: [own[key] for key in sorted(own)] for pool, own in found.items()}


def _pairs(runs: list[_Run]) -> list[tuple[str, str]]:
    """Pairs of steels that stand in one submission."""
    steels: dict[str, set[str]] = {}
    for run in runs:
        steels.setdefault(run.submission, set()).add(run.steel)
    return sorted({pair for own in steels.values() for pair in combinations(sorted(own), 2)})


def _pair(pool: PoolKey, pair: tuple[str, str], runs: list[_Run], checkpoints, reference: float, draws: int) -> CurvePair:
    chosen = [run for run in runs if run.steel in pair]
    blocks = {steel: {run.block for run in chosen if run.steel == steel} for steel in pair}
    chosen = [run for run in chosen if run.block in blocks[pair[0]] & blocks[pair[1]]]
    work, keenness, curves = attempt(
        lambda: _mean_curves(chosen, pair, checkpoints),
        lambda why: ((), np.zeros((0, 0)), why),
        lambda found: () if isinstance(found[2], str) else (found[2].first, found[2].second, np.sqrt(np.diag(found[2].covariance))),
    )
    side = {steel: [run for run in chosen if run.steel == steel] for steel in pair}
    return CurvePair(
        pool,
        *pair,
        submissions=len({run.submission for run in chosen}),
        runs_first=len(side[pair[0]]),
        runs_second=len(side[pair[1]]),
        blades_first=len({run.blade for run in side[pair[0]]}),
        blades_second=len({run.blade for run in side[pair[1]]}),
        ended_early=int(np.isnan(keenness[:, -1]).sum()) if keenness.size else 0,
        left_out=tuple(w for w in checkpoints if w not in work),
        reference=reference,
        contrast=attempt(
            lambda: curve_contrast(work, curves, draws=draws, between=BETWEEN),
            lambda why: curve_contrast(work, why),
            lambda found: () if found.same_work is None else (found.same_work.ln_ratio, found.same_work.low, found.same_work.high),
        ),
    )


def _mean_curves(runs: list[_Run], pair, checkpoints) -> tuple[tuple[float, ...], np.ndarray, MeanCurves | str]:
    """Checkpoints used, keenness there, and the mean curves or why there are none."""
    nothing = ((), np.zeros((0, 0)))
    if not runs:
        return *nothing, "no submission holds both as sharpened by the same person and tested by the same person"
    work = tuple(w for w in checkpoints if not any(np.isnan(run.keenness.get(w, 0.0)) for run in runs))
    keenness = np.array([[run.keenness.get(w, np.nan) for w in work] for run in runs]).reshape(len(runs), len(work))
    arms, blocks = [run.steel for run in runs], [run.block for run in runs]
    design = prepare(run_design(np.array(arms), np.unique(blocks, return_inverse=True)[1], *pair)[0])
    kept = _checkpoints_held(keenness, design)
    work, keenness = tuple(w for w, there in zip(work, kept, strict=True) if there), keenness[:, kept]
    if len(work) < LEAST_CHECKPOINTS or not any(work):
        return *nothing, "their readings have too few checkpoints in common"
    return work, keenness, mean_curves_of_incomplete_runs(keenness, arms, blocks, first=pair[0], second=pair[1])


def _checkpoints_held(keenness: np.ndarray, design) -> np.ndarray:
    """(c,) which checkpoints can be used: all, less the last ones that too few runs reach; else those that every run reaches."""
    kept = (~np.isnan(keenness)).any(axis=0)
    while kept.any() and np.isnan(keenness[:, kept]).any():
        if not why_too_few(keenness[:, kept], design):
            return kept
        missing = np.isnan(keenness).sum(axis=0) * kept
        kept = kept & (np.arange(len(kept)) != len(kept) - 1 - int(np.argmax(missing[::-1])))
    return kept
