"""What matters more: how much two steels, sharpeners, testers, blades and runs typically differ, all in one figure.

Two draws from N(·, σ²) differ by 0.954σ in the median, and in 95 % of cases by less than 2.77σ.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from edgehold.numerics.arrays import Array
from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_differences import MOST, TYPICAL
from edgehold.numerics.normal_mixture import NormalMixture
from edgehold.numerics.second_stage import SecondStage

from .answer import CLASSES, LEVELS, Answer, Estimated
from .crossed.runs_design import LEVEL, PRACTICE
from .headline import Headline, HeadlineFitted
from .hierarchical import SpreadPosterior, prior_log_sd, weighted_quantile
from .separability import PEOPLE
from .spread_priors import STEEL

DRAWS, SEED = 32, 20261129  # draws of levels at every point, and where they begin
SURE = 0.95  # posterior probability from which one is said to matter more than another
RANKED = (STEEL, LEVEL, PRACTICE, "sharpener", "tester", "blade")  # between which the question is asked


@dataclass(frozen=True)
class HowMuch:
    """How much two of one kind typically differ.

    Attributes
    ----------
    name : ``"steel"``, ``"level"``, ``"practice"``, a random term, or ``"residual"`` for run to run.
    typical : posterior median of the typical difference, ln scale; of practice and of two levels the difference of the two, of more levels
        the median over their pairs.
    interval : of the typical difference.
    most : posterior median of what 95 % of pairs differ by less than; None for practice and levels, of which all pairs are met.
    from_prior : posterior over prior standard deviation of ln σ; None for practice and levels.
    levels : how many were met.
    """

    name: str
    typical: float
    interval: Interval
    most: float | None
    from_prior: float | None
    levels: int


@dataclass(frozen=True)
class Withheld:
    """A random term of which no figure is given, because it would be the prior alone.

    Attributes
    ----------
    name : the random term.
    reason : why.
    levels : how many were met.
    """

    name: str
    reason: str
    levels: int


@dataclass(frozen=True)
class WhatMatters:
    """All of them, and which matters more.

    Attributes
    ----------
    rows : steel, the levels where any are compared, practice, the random terms, run to run.
    more : (larger, smaller, probability) for pairs of ``RANKED`` of which one is the larger with probability of at least ``SURE``.
    asked : how many pairs could be asked about.
    """

    rows: tuple[HowMuch | Withheld, ...]
    more: tuple[tuple[str, str, float], ...]
    asked: int


def what_matters(found: Headline) -> WhatMatters:
    """How much each kind differs, from the posterior behind the headline.

    Parameters
    ----------
    found : fitted or not; without a fit there are no rows.
    """
    if not isinstance(found, HeadlineFitted):
        return WhatMatters((), (), 0)
    rows = [*_steel(found), *_level(found), *_practice(found), *(_term(found, name) for name in found.fit.names)]
    names = [row.name for row in rows if isinstance(row, HowMuch) and row.name in RANKED]
    asked = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :] if {a, b} != {LEVEL, PRACTICE}]  # those two have no common spread
    pairs = [(a, b, _larger(found, a, b)) for a, b in asked]
    sure = [(a, b, p) if p >= SURE else (b, a, 1 - p) for a, b, p in pairs if max(p, 1 - p) >= SURE]
    return WhatMatters(tuple(rows), tuple(sure), len(pairs))


def how_much(name: str, posterior: SpreadPosterior, levels: int) -> HowMuch:
    """How much two of one kind differ, from the posterior of their spread."""
    limits = posterior.interval
    return HowMuch(
        name=name,
        typical=TYPICAL * posterior.quantile(0.5),
        interval=Interval(TYPICAL * limits.low, TYPICAL * limits.high, limits.level, limits.method),
        most=MOST * posterior.quantile(0.5),
        from_prior=posterior.from_prior,
        levels=levels,
    )


def how_much_of_steels(name: str, steels: SecondStage, level: float, levels: int) -> HowMuch:
    """How much two steels differ, from the posterior of a second stage."""
    weights, tail = steels.joint.sum(axis=0), (1 - level) / 2
    logs = np.log(steels.values)
    centre = float(weights @ logs)
    low, middle, high = (weighted_quantile(steels.values, weights, p) for p in (tail, 0.5, 1 - tail))
    spread = float(np.sqrt(weights @ (logs - centre) ** 2)) / prior_log_sd(steels.prior)
    interval = Interval(TYPICAL * low, TYPICAL * high, level, "posterior")
    return HowMuch(name, TYPICAL * middle, interval, MOST * middle, spread, levels)


def _term(found: HeadlineFitted, name: str) -> HowMuch | Withheld:
    levels = found.terms[name].levels if name in found.terms else found.runs
    parts = found.terms[name].parts if name in found.terms else ()
    one_role = len(set(parts) & set(PEOPLE)) == 1  # both roles in one term need no split
    if one_role and found.apart is not None and found.apart.split.verdict == "no":
        return Withheld(name, found.apart.split.reason, levels)
    return how_much(name, found.fit.spread(name), levels)


def _steel(found: HeadlineFitted) -> list[HowMuch]:
    if found.steels is None or found.apart is None:
        return []
    return [how_much_of_steels(STEEL, found.steels, found.fit.level, len(found.apart.contrasts["steel"].levels))]


def _practice(found: HeadlineFitted) -> list[HowMuch]:
    answer = found.practice
    if answer is None or answer.about != CLASSES:
        return []
    return _two(PRACTICE, answer, found, answer.units_first + answer.units_second)


def _level(found: HeadlineFitted) -> list[HowMuch]:
    """Of two levels the difference, of more the median over their pairs; nothing where a pair is of tables alone."""
    told = _levels_told(found)
    if not told or any(one.about != LEVELS for one in told):
        return []
    if len(told) == 1:
        return _two(LEVEL, told[0], found, 2)
    sizes, weights = _of_levels(found)
    tail = (1 - found.fit.level) / 2
    low, middle, high = (weighted_quantile(sizes.ravel(), weights.ravel(), p) for p in (tail, 0.5, 1 - tail))
    return [HowMuch(LEVEL, middle, Interval(low, high, found.fit.level, "posterior"), None, None, len(found.linked_levels.names))]


def _levels_told(found: HeadlineFitted) -> list[Estimated]:
    """Every pair of the largest group of levels of which every two are compared."""
    return [one for one in found.levels if isinstance(one, Estimated) and {one.first, one.second} <= set(found.linked_levels.names)]


def _of_levels(found: HeadlineFitted) -> tuple[Array, Array]:
    """Median difference over all pairs of three or more levels, (S, DRAWS), and its weights.

    A median is no linear function of the levels, so that it is drawn: at every point of the fit from the same standard normals, each with
    its mirror image, whose seed is fixed.
    """
    C, fit = found.linked_levels.contrasts, found.fit
    normals = np.random.default_rng(SEED).standard_normal((DRAWS // 2, len(C)))
    roots = np.linalg.cholesky(C @ fit.covariances @ C.T)
    moved = np.concatenate([normals, -normals]) @ np.swapaxes(roots, 1, 2)  # (S, DRAWS, a − 1)
    others = (fit.coefficients @ C.T)[:, None] + moved
    all_levels = np.concatenate([np.zeros((*others.shape[:2], 1)), others], axis=2)
    first, second = np.triu_indices(all_levels.shape[2], 1)
    sizes: Array = np.median(np.abs(all_levels[..., first] - all_levels[..., second]), axis=2)
    return sizes, np.tile(fit.weights[:, None] / DRAWS, DRAWS)


def _two(name: str, answer: Answer, found: HeadlineFitted, levels: int) -> list[HowMuch]:
    """How much the two of one comparison differ."""
    if not isinstance(answer, Estimated):
        return []
    mixture, tail = answer.posterior.mixture, (1 - found.fit.level) / 2
    farthest = float((np.abs(mixture.means) + 40 * np.sqrt(mixture.variances)).max())
    low, middle, high = (_root(lambda x: mixture.below(x) - mixture.below(-x), p, farthest) for p in (tail, 0.5, 1 - tail))
    interval = Interval(low, high, found.fit.level, "posterior")
    return [HowMuch(name, middle, interval, None, None, levels)]


def _root(share: Callable[[float], float], p: float, farthest: float) -> float:
    return float(brentq(lambda x: share(x) - p, 0.0, farthest))


def _larger(found: HeadlineFitted, a: str, b: str) -> float:
    """Posterior probability that two of ``a`` typically differ by more than two of ``b``."""
    for name, beyond in ((PRACTICE, _practice_beyond), (LEVEL, _levels_beyond)):
        if name in (a, b):
            p = beyond(found, *_typical(found, b if a == name else a))
            return p if a == name else 1 - p
    if STEEL in (a, b):
        size, weights = _typical(found, STEEL)
        own = TYPICAL * found.fit.sds[:, [found.fit.names.index(b if a == STEEL else a)]]
        p = float((weights * (size > own)).sum())
        return p if a == STEEL else 1 - p
    first, second = (found.fit.sds[:, found.fit.names.index(name)] for name in (a, b))
    return float(found.fit.weights @ (first > second))


def _practice_beyond(found: HeadlineFitted, size: Array, weights: Array) -> float:
    """Posterior probability that the classes of sharpeners differ by more than a typical difference with these weights."""
    if not isinstance(found.practice, Estimated):
        raise ValueError("practice is asked of a posterior; there is none")
    return _beyond(found.practice.posterior.mixture, size, weights)


def _levels_beyond(found: HeadlineFitted, size: Array, weights: Array) -> float:
    """The same of the levels."""
    told = _levels_told(found)
    if len(told) == 1:
        return _beyond(told[0].posterior.mixture, size, weights)
    ours, _ = _of_levels(found)
    larger = np.array([(ours > one[:, None]).mean(axis=1) for one in np.broadcast_to(size, weights.shape).T]).T
    return float((weights * larger).sum())


def _beyond(mixture: NormalMixture, size: Array, weights: Array) -> float:
    """Posterior probability that two classes differ by more than a typical difference whose values have these weights."""
    root = np.sqrt(mixture.variances)[:, None]
    beyond = ndtr((-size - mixture.means[:, None]) / root) + ndtr((mixture.means[:, None] - size) / root)
    return float((weights * beyond).sum())


def _typical(found: HeadlineFitted, name: str) -> tuple[Array, Array]:
    """Typical differences, (1 or S, G or 1), and their joint weights with the points, (S, G or 1)."""
    steels = found.steels
    if name == STEEL and steels is not None:
        return TYPICAL * steels.values[None, :], steels.joint
    return TYPICAL * found.fit.sds[:, [found.fit.names.index(name)]], found.fit.weights[:, None]
