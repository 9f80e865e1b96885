"""What the protocols of a repository tell the methods of pooling: by pool, and by pool and endpoint."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from edgehold.numerics.half_t import HalfT
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.canonical import LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.model.protocol import EndpointRule, Protocol, version_order

from .all_answers import Asked, AskedOfPool

Value = TypeVar("Value")


def by_pool(repository: Repository, told: Callable[[Protocol], Value]) -> dict[PoolKey, Value]:
    """What a pool's protocol tells; the newest version met in the pool decides."""
    records = {pool_key(submission): repository.protocol_of(submission).record for submission in _oldest_version_first(repository)}
    return {pool: told(record) for pool, record in records.items()}


def by_endpoint(repository: Repository, told: Callable[[EndpointRule], Value]) -> dict[tuple[PoolKey, str], Value]:
    """What a pool's protocol tells of an endpoint; the newest version met in the pool that has the endpoint decides."""
    rules = {
        (pool_key(submission), rule.id): rule
        for submission in _oldest_version_first(repository)
        for rule in repository.protocol_of(submission).record.endpoints
    }
    return {key: told(rule) for key, rule in rules.items()}


def _oldest_version_first(repository: Repository) -> list[LoadedSubmission]:
    return sorted(repository.submissions, key=lambda s: version_order(s.record.protocol.version))


def primary_of(record: Protocol) -> str:
    """The endpoint that a protocol asks first."""
    return next(rule.id for rule in record.endpoints if rule.primary)


def worthwhile_of(rule: EndpointRule) -> float:
    """The smallest ratio worth acting on."""
    return rule.worthwhile_ratio


def spread_priors_of(rule: EndpointRule) -> dict[str, HalfT]:
    """Priors of the spreads: those that the protocol states, the others scaled by the repeatability that it assumes."""
    told = () if rule.assumed_spreads is None else rule.assumed_spreads
    stated = {name.replace("_", " × "): HalfT(one.df, one.scale, one.source) for name, one in told if one is not None}
    return priors_for(rule.assumed_repeatability.ln_sd, rule.assumed_repeatability.source) | stated


def level_priors_of(record: Protocol) -> dict[str, HalfT]:
    """Priors of the spreads of a level, for curves; those of the first endpoint where a protocol has no level."""
    return spread_priors_of(next((rule for rule in record.endpoints if rule.kind == "level"), record.endpoints[0]))


def asked_of(rule: EndpointRule) -> Asked:
    """What is asked of an endpoint."""
    return Asked(rule, spread_priors_of(rule))


def asked_of_pool(record: Protocol) -> AskedOfPool:
    """What is asked of a pool's readings."""
    return AskedOfPool(tuple(record.work.checkpoints), level_priors_of(record), record.reading.keener != "higher")
