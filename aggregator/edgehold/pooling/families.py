"""Families of steels: a further level of the model, above the steels.

In the headline steels are fixed. Here the posterior of their differences goes through a second stage: a steel is the mean of its family
and a deviation of its own, N(0, τ²), with one τ for all families. No answer on two steels is changed by it.

How much steels of one family differ is told by families of which two steels are met. Where there are none, the interval between two
families would be the prior's guess, and none is given; a family of which one steel is met gets an interval, with τ from the others, and no
verdict.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from edgehold.numerics.half_t import HalfT
from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_mixture import NormalMixture
from edgehold.numerics.second_stage import SecondStage
from edgehold.words import Reason

from .headline import HeadlineFitted
from .hierarchical import LEAST_EFFECTIVE, ContrastPosterior, Posterior
from .posterior_verdict import PosteriorVerdict, posterior_verdict
from .spread_priors import IN_FAMILY
from .steel_spread import steel_spread
from .what_matters import HowMuch, how_much_of_steels

ESTIMATED, NOT_ESTIMABLE, NOT_FITTED = "estimated", "not estimable", "not fitted"
FAMILIES, STEELS = "families", "steels"
PLACES = 41  # of τ: with a quarter of them the limits are the same to a thousandth of their half-width


@dataclass(frozen=True, eq=False)
class _TwoFamilies:
    """One family against another, whether that is estimated or not.

    Attributes
    ----------
    first, second : the difference is first minus second, on the ln scale.
    about : ``"families"``, or ``"steels"`` where a single steel stands for one of them.
    steels_first, steels_second : which steels stand for them.
    """

    first: str
    second: str
    about: str
    steels_first: tuple[str, ...]
    steels_second: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class FamiliesNotEstimable(_TwoFamilies):
    """Two families without an answer.

    Attributes
    ----------
    reason : why there is none.
    """

    reason: str


@dataclass(frozen=True, eq=False)
class FamiliesEstimated(_TwoFamilies):
    """Two families with an answer.

    Attributes
    ----------
    posterior : of the families' means.
    another : of one more steel of each, which no run was about.
    verdict : None where a single steel stands for one of them.
    """

    posterior: ContrastPosterior
    another: ContrastPosterior
    verdict: PosteriorVerdict | None


FamilyAnswer = FamiliesEstimated | FamiliesNotEstimable


@dataclass(frozen=True, eq=False)
class Families:
    """What all runs of one endpoint say of families of steels.

    Attributes
    ----------
    state : ``"estimated"``, ``"not estimable"`` or ``"not fitted"``.
    reason : why none is estimated; empty otherwise.
    members : steels by family, of those that are compared with each other.
    apart : steels that are not compared with those.
    prior : of τ; None where there is no fit.
    spread : how much two steels of one family differ; None where that is not estimable.
    pairs : every two families of which a steel was met; empty where none is estimable.
    """

    state: str
    reason: str
    members: Mapping[str, tuple[str, ...]]
    apart: tuple[str, ...]
    prior: HalfT | None
    spread: HowMuch | None
    pairs: tuple[FamilyAnswer, ...]


def unfitted(reason: str) -> Families:
    """No word on families, there being no posterior of the steels."""
    return Families(NOT_FITTED, reason, {}, (), None, None, ())


def families(found: HeadlineFitted, family_of: Mapping[str, str], worthwhile: float) -> Families:
    """Hold families of steels against each other.

    Parameters
    ----------
    found : the headline of the endpoint.
    family_of : family of every known steel.
    worthwhile : smallest ratio worth acting on.
    """
    linked, prior = found.linked, found.prior_in_family
    members: dict[str, tuple[str, ...]] = {}
    for name in linked.names:
        members[family_of[name]] = (*members.get(family_of[name], ()), name)
    members = dict(sorted(members.items()))
    reason = _refused(members)
    if reason:
        return Families(NOT_ESTIMABLE, reason, members, linked.apart, prior, None, ())
    numbers = {family: n for n, family in enumerate(members)}
    groups = np.array([numbers[family_of[name]] for name in linked.names])
    stage = steel_spread(found.fit, linked.contrasts, prior, groups, PLACES)
    points = stage.joint.sum(axis=1)
    if not 1 / float((points**2).sum()) >= LEAST_EFFECTIVE:
        return unfitted(Reason("families.points_far"))
    spread = how_much_of_steels(IN_FAMILY, stage, found.fit.level, len(linked.names))
    met = sorted({*members, *(family_of[name] for name in linked.apart)})
    pairs = tuple(_pair(stage, found.fit, members, a, b, worthwhile) for a, b in combinations(met, 2))
    return Families(ESTIMATED, "", members, linked.apart, prior, spread, pairs)


def _refused(members: Mapping[str, tuple[str, ...]]) -> str:
    """Why no two families can be held against each other; empty where they can."""
    if not members:
        return Reason("families.no_steel")
    if sum(map(len, members.values())) == 1:
        return Reason("families.none_compared")
    if len(members) == 1:
        return Reason("families.one_family", family=next(iter(members)))
    if max(map(len, members.values())) == 1:
        return Reason("families.one_steel_each")
    return ""


def _pair(
    stage: SecondStage, fit: Posterior, members: Mapping[str, tuple[str, ...]], first: str, second: str, worthwhile: float
) -> FamilyAnswer:
    sides = members.get(first, ()), members.get(second, ())
    about = FAMILIES if min(map(len, sides)) > 1 else STEELS
    if not all(sides):
        return FamiliesNotEstimable(first, second, about, *sides, Reason("families.not_linked"))
    order = list(members)
    posterior, another = (_posterior(one, stage, fit) for one in stage.contrast(order.index(first), order.index(second)))
    verdict = posterior_verdict(posterior, worthwhile) if about == FAMILIES else None
    return FamiliesEstimated(first, second, about, *sides, posterior, another, verdict)


def _posterior(mixture: NormalMixture, stage: SecondStage, fit: Posterior) -> ContrastPosterior:
    few, tail = mixture.merged(), (1 - fit.level) / 2
    low, high = few.quantile(tail), few.quantile(1 - tail)
    sets = fit.sets[stage.kept[0]]
    error = max(mixture.quantile_error(p, at, sets) for p, at in ((tail, low), (1 - tail, high)))
    return ContrastPosterior(few.mean, few.sd, Interval(low, high, fit.level, "posterior"), error, few)
