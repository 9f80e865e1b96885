"""Two steels, or two levels, along the whole course of work, pair by pair, from the joint posterior of a pool's curves.

The curves of a pair are those that are published one by one (``curves``): their ratio at a checkpoint is the difference of the two, and
bands know blades, people, submissions and runs, because the posterior does. The arithmetic of a pair is in ``curve_contrast``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from edgehold.endpoints.rows import CurvePoint
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt
from edgehold.pooling.crossed.runs_design import LEVEL
from edgehold.pooling.spread_priors import STEEL
from edgehold.records.canonical import PoolKey
from edgehold.words import Reason

from .contrast import CurveContrast, DrawnCurves, curve_contrast

BETWEEN = 4  # places between neighbouring checkpoints
LEAST_CHECKPOINTS = 2


@dataclass(frozen=True, eq=False)
class CurvePair:
    """Two steels, or two levels, along the whole course of work, in one pool.

    Attributes
    ----------
    pool, factor, first, second : what is compared; ``factor`` is ``"steel"`` or ``"level"``.
    submissions : submissions that hold both, sharpened by the same person and tested by the same person.
    runs_first, runs_second, blades_first, blades_second : how much of each the curves rest on.
    read_at : checkpoints of the protocol at which both have a mean.
    left_out : its other checkpoints.
    reference : the pool's mean keenness at 0, that sharpness is shown relative to.
    contrast : both views, or the reason why there are none.
    """

    pool: PoolKey
    factor: str
    first: str
    second: str
    submissions: int
    runs_first: int
    runs_second: int
    blades_first: int
    blades_second: int
    read_at: tuple[float, ...]
    left_out: tuple[float, ...]
    reference: float
    contrast: CurveContrast


def curve_pairs(
    points: Sequence[CurvePoint],
    cells: Sequence[tuple[str, float]],
    means: Array,
    draws: Array | str,
    checkpoints: Sequence[float],
    reference: float,
    factor: str = STEEL,
) -> tuple[CurvePair, ...]:
    """Every pair of steels, or of levels, that some submission of a pool holds both of, by name.

    Parameters
    ----------
    points : readings of one pool.
    cells : (p,) steel or level, and checkpoint, of every mean.
    means : (p,) posterior means.
    draws : (m, p) draws from their joint posterior, or the reason why there are none; empty where no checkpoint has a mean.
    checkpoints : the protocol's.
    reference : the pool's mean keenness at 0.
    factor : which of the two is compared.
    """
    at = {steel: {work: i for i, (own, work) in enumerate(cells) if own == steel} for steel, _ in cells}
    return tuple(_pair((factor, pair), points, at, means, draws, checkpoints, reference) for pair in _pairs(points, factor))


def name_of(point: CurvePoint, factor: str) -> str:
    """The steel or level of a reading; empty where it is not known."""
    return (point.level if factor == LEVEL else point.steel) or ""


def names_of(points: Sequence[CurvePoint], factor: str) -> list[str]:
    """Steels by name, or levels in the order in which the protocol declares them."""
    place = {name_of(point, factor): point.level_place if factor == LEVEL else 0 for point in points}
    return sorted((name for name in place if name), key=lambda name: (place[name], name))


def _pairs(points: Sequence[CurvePoint], factor: str) -> list[tuple[str, str]]:
    names: dict[str, set[str]] = {}
    for point in points:
        if name_of(point, factor):
            names.setdefault(point.submission, set()).add(name_of(point, factor))
    met = {frozenset(pair) for own in names.values() for pair in combinations(own, 2)}
    return [pair for pair in combinations(names_of(points, factor), 2) if frozenset(pair) in met]


def _pair(
    which: tuple[str, tuple[str, str]],
    points: Sequence[CurvePoint],
    at: Mapping[str, Mapping[float, int]],
    means: Array,
    draws: Array | str,
    checkpoints: Sequence[float],
    reference: float,
) -> CurvePair:
    factor, pair = which
    own = [[point for point in points if name_of(point, factor) == name] for name in pair]
    hands = [{(p.submission, p.sharpener, p.tester) for p in side} for side in own]
    runs, blades = [len({(p.submission, p.run) for p in side}) for side in own], [len({p.blade for p in side}) for side in own]
    met = hands[0] & hands[1]
    work = [w for w in checkpoints if all(w in at.get(steel, {}) for steel in pair)]
    return CurvePair(
        points[0].pool,
        factor,
        *pair,
        submissions=len({submission for submission, _, _ in met}),
        runs_first=runs[0],
        runs_second=runs[1],
        blades_first=blades[0],
        blades_second=blades[1],
        read_at=tuple(work),
        left_out=tuple(w for w in checkpoints if w not in work),
        reference=reference,
        contrast=attempt(
            lambda: _contrast([[at[steel][w] for w in work] for steel in pair], work, means, draws, bool(met)),
            lambda why: curve_contrast((), why),
            lambda found: () if found.same_work is None else (found.same_work.ln_ratio, found.same_work.low, found.same_work.high),
        ),
    )


def _contrast(columns: list[list[int]], work: list[float], means: Array, draws: Array | str, met: bool) -> CurveContrast:
    if not met:
        return curve_contrast((), Reason("headline.curves_never_met"))
    if isinstance(draws, str) and draws:
        return curve_contrast((), draws)
    if isinstance(draws, str) or len(work) < LEAST_CHECKPOINTS or not any(work):
        return curve_contrast((), Reason("headline.curves_few_checkpoints"))
    first, second = columns
    return curve_contrast(work, DrawnCurves(means[first], means[second], draws[:, columns]), between=BETWEEN)
