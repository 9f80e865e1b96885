"""The glue of this stage: the rows of one submission in, its contrasts out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from edgehold.endpoints.rows import LEFT, RIGHT, EndpointRow
from edgehold.engine.tasks import AWAITED, each
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.estimability import in_basis
from edgehold.numerics.interval import Interval
from edgehold.records.canonical import LoadedProtocol
from edgehold.words import Reason

from .codes import left_out
from .design import ARMS, LABELS, Model, Question, build, cells, questions, questions_left_open
from .least_squares import fit, lack_of_fit
from .own_variance import attempted_own_variance, limits, reading_weights, usable
from .profile import METHOD, CensoredRuns, ProfileLimits, fit_runs, profile_limits, tabulated_profile
from .repeatability import ASSUMED, Key, Repeatability, RepeatabilityTable
from .results import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, LackOfFit, OneSided, SubmissionEstimate, TwoArms
from .verdict import one_sided, verdict, verdict_of

LEVEL = 0.95
POOLED_FACTORS = ("steel", "practice", "level")  # what is compared over submissions; only there can a bound be weighed in


@dataclass(frozen=True, eq=False)
class Answers:
    """The contrasts of one fit.

    Attributes
    ----------
    contrasts : in the order of the questions.
    covariance : over those with an estimate.
    s2, df : run variance behind them.
    method : how.
    lack_of_fit : where it could be tested.
    left_out : what runs share whose effect too few of them allowed to take out, in words.
    """

    contrasts: tuple[Contrast, ...]
    covariance: Array
    s2: float
    df: float
    method: str
    lack_of_fit: LackOfFit | None = None
    left_out: tuple[str, ...] = ()


def estimate_submissions(
    rows: Iterable[EndpointRow], table: RepeatabilityTable, protocols: Mapping[tuple[str, str], LoadedProtocol]
) -> tuple[SubmissionEstimate, ...]:
    """What every submission says about every endpoint.

    Parameters
    ----------
    rows : endpoint rows.
    table : repeatability of every pool and endpoint met.
    protocols : by id and version, as in ``Repository``.

    Returns
    -------
    In the order in which submission and endpoint first appear.
    """
    parts: dict[Key, dict[str, list[EndpointRow]]] = {}
    order = []
    for row in rows:
        part = parts.setdefault((row.pool, row.endpoint), {})
        if row.submission not in part:
            part[row.submission] = []
            order.append((row.pool, row.endpoint, row.submission))
        part[row.submission].append(row)
    jobs = [([*part.values()], table.only(key), _told(part.values(), protocols)) for key, part in parts.items()]
    sizes = [AWAITED + 10 * len(part) for part in parts.values()]
    found = {(one.pool, one.endpoint, one.submission): one for own in each(_estimates, jobs, sizes) for one in own}
    return tuple(found[key] for key in order)


def _told(part: Iterable[list[EndpointRow]], protocols: Mapping[tuple[str, str], LoadedProtocol]) -> dict[str, tuple[str, float]]:
    """The estimand, and the worthwhile ratio of an endpoint, by version of the protocol."""
    told: dict[str, tuple[str, float]] = {}
    for head in (own[0] for own in part):
        if head.version not in told:
            record = protocols[(head.pool.protocol, head.version)].record
            told[head.version] = record.estimand, next(rule.worthwhile_ratio for rule in record.endpoints if rule.id == head.endpoint)
    return told


def _estimates(
    submissions: list[list[EndpointRow]], table: RepeatabilityTable, told: Mapping[str, tuple[str, float]]
) -> list[SubmissionEstimate]:
    """Every submission on one endpoint of one pool."""
    return [_estimate(own, table, *told[own[0].version]) for own in submissions]


def _estimate(rows: list[EndpointRow], table: RepeatabilityTable, estimand: str, worthwhile: float) -> SubmissionEstimate:
    """One submission and endpoint."""
    head, used = rows[0], usable(rows)
    s2_own, df_own, why = attempted_own_variance(rows, estimand)
    own = (s2_own, df_own)
    found = attempt(
        lambda: _answers(rows, used, estimand, table, own, worthwhile),
        lambda why: _left_open(rows, used, table, own, why),
        lambda found: [value for c in found.contrasts for value in _figures(c)],
    )
    return SubmissionEstimate(
        pool=head.pool,
        submission=head.submission,
        version=head.version,
        month=head.month,
        endpoint=head.endpoint,
        role=head.role,
        runs_total=len(rows),
        runs_used=len(used),
        runs_missing=len(rows) - len(used),
        runs_censored=sum(row.status in (LEFT, RIGHT) for row in used),
        testers=tuple(sorted({row.tester for row in used})),
        blades=tuple(sorted({row.blade for row in used})),
        sharpeners=tuple(sorted({row.hand or row.sharpener for row in used})),
        contrasts=found.contrasts,
        covariance=found.covariance,
        s2_own=s2_own,
        df_own=df_own,
        s2=found.s2,
        df=found.df,
        method=f"{found.method}; {Reason('estimates.own_variance', why=why)}" if why else found.method,
        lack_of_fit=found.lack_of_fit,
        left_out=found.left_out,
    )


def _answers(
    rows: list[EndpointRow], used: list[EndpointRow], estimand: str, table: RepeatabilityTable, own: tuple[float, float], worthwhile: float
) -> Answers:
    """Choose the fit: least squares where every used run is exact, the censored likelihood otherwise."""
    key = (rows[0].pool, rows[0].endpoint)
    entry = table.entry(key)
    s2, df = entry.moderate(*own)
    if not used:
        asked = questions(rows, used, None)
        contrasts = tuple(_unanswered(q, used, q.reason) for q in asked)
        return Answers(contrasts, np.zeros((0, 0)), s2, df, Reason("estimates.none"))
    if all(row.low == row.high for row in used):
        return _by_least_squares(rows, used, estimand, entry, s2, df, worthwhile)
    prior = table.entry_without(key, rows[0].submission)
    return _by_likelihood(rows, used, estimand, prior, worthwhile)


def _left_open(rows: list[EndpointRow], used: list[EndpointRow], table: RepeatabilityTable, own: tuple[float, float], why: str) -> Answers:
    """No answers, because the numbers of the fit failed."""
    contrasts = tuple(_unanswered(q, used, q.reason) for q in questions_left_open(rows, used, why))
    return Answers(contrasts, np.zeros((0, 0)), *table.entry((rows[0].pool, rows[0].endpoint)).moderate(*own), why)


def _by_least_squares(
    rows: list[EndpointRow], used: list[EndpointRow], estimand: str, entry: Repeatability, s2: float, df: float, worthwhile: float
) -> Answers:
    y = limits(used)[0]
    model = build(used, estimand)
    sd = reading_weights(used, y, model.design.x, entry.prior_s2)
    if sd is not None:
        model = build(used, estimand, sd)
    fitted = fit(y if sd is None else y / sd, model.design)
    asked = questions(rows, used, model)
    contrasts: list[Contrast] = []
    kept: list[Array] = []
    for question in asked:
        if question.reason or question.weights is None:
            contrasts.append(_unanswered(question, used, question.reason))
            continue
        vector = in_basis(model.design, question.weights)
        kept.append(vector)
        estimate, unscaled = float(vector @ fitted.theta), float(vector @ vector)
        contrasts.append(_answered(question, used, estimate, unscaled, s2, df, worthwhile))
    covariance = s2 * _gram(kept)
    spread = lack_of_fit(y, cells(used, model), fitted) if sd is None else None
    weighting = Reason("estimates.least_squares" if sd is None else "estimates.weighted")
    return Answers(tuple(contrasts), covariance, s2, df, _method(weighting, entry, fitted.df, model, rows), spread, tuple(model.left_out))


def _by_likelihood(rows: list[EndpointRow], used: list[EndpointRow], estimand: str, prior: Repeatability, worthwhile: float) -> Answers:
    model = build(used, estimand)
    runs = fit_runs(*limits(used), model.design.basis, prior.finite_prior_df, prior.prior_s2)
    profiles: dict[bytes, ProfileLimits] = {}
    contrasts: list[Contrast] = []
    kept: list[Array] = []
    for question in questions(rows, used, model):
        if question.reason or question.weights is None:
            contrasts.append(_unanswered(question, used, question.reason))
            continue
        vector = in_basis(model.design, question.weights)
        contrast = _attempted(question, used, vector, runs, profiles, worthwhile)
        contrasts.append(contrast)
        if isinstance(contrast, ContrastEstimated):
            kept.append(vector)
    stacked = np.array(kept).reshape(len(kept), model.design.rank)
    covariance = _rescaled(
        stacked @ runs.fit.covariance @ stacked.T, [c.standard_error for c in contrasts if isinstance(c, ContrastEstimated)]
    )
    replicates = len(used) - model.design.rank
    return Answers(
        tuple(contrasts),
        covariance,
        runs.s2,
        runs.df,
        _method(Reason("estimates.likelihood"), prior, replicates, model, rows),
        left_out=tuple(model.left_out),
    )


def _attempted(
    question: Question,
    used: list[EndpointRow],
    vector: Array,
    runs: CensoredRuns,
    profiles: dict[bytes, ProfileLimits],
    worthwhile: float,
) -> Contrast:
    """A contrast with its likelihood interval, or why its numbers failed."""
    return attempt(
        lambda: _profiled(question, used, vector, runs, _limits(profiles, runs, vector, worthwhile), worthwhile),
        lambda why: _unanswered(question, used, why),
        _figures,
    )


def _figures(contrast: Contrast) -> tuple[float, ...]:
    """The figures of a contrast that are finite wherever it is estimated."""
    return (contrast.estimate, contrast.standard_error) if isinstance(contrast, ContrastEstimated) else ()


def _limits(profiles: dict[bytes, ProfileLimits], runs: CensoredRuns, vector: Array, worthwhile: float) -> ProfileLimits:
    """Profile limits of a contrast; two questions about one contrast share them."""
    if vector.tobytes() not in profiles:
        profiles[vector.tobytes()] = profile_limits(runs, vector, float(np.log(worthwhile)))
    return profiles[vector.tobytes()]


def _gram(kept: list[Array]) -> Array:
    if not kept:
        return np.zeros((0, 0))
    stacked: Array = np.array(kept)
    return stacked @ stacked.T


def _rescaled(covariance: Array, standard_errors: list[float]) -> Array:
    """A covariance with the correlations that it has and the standard errors that are told."""
    if not standard_errors:
        return np.zeros((0, 0))
    covariance = (covariance + covariance.T) / 2  # beside an arm known to one side only, rounding leaves more than the last digits unequal
    scale: Array = np.array(standard_errors) / np.sqrt(np.diag(covariance))
    return covariance * np.outer(scale, scale)


def _method(fitting: str, entry: Repeatability, replicates: int, model: Model, rows: list[EndpointRow]) -> str:
    """The whole of how, in words."""
    parts = [fitting]
    if entry.source == ASSUMED:
        parts.append(Reason("estimates.assumed"))
    elif replicates == 0:
        parts.append(Reason("estimates.no_replicates"))
    if model.left_out:
        parts.append(left_out(model.left_out))
    split = sum(row.split_tester for row in rows)
    if split:
        parts.append(Reason("estimates.one_split" if split == 1 else "estimates.splits", runs=split))
    return "; ".join(parts)


def _arms(question: Question, used: list[EndpointRow]) -> TwoArms:
    """Who is compared, and the runs and blades of both arms."""
    blades = np.array([row.blade for row in used], dtype=object)
    return TwoArms(
        factor=question.factor,
        first=question.first,
        second=question.second,
        sharpener_loading=question.sharpener_loading,
        runs_first=int(question.first_rows.sum()),
        runs_second=int(question.second_rows.sum()),
        blades_first=len(set(blades[question.first_rows])),
        blades_second=len(set(blades[question.second_rows])),
    )


def _unanswered(question: Question, used: list[EndpointRow], reason: str) -> ContrastNotEstimable:
    """A contrast without figures, and why there is no more."""
    return ContrastNotEstimable(**vars(_arms(question, used)), reason=reason)


def _answered(
    question: Question, used: list[EndpointRow], estimate: float, unscaled: float, s2: float, df: float, worthwhile: float
) -> ContrastEstimated:
    """A contrast with its t interval."""
    se = float(np.sqrt(s2 * unscaled))
    half = se * float(t_ppf((1 + LEVEL) / 2, df))
    return ContrastEstimated(
        **vars(_arms(question, used)),
        estimate=estimate,
        standard_error=se,
        df=df,
        interval=Interval(estimate - half, estimate + half, LEVEL, "moderated t"),
        unscaled_variance=unscaled,
        verdict=verdict_of(estimate, se, df, worthwhile),
    )


def _profiled(
    question: Question,
    used: list[EndpointRow],
    vector: Array,
    runs: CensoredRuns,
    limit: ProfileLimits,
    worthwhile: float,
) -> Contrast:
    """A contrast with its likelihood interval, or a bound, or neither."""
    if not np.isfinite(limit.estimate):
        curve = tabulated_profile(runs, vector) if question.factor in POOLED_FACTORS else ()
        return _bounded(question, used, limit, worthwhile, curve)
    variance = float(vector @ runs.fit.covariance @ vector)
    if limit.level_top:  # the variance that a t interval as wide would have
        half = (limit.high - limit.low) / 2
        variance = (half / float(t_ppf((1 + LEVEL) / 2, runs.df))) ** 2 * runs.df / runs.effective_n
    return ContrastEstimated(
        **vars(_arms(question, used)),
        estimate=limit.estimate,
        standard_error=float(np.sqrt(variance * runs.effective_n / runs.df)),
        df=runs.df,
        interval=Interval(limit.low, limit.high, LEVEL, METHOD),
        unscaled_variance=variance / runs.fit.sigma**2,
        verdict=verdict(limit.low, limit.high, limit.inside, worthwhile),
    )


def _bounded(
    question: Question, used: list[EndpointRow], limit: ProfileLimits, worthwhile: float, profile: tuple[tuple[float, float], ...]
) -> Contrast:
    """What is left where the likelihood never falls on one side, or on both."""
    arms = _censored_arms(question, used)
    if np.isfinite(limit.low):
        bound = OneSided("at least", limit.low)
    elif np.isfinite(limit.high):
        bound = OneSided("at most", limit.high)
    else:
        return _unanswered(question, used, Reason("contrasts.no_bound", arms=arms))
    return ContrastBounded(
        **vars(_arms(question, used)),
        reason=Reason("contrasts.bound", arms=arms),
        bound=bound,
        verdict=one_sided(worthwhile),
        profile=profile,
    )


def _censored_arms(question: Question, used: list[EndpointRow]) -> str:
    """Which arms, or which of their blades or sharpeners, have nothing but one-sided runs."""
    one = np.array([row.status in (LEFT, RIGHT) for row in used])
    labels = np.array([LABELS[ARMS[question.factor][0]](row) for row in used])
    sides = ((question.first, question.first_rows), (question.second, question.second_rows))
    names = [name for name, rows in sides if one[rows].all()]
    if not names:
        names = [name for _, rows in sides for name in sorted(set(labels[rows])) if one[rows & (labels == name)].all()]
    return Reason("contrasts.arms_censored", names=" and of ".join(names)) if names else Reason("contrasts.many_censored")
