"""From rows of runs and their readings to the one answer on every comparison, and the steels' curves, of every pool.

A pool whose readings stand on a scale has one joint model of all of them (``curves.joint``): levels, windows, losses, curves and their
pairs are read off its posterior. A life, a pool of passes and fails, and a pool whose joint model has no numbers are answered from the
values of one endpoint (``headline``). This module only gathers rows, labels and priors.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, TypeVar

import numpy as np

from edgehold.endpoints.references import Beside
from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.engine.tasks import each
from edgehold.estimates.design import ARMS
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.answer import Compared
from edgehold.pooling.bounded import Weighed
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.curves.curves import CurvesAsked, PoolCurves, ReadPool, curves_asked, curves_of, of_one_tester, read_pool
from edgehold.pooling.curves.joint import JointModel, Quantity, interpolation, window
from edgehold.pooling.curves.shown import ShownByReferences, shown_by_references
from edgehold.pooling.families import Families
from edgehold.pooling.headline import (
    OF_SPREADS,
    SCALES,
    Headline,
    HeadlineNotFitted,
    Questions,
    headline_of,
    questions,
    unanswered,
    why_none,
)
from edgehold.pooling.hierarchical import HierarchicalFit, NoPosterior, Posterior, PosteriorConvergence, numbers_of
from edgehold.pooling.left_out import Whose
from edgehold.pooling.run_labels import all_labels
from edgehold.pooling.separability import EVERYTHING, Separability
from edgehold.pooling.spread_priors import scaled
from edgehold.pooling.what_matters import WhatMatters, what_matters
from edgehold.records.canonical import PoolKey
from edgehold.records.linkage import Linkage
from edgehold.records.model.protocol import EndpointRule
from edgehold.words import arguments_of, code_of

from .all_families import families_of
from .all_runs import with_values
from .references import references_of
from .weighing import mixed_pools, weigh

Key = tuple[PoolKey, str]
Placed = TypeVar("Placed", EndpointRow, CurvePoint)
LEAST_CHECKPOINTS = 2  # of a protocol, for curves
NOTHING_BESIDE = Beside()


@dataclass(frozen=True)
class Asked:
    """What a protocol tells of one endpoint.

    Attributes
    ----------
    rule : the endpoint.
    priors : of the spreads of its values.
    """

    rule: EndpointRule
    priors: Mapping[str, HalfT]


@dataclass(frozen=True)
class AskedOfPool:
    """What a protocol tells of its readings.

    Attributes
    ----------
    checkpoints : amounts of work.
    priors : of the spreads of a level.
    lower_is_keener : to which side a reading off the scale lies.
    """

    checkpoints: tuple[float, ...]
    priors: Mapping[str, HalfT]
    lower_is_keener: bool


@dataclass(frozen=True, eq=False)
class Answered:
    """All that the runs of one endpoint of one pool answer.

    Attributes
    ----------
    pool, endpoint : whose runs.
    left_out : runs without a value, or shared by two testers.
    submissions : submissions in the model.
    readings : how many the joint model holds that this is read off; None where it comes from the values of this endpoint alone.
    headline : every comparison.
    matters : how much steels, people and blades differ.
    direct : by (factor, first, second), the submissions that hold both, and the people who tested either.
    weighed : by the same, what linked evidence says alone and how much the rest counts; empty where nobody asked whose evidence it is.
    linked_reason : why the model of linked evidence alone has no figures; empty where it has, or is not needed.
    families : families of steels held against each other; None where nobody asked, or the steels have no posterior.
    """

    pool: PoolKey
    endpoint: str
    left_out: int
    submissions: int
    readings: int | None
    headline: Headline
    matters: WhatMatters
    direct: Mapping[Compared, tuple[int, int]]
    weighed: Mapping[Compared, Weighed] = field(default_factory=dict)
    linked_reason: str = ""
    families: Families | None = None


@dataclass(frozen=True, eq=False)
class SpreadPoints:
    """The posterior of the standard deviations of one model, from which its answers are a mixture.

    Attributes
    ----------
    names : (K,) the standard deviations.
    mode : (K,) at the mode of their posterior.
    sds, weights : (S, K) and (S,) the weighted points.
    rows : rows of the model.
    convergence : record of the computation.
    """

    names: tuple[str, ...]
    mode: Array
    sds: Array
    weights: Array
    rows: int
    convergence: PosteriorConvergence

    @property
    def normal(self) -> bool:
        """Whether the posterior was taken as normal about its mode, its points having equal weights."""
        return bool(np.isnan(self.convergence.pareto_k))


@dataclass(frozen=True, eq=False)
class AllAnswers:
    """Answers by pool and endpoint, the curves of all pools, what references show by pool, and the posterior of the standard deviations of
    every model by pool and endpoint, of a joint model with no endpoint (``""``); and what linked evidence alone answers by pool and
    endpoint, where a pool has other evidence and two linked senders.
    """

    answers: Mapping[Key, Answered]
    curves: PoolCurves
    references: Mapping[PoolKey, ShownByReferences] = field(default_factory=dict)
    spreads: Mapping[Key, SpreadPoints] = field(default_factory=dict)
    linked: Mapping[Key, Answered] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Values:
    """The runs of one endpoint that have a value."""

    key: Key
    rows: list[EndpointRow]
    left_out: int
    asked: Asked
    whose: Whose | None
    family_of: Mapping[str, str] | None

    @property
    def judged(self) -> tuple[str, ...]:
        """Of what separability is asked: of everything on the primary endpoint, for whose pool it is published."""
        return EVERYTHING if self.asked.rule.primary else OF_SPREADS


def all_answers(
    rows: Iterable[EndpointRow],
    points: Iterable[CurvePoint],
    endpoints: Mapping[Key, Asked],
    pools: Mapping[PoolKey, AskedOfPool],
    beside: Beside = NOTHING_BESIDE,
    sensitivity: bool = True,
    origins: Linkage | None = None,
    family_of: Mapping[str, str] | None = None,
) -> AllAnswers:
    """Every comparison of every pool and endpoint of which some run has a value, in their order, and every curve.

    Parameters
    ----------
    rows, points : endpoint rows and readings of all submissions.
    endpoints, pools : what the protocols tell, by pool and endpoint, and by pool.
    beside : reference edges and known weights of all submissions.
    sensitivity : whether intervals with the priors' scales halved and doubled are wanted, too.
    origins : whose results are linked with other people's. With it the answers keep within the bounds of ``bounded``, and where two linked
        senders or more stand in a pool, its curves, its families and how much things differ in it are of linked evidence alone.
    family_of : family of every known steel. With it families are held against each other, and what nothing else is read off is let go:
        coefficients at every point of a posterior, and the joint posterior of the spread between steels.
    """
    rows = tuple(rows)
    points = of_one_tester(points, rows)
    asked = (endpoints, pools, beside, sensitivity, origins, family_of)
    mixed, led = (set(), set()) if origins is None else mixed_pools(rows, origins)
    jobs = _jobs(rows, points, *asked, no_curves=led)
    alone = [] if origins is None else _jobs(_linked(rows, mixed, origins), _linked(points, mixed, origins), *asked, no_curves=mixed - led)
    found = each(_one, [job for job, _ in (*jobs, *alone)], [size for _, size in (*jobs, *alone)])
    whole, linked = found[: len(jobs)], _by_key(found[len(jobs) :])
    answers = _by_key(whole)
    if origins is not None:
        of_key = {key: own for key, own, _ in with_values(rows)}
        answers = {key: _weighed(one, linked.get(key), of_key[key], origins, endpoints[key]) for key, one in answers.items()}
    leading = {key: one for key, one in linked.items() if key[0] in led}
    answers |= {key: replace(answers[key], matters=one.matters, families=one.families) for key, one in leading.items()}
    drawn = sorted((part.curves for part in found), key=lambda one: [curve.pool for curve in one.curves[:1]])
    curves = PoolCurves(tuple(c for one in drawn for c in one.curves), tuple(p for one in drawn for p in one.pairs))
    shown = {pool: one for part in whole for pool, one in part.references.items()}
    spreads = {key: one for part in whole for key, one in part.spreads.items()}
    return AllAnswers(
        {key: answers[key] for key in sorted(answers)}, curves, shown, {key: spreads[key] for key in sorted(spreads)}, leading
    )


Job = tuple[Callable[..., AllAnswers], tuple[Any, ...]]


def _jobs(
    rows: tuple[EndpointRow, ...],
    points: Sequence[CurvePoint],
    endpoints: Mapping[Key, Asked],
    pools: Mapping[PoolKey, AskedOfPool],
    beside: Beside,
    sensitivity: bool,
    origins: Linkage | None,
    family_of: Mapping[str, str] | None,
    no_curves: Collection[PoolKey],
) -> list[tuple[Job, float]]:
    """A pool's joint model, with its curves or without, or one endpoint's by itself, and how much work each is."""
    values = [
        _Values(key, own, left_out, endpoints[key], _whose(own, origins), _families(own, family_of))
        for key, own, left_out in with_values(rows)
    ]
    joint = {point.pool for point in points if len(pools[point.pool].checkpoints) >= LEAST_CHECKPOINTS}
    read_off = [one for one in values if one.key[0] in joint and _within(one.asked.rule, pools[one.key[0]].checkpoints)]
    alone = [one for one in values if one not in read_off]
    jobs: list[tuple[Job, float]] = []
    for pool in sorted(joint):
        own = tuple(point for point in points if point.pool == pool)
        of_pool = [one for one in read_off if one.key[0] == pool]
        own_rows, own_beside = [row for row in rows if row.pool == pool], beside.of_pool(pool)
        arguments = (own, own_rows, pools[pool], of_pool, own_beside, sensitivity, pool not in no_curves)
        jobs.append(((_joint, arguments), 2000 + 6 * len(own)))
    return [*jobs, *(((_alone, (one, sensitivity)), 2000 + 100 * len(one.rows)) for one in alone)]


def _whose(rows: list[EndpointRow], origins: Linkage | None) -> Whose | None:
    """Where the submissions of some runs come from."""
    if origins is None:
        return None
    return Whose({row.submission: origins.senders[row.submission] for row in rows}, {row.submission: row.month for row in rows})


def _families(rows: list[EndpointRow], family_of: Mapping[str, str] | None) -> dict[str, str] | None:
    """The families of the steels of some runs."""
    return None if family_of is None else {name: family_of[name] for row in rows if (name := row.steel) is not None and name in family_of}


def _by_key(found: Iterable[AllAnswers]) -> dict[Key, Answered]:
    return {(one.pool, one.endpoint): one for part in found for one in part.answers.values()}


def _weighed(one: Answered, linked: Answered | None, rows: list[EndpointRow], origins: Linkage, asked: Asked) -> Answered:
    headline, weighed = weigh(one.headline, linked.headline if linked else None, rows, origins, asked.rule.worthwhile_ratio)
    return replace(one, headline=headline, weighed=weighed, linked_reason=why_none(linked.headline) if linked else "")


def _linked(part: Iterable[Placed], pools: set[PoolKey], origins: Linkage) -> tuple[Placed, ...]:
    """Those of linked submissions, in some pools."""
    return tuple(one for one in part if one.pool in pools and one.submission in origins.linked)


def judged(answers: Mapping[Key, Answered], primary: Mapping[PoolKey, str]) -> dict[PoolKey, Separability | NotFitted]:
    """What the runs of every pool can tell apart, judged once, by the answers on its primary endpoint; the reason where numbers failed."""
    found = {pool: answers[(pool, endpoint)].headline for pool, endpoint in sorted(primary.items()) if (pool, endpoint) in answers}
    return {pool: one.apart or NotFitted(code_of(why_none(one)), **arguments_of(why_none(one))) for pool, one in found.items()}


def _one(job: Callable[..., AllAnswers], arguments: tuple[Any, ...]) -> AllAnswers:
    return job(*arguments)


def _within(rule: EndpointRule, checkpoints: Sequence[float]) -> bool:
    """Whether an endpoint is a straight-line quantity of a curve that the checkpoints span."""
    return rule.kind != "life" and all(min(checkpoints) <= work <= max(checkpoints) for work in _places(rule))


# ---- one endpoint ------------------------------------------------------------------------------------------------------------


def _alone(values: _Values, sensitivity: bool) -> AllAnswers:
    """The answers of one endpoint from its own values."""
    runs = checked_runs([row.low for row in values.rows], [row.high for row in values.rows], all_labels(values.rows))
    worthwhile, priors = values.asked.rule.worthwhile_ratio, values.asked.priors
    found = attempt(
        lambda: headline_of(runs, worthwhile, priors, sensitivity=sensitivity, whose=values.whose, judged=values.judged),
        lambda why: unanswered(why, runs),
        lambda one: numbers_of(one.fit),
    )
    return AllAnswers({values.key: _answered(values, found, None)}, PoolCurves((), ()), spreads=_spread_points(values.key, found.fit))


def _spread_points(key: Key, fit: HierarchicalFit) -> dict[Key, SpreadPoints]:
    """Those of one model; none where it was not fitted."""
    if isinstance(fit, NoPosterior) or fit.mode is None:
        return {}
    return {key: SpreadPoints(fit.names, fit.mode, fit.sds, fit.weights, fit.rows, fit.convergence)}


def _answered(values: _Values, found: Headline, readings: int | None) -> Answered:
    direct = {one.compared: _direct(values.rows, *one.compared) for one in found.answers}
    submissions = len({row.submission for row in values.rows})
    answered = Answered(*values.key, values.left_out, submissions, readings, found, what_matters(found), direct)
    if values.family_of is None:
        return answered
    families = families_of(found, values.family_of, values.asked.rule.worthwhile_ratio)
    return replace(answered, headline=_read(found), families=families)


def _read(found: Headline) -> Headline:
    """The same without what was there to be read off, most of what a posterior takes."""
    if isinstance(found, HeadlineNotFitted):
        return found
    none = np.zeros((len(found.fit.weights), 0))
    fit = replace(found.fit, coefficients=none, covariances=none[:, :, None], target_means=none, target_variances=none)
    return replace(found, fit=fit, steels=None)


def _direct(rows: list[EndpointRow], factor: str, first: str, second: str) -> tuple[int, int]:
    """Submissions that hold both sides, and people who tested either."""
    sides: dict[str, set[str]] = defaultdict(set)
    testers = set()
    for row in rows:
        side = ARMS[factor][1](row)
        if side in (first, second):
            sides[row.submission].add(side)
            testers.add(row.tester)
    return sum(len(met) == 2 for met in sides.values()), len(testers)


# ---- all readings of a pool --------------------------------------------------------------------------------------------------


def _joint(
    points: Sequence[CurvePoint],
    rows: list[EndpointRow],
    pool: AskedOfPool,
    endpoints: list[_Values],
    beside: Beside,
    sensitivity: bool,
    with_curves: bool,
) -> AllAnswers:
    """The answers that are read off all readings of a pool, and its curves if wanted; from values where the joint model has no numbers."""

    def fitted() -> _Joint | str:
        read = read_pool(points, rows, pool.checkpoints, pool.lower_is_keener)
        curves = curves_asked(read, pool.checkpoints, pool.priors, references_of(read.keys, rows, beside))
        asked = [_asked(one, read, curves.model) for one in endpoints]
        return _Joint(curves, asked, curves.model.fitted(_open(asked), curves.cells_of))

    def read_off(joint: _Joint, fit: Posterior) -> AllAnswers | str:
        model = joint.curves.model
        scales = _beside(model, _open(joint.asked), fit) if sensitivity else {}
        shown = shown_by_references(model, fit)
        told = {} if shown is None else {points[0].pool: shown}
        return AllAnswers(
            _read_off(endpoints, joint.asked, model, fit, scales),
            curves_of(points, pool.checkpoints, joint.curves, fit) if with_curves else PoolCurves((), ()),
            told,
            _spread_points((points[0].pool, ""), fit),
        )

    joint: _Joint | str = attempt(fitted, lambda why: why, lambda one: [] if isinstance(one, str) else numbers_of(one.fit))
    found: AllAnswers | str
    if isinstance(joint, str):
        found = joint
    elif isinstance(joint.fit, NoPosterior):
        found = joint.fit.reason
    else:
        found = attempt(partial(read_off, joint, joint.fit), lambda why: why)
    if isinstance(found, AllAnswers):
        return found
    parts = [_alone(one, sensitivity) for one in endpoints]
    answers = {key: one for part in parts for key, one in part.answers.items()}
    spreads = {key: one for part in parts for key, one in part.spreads.items()}
    shown = None if isinstance(joint, str) else shown_by_references(joint.curves.model, found)
    return AllAnswers(answers, curves_of(points, pool.checkpoints, None, found), {} if shown is None else {points[0].pool: shown}, spreads)


@dataclass(frozen=True, eq=False)
class _Joint:
    """A joint posterior and what was asked of it."""

    curves: CurvesAsked
    asked: list[tuple[Questions | HeadlineNotFitted, Quantity]]
    fit: HierarchicalFit


def _open(asked: list[tuple[Questions | HeadlineNotFitted, Quantity]]) -> list[tuple[Questions, Quantity]]:
    """Those that the labels do not answer by themselves."""
    return [(one, quantity) for one, quantity in asked if isinstance(one, Questions)]


def _asked(values: _Values, read: ReadPool, model: JointModel) -> tuple[Questions | HeadlineNotFitted, Quantity]:
    """What an endpoint asks of its runs, those of them that have a reading."""
    number = {key: i for i, key in enumerate(read.keys)}
    rows = [row for row in values.rows if (row.submission, row.run) in number]
    quantity = model.quantity(_weights(values.asked.rule, model.checkpoints))
    places = np.array([number[(row.submission, row.run)] for row in rows], dtype=int)
    parts = model.parts.chosen(places, lambda c: model.estimable(c, quantity))
    runs = checked_runs([row.low for row in rows], [row.high for row in rows], all_labels(rows))
    return questions(runs, values.asked.rule.worthwhile_ratio, values.asked.priors, parts=parts, judged=values.judged), quantity


def _weights(rule: EndpointRule, checkpoints: Array) -> Array:
    """What a level, window or loss takes of a curve's values at the checkpoints."""
    places = _places(rule)
    if rule.kind == "window":
        return window(checkpoints, *places)
    values = interpolation(checkpoints, places)
    found: Array = values[-1] - values[0] if rule.kind == "loss" else values[0]
    return found


def _places(rule: EndpointRule) -> list[float]:
    """The amounts of work that a level, window or loss is about."""
    return [work for work in (rule.at, rule.start, rule.end) if work is not None]


def _beside(model: JointModel, asked: list[tuple[Questions, Quantity]], fit: Posterior) -> dict[float, HierarchicalFit]:
    """The posterior with the scales of all priors halved and doubled: its points weighted anew, or fitted anew where they lie too far."""
    found: dict[float, HierarchicalFit] = {}
    for factor in SCALES:
        priors = scaled(fit.priors, factor)
        weighted = fit.with_priors(priors)
        found[factor] = weighted if isinstance(weighted, Posterior) else model.fitted(asked, priors=priors)
    return found


def _read_off(
    endpoints: list[_Values],
    asked: list[tuple[Questions | HeadlineNotFitted, Quantity]],
    model: JointModel,
    fit: Posterior,
    beside: Mapping[float, HierarchicalFit],
) -> dict[Key, Answered]:
    """Every endpoint's answers from the joint posterior; each asked for its targets in their order."""
    found, begin = {}, 0
    for values, (question, quantity) in zip(endpoints, asked, strict=True):
        if not isinstance(question, Questions):
            found[values.key] = _answered(values, question, fit.rows)
            continue
        targets = slice(begin, begin + len(question.targets))
        begin = targets.stop
        views = {k: one if isinstance(one, NoPosterior) else model.view(one, quantity, targets) for k, one in beside.items()}
        view = model.view(fit, quantity, targets)
        found[values.key] = _answered(values, question.answered(view, views, values.whose), fit.rows)
    return found
