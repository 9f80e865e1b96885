"""From what is published of the pools, and of the repository around them, to the one ``Results`` record."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from edgehold import __version__
from edgehold.records.canonical import Repository
from edgehold.records.schemas import repository_url
from edgehold.results.model.repeatability import PoolRepeatability, PublishedRepeatability
from edgehold.results.model.results import NotFittedResult, Pool, Provenance, Results, SubmissionResult

from .history import removed_results
from .moves import FollowedPool, pool_logs
from .objections import objection_results
from .plans import plan_counts
from .state import commit_of, data_month
from .steels import steel_results
from .versions import protocol_results


@dataclass(frozen=True)
class OfPools:
    """What is published of some pools, and hangs on nothing that was said or decided about their methods.

    Attributes
    ----------
    pools : by protocol, MAJOR and origin.
    submissions, retracted : theirs, by id.
    followed : for their logs, by protocol, MAJOR and origin.
    not_fitted : what has no figures, by pool and endpoint.
    repeatability : by protocol, MAJOR and origin.
    """

    pools: tuple[Pool, ...]
    submissions: tuple[SubmissionResult, ...]
    retracted: tuple[SubmissionResult, ...]
    followed: tuple[FollowedPool, ...]
    not_fitted: tuple[NotFittedResult, ...]
    repeatability: tuple[PoolRepeatability, ...]


def all_of(parts: Sequence[OfPools]) -> OfPools:
    """What is published of pools that different parts hold."""
    return OfPools(
        pools=tuple(sorted((one for part in parts for one in part.pools), key=_key)),
        submissions=tuple(sorted((one for part in parts for one in part.submissions), key=lambda one: one.id)),
        retracted=tuple(sorted((one for part in parts for one in part.retracted), key=lambda one: one.id)),
        followed=tuple(sorted((one for part in parts for one in part.followed), key=lambda one: one.pool)),
        not_fitted=tuple(sorted((one for part in parts for one in part.not_fitted), key=lambda one: (*_key(one), one.endpoint))),
        repeatability=tuple(sorted((one for part in parts for one in part.repeatability), key=_key)),
    )


def _key(one: Pool | NotFittedResult | PoolRepeatability) -> tuple[str, int, str]:
    return one.protocol, one.major, one.origin


def results_of(repository: Repository, found: OfPools, table: PublishedRepeatability) -> Results:
    """The published record.

    Parameters
    ----------
    repository : the records.
    found : of all pools.
    table : their repeatability.
    """
    return Results(
        format="results/2.5.0",
        provenance=_provenance(repository, table),
        pools=found.pools,
        submissions=found.submissions,
        retracted=found.retracted,
        removed=removed_results(repository),
        protocols=protocol_results(repository),
        objections=objection_results(repository),
        steels=steel_results(repository),
        plans=plan_counts(repository),
        moves=pool_logs(repository, found.followed),
        not_fitted=found.not_fitted,
    )


def _provenance(repository: Repository, table: PublishedRepeatability) -> Provenance:
    submissions = (*repository.submissions, *repository.retracted)
    files = [(s.path, s.sha256) for s in submissions] + [(p.path, p.sha256) for p in repository.protocols.values()]
    files += [(c.path, c.sha256) for s in submissions for c in s.changes]
    files = sorted([*files, *repository.side_files, *repository.life_files])
    listing = "".join(f"{sha256}  {path}\n" for path, sha256 in files)
    return Provenance(
        program_version=__version__,
        inputs_sha256=hashlib.sha256(listing.encode()).hexdigest(),
        input_files=len(files),
        repeatability_sha256=table.sha256,
        repository_url=repository_url(repository.root) or "",
        data_month=data_month(repository),
        commit=commit_of(repository.root),
    )
