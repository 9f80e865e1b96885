"""What protocols ask and assume: endpoints with their rules, and priors of spreads."""

from __future__ import annotations

from collections.abc import Mapping

from edgehold.numerics.half_t import HalfT
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool
from edgehold.records.canonical import PoolKey, Repository
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.results.model.results import EndpointResult

from .cells import ENDPOINT_COLUMNS, POOL_COLUMNS, Cell, Table
from .flat import Pooled, flat, pool_cells

FOUND = flat(EndpointResult, without=("id", "sharpening", "probes_sentence"))
RULE = {
    "at": "number: work of a level",
    "start": "number: work where a window or loss begins",
    "end": "number: work where a window or loss ends",
    "threshold": "number: sharpness that ends a life, in the reading's unit, or as a fraction of the start",
    "threshold_relative": "boolean: whether the threshold is a fraction of the start",
    "assumed_ln_sd": "number: run-to-run standard deviation assumed until there are data, ln scale",
    "assumed_df": "number: degrees of freedom that this assumption is worth",
}
METHOD = {
    "medium": "string: what is cut",
    "work_unit": "string: unit of work",
    "reading": "string: force, length, count or pass/fail",
    "reading_unit": "string: unit of a reading; empty for pass/fail",
    "keener": "string: which way a reading is sharper, lower or higher; keenness is minus or plus its logarithm",
    "checkpoints": "string: amounts of work at which sharpness is read, with spaces between",
    "factor": "string: what the protocol asks about",
}
PRIOR = {
    "spread": "string: which standard deviation",
    "df": "number: degrees of freedom of the half-t distribution",
    "scale": "number: its scale, ln units",
    "source": "string: where the scale comes from",
}
ENDPOINT_OR_READINGS = POOL_COLUMNS | {"endpoint": "string: endpoint id; empty for the joint model of all readings"}


def endpoints(results: Pooled, repository: Repository) -> Table:
    """Every endpoint of every pool: what it is, its unit, its sign, the smallest ratio worth acting on, and how many runs have it."""
    rules, methods = by_endpoint(repository, lambda rule: rule), by_pool(repository, lambda protocol: protocol)
    rows = []
    for pool in results.pools:
        key = PoolKey(pool.protocol, pool.major, pool.origin)
        rows += [
            (*pool_cells(pool), one.id, *FOUND.cells(one), *_rule(rules[(key, one.id)]), *_method(methods[key])) for one in pool.endpoints
        ]
    return ENDPOINT_COLUMNS | FOUND.columns | RULE | METHOD, rows


def priors(repository: Repository) -> Table:
    """Priors of the spreads, of every endpoint's values and of the readings of every pool."""
    rows: list[tuple[Cell, ...]] = []
    for key, pool in sorted(by_pool(repository, asked_of_pool).items()):
        rows += [(key.origin, key.protocol, key.major, None, *one) for one in _priors(pool.priors)]
    for (key, endpoint), asked in sorted(by_endpoint(repository, asked_of).items()):
        rows += [(key.origin, key.protocol, key.major, endpoint, *one) for one in _priors(asked.priors)]
    return ENDPOINT_OR_READINGS | PRIOR, rows


def _priors(priors: Mapping[str, HalfT]) -> list[tuple[Cell, ...]]:
    return [(name, one.df, one.scale, str(one.source)) for name, one in priors.items()]


def _rule(rule: EndpointRule) -> tuple[Cell, ...]:
    threshold = rule.threshold
    told = (None, None) if threshold is None else (threshold.value, threshold.relative)
    return (rule.at, rule.start, rule.end, *told, rule.assumed_repeatability.ln_sd, rule.assumed_repeatability.prior_df)


def _method(record: Protocol) -> tuple[Cell, ...]:
    reading = record.reading
    return (
        record.medium.description, record.work.unit, reading.kind, reading.canonical_unit, reading.keener,
        " ".join(f"{place:g}" for place in record.work.checkpoints), record.question.factor,
    )  # fmt: skip
