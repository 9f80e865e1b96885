"""From rows of runs to one model of all runs for every pool and endpoint.

The questions are answered in ``runs_model`` and beside it; this module only gathers their rows and labels.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from numpy.typing import ArrayLike

from edgehold.endpoints.rows import EndpointRow
from edgehold.engine.tasks import each
from edgehold.numerics.attempt import attempt
from edgehold.pooling.crossed.practice_by_steel import PracticeBySteel, practice_by_steel
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.crossed.runs_model import RunsModel, RunsModelFitted, SteelsEstimated, model_of, unfitted
from edgehold.pooling.crossed.steel_by_level import SteelByLevel, steel_by_level
from edgehold.pooling.crossed.two_roles import TwoRoles, two_roles
from edgehold.pooling.crossed.within_submissions import WithinSubmissions, within_submissions
from edgehold.pooling.run_labels import labels_of
from edgehold.records.canonical import PoolKey


@dataclass(frozen=True, eq=False)
class AllRuns:
    """All runs of one endpoint of one pool.

    Attributes
    ----------
    pool, endpoint : whose runs.
    left_out : runs without a value, or shared by two testers.
    model : of all the others.
    within : pairs of steels within submissions alone.
    practice : pairs of steels in practised and in novices' hands.
    levels : pairs of steels against the sharpener's level; empty but at the primary endpoint, for it takes a fit or two a pair.
    roles : whether who sharpens well also cuts well.
    """

    pool: PoolKey
    endpoint: str
    left_out: int
    model: RunsModel
    within: tuple[WithinSubmissions, ...]
    practice: tuple[PracticeBySteel, ...]
    levels: tuple[SteelByLevel, ...]
    roles: TwoRoles


def all_runs(rows: Iterable[EndpointRow], primary: Mapping[PoolKey, str]) -> dict[tuple[PoolKey, str], AllRuns]:
    """One model for every pool and endpoint of which some run has a value, in their order.

    Parameters
    ----------
    rows : endpoint rows of all submissions.
    primary : the primary endpoint of each pool.
    """
    jobs = [(key, runs, left_out, primary.get(key[0]) == key[1]) for key, runs, left_out in with_values(rows)]
    return {(one.pool, one.endpoint): one for one in each(_one, jobs, [4 * len(runs) for _, runs, *_ in jobs])}


def with_values(rows: Iterable[EndpointRow]) -> list[tuple[tuple[PoolKey, str], list[EndpointRow], int]]:
    """Runs by pool and endpoint, sorted, where some run has a value and one tester; and how many were left out for lack of either."""
    grouped: dict[tuple[PoolKey, str], list[EndpointRow]] = defaultdict(list)
    for row in rows:
        grouped[(row.pool, row.endpoint)].append(row)
    usable = {key: [row for row in group if row.usable] for key, group in sorted(grouped.items())}
    return [(key, kept, len(grouped[key]) - len(kept)) for key, kept in usable.items() if kept]


def _one(key: tuple[PoolKey, str], rows: list[EndpointRow], left_out: int, is_primary: bool) -> AllRuns:
    runs = checked_runs([row.low for row in rows], [row.high for row in rows], labels_of(rows))
    model = attempt(lambda: model_of(runs, profile=False), lambda why: unfitted(why, runs), _figures)
    told = [(one.first, one.second) for one in model.steels if isinstance(one, SteelsEstimated)]
    return AllRuns(
        *key,
        left_out,
        model,
        within=attempt(
            lambda: within_submissions(runs, model),
            lambda why: tuple(WithinSubmissions(*pair, None, why, None, None, False, False) for pair in told),
            lambda found: (one.departure for one in found),
        ),
        practice=attempt(
            lambda: practice_by_steel(runs, model),
            lambda why: tuple(PracticeBySteel(*pair, None, None, None, why) for pair in told),
            lambda found: (one.interaction.estimate for one in found if one.interaction),
        ),
        levels=attempt(
            lambda: steel_by_level(runs, model) if is_primary else (),
            lambda why: tuple(SteelByLevel(*pair, 0, None, None, why) for pair in told),
            lambda found: (one.slope.estimate for one in found if one.slope),
        ),
        roles=attempt(
            lambda: two_roles(runs, model),
            lambda why: TwoRoles(0, None, None, None, why),
            lambda found: (found.covariance, found.p),
        ),
    )


def _figures(model: RunsModel) -> tuple[ArrayLike | None, ...]:
    """The figures of a model that are finite wherever it is fitted."""
    if not isinstance(model, RunsModelFitted):
        return ()
    told = (one.result for one in model.steels if isinstance(one, SteelsEstimated))
    return (model.fit.coefficients, model.fit.standard_errors, *(x for one in told for x in (one.estimate, one.standard_error)))
