"""The repeatability table as a file of its own: what one submission's answer rests on beside its own readings.

A file and a table give the same answer tomorrow, on this machine or in a browser: the table is published with its hash, and
every form carries the part that its protocol needs together with that hash.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Literal, TypedDict

from edgehold.disk import read_file
from edgehold.endpoints.runs import reading_variances
from edgehold.errors import InputError
from edgehold.estimates.repeatability import ASSUMED, Key, Repeatability, RepeatabilityTable
from edgehold.numerics.normal_differences import TYPICAL
from edgehold.records.canonical import PoolKey, Repository
from edgehold.records.model.protocol import EndpointRule, Protocol, major
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.repeatability import Contribution, EndpointRepeatability, PoolRepeatability, PublishedRepeatability

from .fields import ORIGINS, one_of
from .repeatability_file import content_sha256, table_of_pools

SOURCES: tuple[Literal["pooled", "assumed"], ...] = ("pooled", "assumed")


class FormEntry(TypedDict):
    """One endpoint of the table as a form carries it; None: no number, or an infinite one."""

    s2_pooled: float | None
    df_pooled: float
    prior_s2: float
    prior_df: float | None
    source: Literal["pooled", "assumed"]
    submissions: int


class FormRepeatability(TypedDict):
    """What the form of one protocol version carries of the table."""

    sha256: str
    reading_variance: float | None
    endpoints: dict[str, FormEntry]


def publish(table: RepeatabilityTable, repository: Repository) -> PublishedRepeatability:
    """The table as published, numbers to ten significant digits.

    Parameters
    ----------
    table : repeatability of every endpoint of every pool.
    repository : the records it was made from, for the variance of readings.
    """
    variances = reading_variances(repository)
    pools = sorted({pool for pool, _ in table.entries})
    return table_of_pools([_pool(pool, variances.get(pool), table) for pool in pools])


def _pool(pool: PoolKey, variance: float | None, table: RepeatabilityTable) -> PoolRepeatability:
    return PoolRepeatability(
        protocol=pool.protocol,
        major=pool.major,
        origin=one_of(pool.origin, ORIGINS),
        reading_variance=published(variance),
        endpoints=tuple(_endpoint((pool, endpoint), table) for other, endpoint in sorted(table.entries) if other == pool),
    )


def _endpoint(key: Key, table: RepeatabilityTable) -> EndpointRepeatability:
    entry, (ln_sd, assumed_df) = table.entries[key], table.assumed[key]
    return EndpointRepeatability(
        endpoint=key[1],
        source=one_of(entry.source, SOURCES),
        submissions=entry.submissions,
        s2_pooled=published(entry.s2_pooled),
        df_pooled=needed(published(entry.df_pooled)),
        prior_s2=needed(published(entry.prior_s2)),
        prior_df=published(entry.prior_df),
        typical_ratio=ratio(TYPICAL * math.sqrt(entry.prior_s2)),
        assumed_ln_sd=float(ln_sd),
        assumed_df=float(assumed_df),
        contributions=tuple(
            Contribution(submission=s, s2=needed(published(s2)), df=needed(published(df))) for s, s2, df in table.contributions[key]
        ),
    )


def read_table(published_table: PublishedRepeatability) -> RepeatabilityTable:
    """The table of a published file, as the estimates use it."""
    entries, contributions, assumed = {}, {}, {}
    for pool in published_table.pools:
        for e in pool.endpoints:
            key = (PoolKey(pool.protocol, pool.major, pool.origin), e.endpoint)
            entries[key] = _read_entry(e)
            contributions[key] = tuple((c.submission, c.s2, c.df) for c in e.contributions)
            assumed[key] = (e.assumed_ln_sd, e.assumed_df)
    return RepeatabilityTable(entries, contributions, assumed)


def _read_entry(e: EndpointRepeatability) -> Repeatability:
    return Repeatability(
        s2_pooled=math.nan if e.s2_pooled is None else e.s2_pooled,
        df_pooled=e.df_pooled,
        prior_df=math.inf if e.prior_df is None else e.prior_df,
        prior_s2=e.prior_s2,
        source=e.source,
        submissions=e.submissions,
    )


def form_repeatability(
    published_table: PublishedRepeatability, protocol: Protocol, origin: str = "measured", without: str | None = None
) -> FormRepeatability:
    """What the form of one protocol version carries of the table.

    Parameters
    ----------
    published_table : as published with the site.
    protocol : the version; endpoints that its MAJOR has no entry for get the protocol's own assumption.
    origin : measured or simulated.
    without : id of a submission that is judged itself and must not be among what it is judged by.

    Returns
    -------
    Plain JSON values: ``sha256`` of the table, ``reading_variance`` (or None), and by endpoint ``s2_pooled``,
    ``df_pooled``, ``prior_s2``, ``prior_df`` (None: infinite), ``source`` and ``submissions``.
    """
    key = PoolKey(protocol.id, major(protocol.version), origin)
    table = read_table(published_table)
    if without is not None:
        table = table.leave_out(without)
    pool = next((p for p in published_table.pools if (p.protocol, p.major, p.origin) == (key.protocol, key.major, key.origin)), None)
    return {
        "sha256": published_table.sha256,
        "reading_variance": None if pool is None else pool.reading_variance,
        "endpoints": {rule.id: _form_entry(table.entries.get((key, rule.id)) or assumption(rule)) for rule in protocol.endpoints},
    }


def assumption(rule: EndpointRule) -> Repeatability:
    """What a protocol assumes of an endpoint that has no data yet."""
    assumed = rule.assumed_repeatability
    return Repeatability(math.nan, 0.0, assumed.prior_df, assumed.ln_sd**2, ASSUMED, 0)


def _form_entry(entry: Repeatability) -> FormEntry:
    return {
        "s2_pooled": published(entry.s2_pooled),
        "df_pooled": needed(published(entry.df_pooled)),
        "prior_s2": needed(published(entry.prior_s2)),
        "prior_df": published(entry.prior_df),
        "source": one_of(entry.source, SOURCES),
        "submissions": entry.submissions,
    }


def read_published(file: Path) -> PublishedRepeatability:
    """A table as `edgehold pool` writes it.

    Raises
    ------
    InputError
        The file cannot be read, is no repeatability table, or its hash is not that of its content.
    """
    data = read_file(file)
    try:
        published = PublishedRepeatability.model_validate_json(data)
    except (ValueError, RecursionError) as error:
        raise InputError(f"got {file}, wanted a repeatability table as 'edgehold pool' writes it ({type(error).__name__})") from None
    if content_sha256(published) != published.sha256:
        raise InputError(f"got {file}, whose hash is not that of its content; wanted the table as it was published")
    return published


def table_of(repeatability: FormRepeatability, pool: PoolKey, protocol: Protocol) -> RepeatabilityTable:
    """The part of a table that a form carries, as the estimates use it; nobody's contribution is told apart."""
    entries = {(pool, name): _entry(plain) for name, plain in repeatability["endpoints"].items()}
    assumed = {rule.id: rule.assumed_repeatability for rule in protocol.endpoints}
    return RepeatabilityTable(
        entries=entries,
        contributions=dict.fromkeys(entries, ()),
        assumed={(pool, name): (a.ln_sd, a.prior_df) for name, a in assumed.items()},
    )


def _entry(plain: FormEntry) -> Repeatability:
    return Repeatability(
        s2_pooled=math.nan if plain["s2_pooled"] is None else plain["s2_pooled"],
        df_pooled=plain["df_pooled"],
        prior_df=math.inf if plain["prior_df"] is None else plain["prior_df"],
        prior_s2=plain["prior_s2"],
        source=plain["source"],
        submissions=plain["submissions"],
    )
