"""The glue of this stage: records in, rows and curve points out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

import numpy as np

from edgehold.engine.progress import begun
from edgehold.engine.tasks import each
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import NOT_FINITE, NotFitted, all_tellable, attempt, open_limits
from edgehold.numerics.isotonic import decreasing_fit
from edgehold.records.canonical import CanonicalRun, LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.levels import place_of
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.pairs import pair_label
from edgehold.words import Reason

from .curve import Curve, Value, not_fitted, position
from .flags import DAMAGED, angle_of, flags_of
from .life import Life, Undrawn, bounds, fit_points, settled
from .moderators import Moderators, moderators_of, start_of
from .rows import EXACT, INTERVAL, LEFT, MISSING, RIGHT, CurvePoint, EndpointRow
from .runs import keennesses, reading_variances, run_curve
from .values import endpoint_of, relative_life

Found = TypeVar("Found")
OfPool = tuple[tuple[LoadedSubmission, Protocol], ...]
"""Submissions of one pool, each with its protocol."""
OneRun = tuple[LoadedSubmission, CanonicalRun, Protocol, Curve | NotFitted | None]
Pair = tuple[Life | Undrawn, Life | Undrawn | None]
"""An endpoint of a run, and its life relative to its own start."""
AT_ONCE = 256  # runs whose draws are made together


def endpoint_rows(
    repository: Repository, variances: Mapping[PoolKey, float] | None = None, relative: bool = True
) -> tuple[EndpointRow, ...]:
    """One row for every run and endpoint of every submission; none is left out.

    Parameters
    ----------
    repository : validated records.
    variances : variance of ln x within readings by pool, where another set of records has settled it; None: from these.
    relative : whether lives relative to an edge's own start are wanted, which only a probe asks for.

    Returns
    -------
    In the order of submissions, their runs, and the protocol's endpoints.
    """
    return _in_order(repository, _pool_rows, variances, relative)


def _pool_rows(of_pool: OfPool, s2_read: float, relative: bool) -> list[tuple[EndpointRow, ...]]:
    """The rows of every submission of a pool."""
    curves = [[_attempted_curve(run, protocol, s2_read) for run in submission.runs] for submission, protocol in of_pool]
    usual = _usual_start(curves) if relative else None
    runs = [
        (submission, run, protocol, curve)
        for (submission, protocol), of_submission in zip(of_pool, curves, strict=True)
        for run, curve in zip(submission.runs, of_submission, strict=True)
    ]
    rows: list[list[EndpointRow]] = []
    with begun("progress.rows", [1.0] * len(runs)) as step:
        for start in range(0, len(runs), AT_ONCE):
            part = runs[start : start + AT_ONCE]
            for one, found in zip(part, _attempted_endpoints(part, usual), strict=True):
                rows.append(_run_rows(*one, found))
                step(1.0)
    each_run = iter(rows)
    return [tuple(row for _ in submission.runs for row in next(each_run)) for submission, _ in of_pool]


def _in_order(
    repository: Repository, of: Callable[..., list[tuple[Found, ...]]], variances: Mapping[PoolKey, float] | None, *settings: object
) -> tuple[Found, ...]:
    """What a function of a pool, its variance within readings and ``settings`` finds for every submission, in their order; a pool at a
    time, for each is kept."""
    pools: dict[PoolKey, list[LoadedSubmission]] = defaultdict(list)
    for submission in repository.submissions:
        pools[pool_key(submission)].append(submission)
    spreads = reading_variances(repository) if variances is None else variances
    jobs = [(tuple((one, repository.protocol_of(one).record) for one in group), spreads[pool], *settings) for pool, group in pools.items()]
    found = {pool: iter(each_submission) for pool, each_submission in zip(pools, each(of, jobs, [0] * len(jobs)), strict=True)}
    return tuple(one for submission in repository.submissions for one in next(found[pool_key(submission)]))


def _attempted_curve(run: CanonicalRun, protocol: Protocol, s2_read: float) -> Curve | NotFitted | None:
    """The curve of a run, or why there is none; None where readings pass or fail."""
    if protocol.reading.kind == "pass/fail":
        return None

    def fit() -> Curve | NotFitted:
        return run_curve(run, protocol, s2_read)

    return attempt(
        fit, lambda why: why, lambda found: () if isinstance(found, NotFitted) else open_limits(found.work, found.low, found.high)
    )


def _usual_start(curves: Iterable[Iterable[Curve | NotFitted | None]]) -> float | None:
    """Mean keenness before the first cut, over the runs of a pool in which it was read on the scale; None where it was in none."""
    of_runs = (start_of(None if isinstance(curve, NotFitted) else curve, ())[0] for of_submission in curves for curve in of_submission)
    starts = [start for start in of_runs if start is not None]
    return float(np.mean(starts)) if starts else None


def curve_points(repository: Repository) -> tuple[CurvePoint, ...]:
    """Every reading of every run as a point of its curve; pass/fail readings have no keenness and give none."""
    return _in_order(repository, _pool_points, None)


def _pool_points(of_pool: OfPool, s2_read: float) -> list[tuple[CurvePoint, ...]]:
    """The points of every submission of a pool."""
    return [
        tuple(point for run in submission.runs for point in _run_points(submission, run, protocol, s2_read))
        for submission, protocol in of_pool
    ]


class _About(Moderators):
    """What a row says of its run, whatever the endpoint."""

    angle_deg: float | None
    hand: str | None
    edge_part: str
    pair: str | None
    level: str | None
    level_place: int


def _run_rows(
    submission: LoadedSubmission,
    run: CanonicalRun,
    protocol: Protocol,
    attempted: Curve | NotFitted | None,
    endpoints: list[tuple[Life, float | None]],
) -> list[EndpointRow]:
    """The rows of one run, one an endpoint."""
    curve = None if isinstance(attempted, NotFitted) else attempted
    flags = flags_of(submission, run, protocol, curve)
    start, start_se = start_of(curve, flags)
    about: _About = {
        **moderators_of(submission, run),
        "angle_deg": angle_of(submission, run),
        "hand": run.hand,
        "edge_part": run.edge_part,
        "pair": pair_of(run, protocol),
        "level": run.level,
        "level_place": place_of(protocol, run.level),
    }
    rows = []
    for rule, (found, relative) in zip(protocol.endpoints, endpoints, strict=True):
        itself = rule.kind == "level" and rule.at == 0
        own_start = (None, float("nan")) if itself else (start, start_se)
        rows.append(_row(submission, run, rule, found, _raw(curve, rule), flags, about, own_start, relative))
    return rows


def pair_of(run: CanonicalRun, protocol: Protocol) -> str | None:
    """The label of a run's pair; None where the protocol does not cut edges in turn."""
    return None if protocol.design.side_by_side is None else pair_label(run.id, run.partner)


def _attempted_endpoints(runs: Sequence[OneRun], usual: float | None) -> list[list[tuple[Life, float | None]]]:
    """The endpoints of some runs and their relative lives, or why their numbers failed; ``usual`` is the mean start of their pool.

    The draws of all are made together; where the numbers of one fail, each makes its own.
    """
    undrawn = [[_undrawn(*one, rule, usual) for rule in one[2].endpoints] for one in runs]
    pairs = [pair for of_run in undrawn for pair in of_run]
    found = iter(attempt(lambda: _settled(pairs), lambda _: [_settled_alone(pair) for pair in pairs]))
    return [[next(found) for _ in of_run] for of_run in undrawn]


def _undrawn(
    submission: LoadedSubmission,
    run: CanonicalRun,
    protocol: Protocol,
    curve: Curve | NotFitted | None,
    rule: EndpointRule,
    usual: float | None,
) -> Pair:
    """One endpoint and its relative life before draws, or why its numbers failed."""
    if isinstance(curve, NotFitted):
        return Life(not_fitted(curve)), None
    return attempt(
        lambda: (endpoint_of(submission, run, protocol, rule, curve), relative_life(submission, run, protocol, rule, curve, usual)),
        _not_fitted,
    )


def _settled(pairs: Sequence[Pair]) -> list[tuple[Life, float | None]]:
    """Endpoints and relative lives with their draws."""
    lives = iter(settled([life for pair in pairs for life in pair if life is not None]))
    found = [(next(lives), None if relative is None else next(lives).value) for _, relative in pairs]
    return [_tellable(life, value.low if value is not None and value.low == value.high else None) for life, value in found]


def _settled_alone(pair: Pair) -> tuple[Life, float | None]:
    return attempt(lambda: _settled([pair])[0], _not_fitted)


def _tellable(life: Life, relative: float | None) -> tuple[Life, float | None]:
    """An endpoint, unless its limits are no numbers."""
    fine = bool(life.value.reason) or all_tellable(open_limits(life.value.low, life.value.high))
    return (life, relative) if fine else _not_fitted(NotFitted(NOT_FINITE))


def _not_fitted(why: NotFitted) -> tuple[Life, None]:
    return Life(not_fitted(why)), None


def _raw(curve: Curve | None, rule: EndpointRule) -> float:
    """Arithmetic mean of the repeats for a level read where it is asked."""
    if curve is None or rule.kind != "level" or rule.at is None:
        return float("nan")
    at = position(curve, rule.at)
    return float("nan") if at is None else float(curve.raw[at])


def _status(value: Value) -> str:
    if np.isnan(value.low):
        return MISSING
    if value.low == value.high:
        return EXACT
    if np.isneginf(value.low):
        return LEFT
    return RIGHT if np.isposinf(value.high) else INTERVAL


def _row(
    submission: LoadedSubmission,
    run: CanonicalRun,
    rule: EndpointRule,
    found: Life,
    raw: float,
    flags: tuple[str, ...],
    about: _About,
    start: tuple[float | None, float],
    relative: float | None,
) -> EndpointRow:
    record, value = submission.record, found.value
    status = _status(value)
    return EndpointRow(
        pool=pool_key(submission),
        version=record.protocol.version,
        submission=record.id,
        month=record.month,
        endpoint=rule.id,
        role=rule.role,
        run=run.id,
        order=run.order,
        evening=run.evening,
        blade=run.blade,
        steel=run.steel,
        batch=run.batch,
        sharpener=run.sharpener,
        tester=run.tester,
        lot=run.lot,
        own_sharpening=run.own_sharpening,
        sharpening=run.sharpening,
        split_tester=run.split_tester,
        low=value.low,
        high=value.high,
        status=status,
        reason=value.reason or (Reason(f"endpoints.{status}") if status in (LEFT, RIGHT, INTERVAL) else ""),
        reading_se=value.se if status == EXACT else float("nan"),
        raw=raw if status == EXACT else float("nan"),
        failed_preparation=found.failed_preparation,
        damaged=run.ended == DAMAGED,
        flags=flags,
        **about,
        start=start[0],
        start_se=start[1],
        relative_life=relative,
    )


def _run_points(submission: LoadedSubmission, run: CanonicalRun, protocol: Protocol, s2_read: float) -> Iterator[CurvePoint]:
    """The curve points of one run."""
    curve = _attempted_curve(run, protocol, s2_read)
    if curve is None or isinstance(curve, NotFitted):  # why there is none is said once, in the rows of the run
        return
    _, read = keennesses(run, protocol)
    smoothed = attempt(lambda: _smoothed(curve, protocol), lambda _: np.full(len(read), np.nan))
    for i, k in enumerate(read):
        if np.isnan(k.bound):
            continue
        yield CurvePoint(
            pool=pool_key(submission),
            version=submission.record.protocol.version,
            submission=submission.record.id,
            run=run.id,
            steel=run.steel,
            blade=run.blade,
            sharpener=run.sharpener,
            tester=run.tester,
            work=float(curve.work[i]),
            keenness=k.bound,
            smoothed=float(smoothed[i]),
            se=float(curve.se[i]),
            n=k.n,
            limit=k.limit,
            raw=k.mean,
            level=run.level,
            level_place=place_of(protocol, run.level),
        )


def _smoothed(curve: Curve, protocol: Protocol) -> Array:
    """Monotone fit, from where the protocol's life begins its own; nan before."""
    late = any(r.kind == "life" and r.fit_from == "first positive checkpoint" for r in protocol.endpoints)
    use = fit_points(curve, curve.first if late else 0.0)
    k = bounds(curve)
    use = use[np.isfinite(k[use])]
    smoothed = np.full(len(k), np.nan)
    smoothed[use] = decreasing_fit(k[use], curve.repeats[use].astype(float))
    return smoothed
