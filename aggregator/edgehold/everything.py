"""The path between records and results, without files at either end and without the libraries that only a build needs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol, TypeVar

from .endpoints import beside_runs, curve_points, endpoint_rows
from .endpoints.references import Beside
from .engine.tasks import side_by_side
from .estimates import estimate_submissions, repeatability_table
from .estimates.repeatability import RepeatabilityTable
from .pooling.gather.all_answers import all_answers, judged
from .pooling.gather.all_families import family_of_steels
from .pooling.gather.all_runs import all_runs
from .pooling.gather.circulation import circulated_blades
from .pooling.gather.months import courses
from .pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool, primary_of, worthwhile_of
from .pooling.network.steel_network import steel_networks
from .pooling.pairwise.comparisons import compare
from .pooling.probes.probes import probe_answers
from .pooling.probes.register import probes_for
from .records.canonical import PoolKey, Repository
from .records.grades import Graded, graded
from .records.interest import interested_submissions
from .records.linkage import Linkage, linkage
from .results.publish.assemble import EverythingFound
from .results.publish.repeatability import publish

Value = TypeVar("Value")


class OfPool(Protocol):
    """What belongs to one pool."""

    @property
    def pool(self) -> PoolKey: ...


Pooled = TypeVar("Pooled", bound=OfPool)


def find_everything(repository: Repository, origins: Linkage | None = None, grades: Mapping[str, Graded] | None = None) -> EverythingFound:
    """Run the stages between records and results; those that take longest side by side with the others.

    Parameters
    ----------
    repository : the records.
    origins, grades : whom submissions come from and how good their evidence is, where others than these decide that, too.
    """
    origins, grades = origins or linkage(repository), graded(repository) if grades is None else grades
    rows, points, beside = endpoint_rows(repository), curve_points(repository), beside_runs(repository)
    worthwhile = by_endpoint(repository, worthwhile_of)
    primary = by_pool(repository, primary_of)
    asked_of_endpoints = by_endpoint(repository, asked_of)
    families = family_of_steels(repository)
    with side_by_side(len(rows)) as begin:
        asked = (
            begin(all_answers, rows, points, asked_of_endpoints, by_pool(repository, asked_of_pool), beside, True, origins, families),
            begin(all_runs, rows, primary),
            begin(probe_answers, rows, by_endpoint(repository, lambda rule: probes_for(rule.kind, rule.primary))),
        )
        table = repeatability_table(rows, repository.protocols)
        estimates = estimate_submissions(rows, table, repository.protocols)
        comparisons = compare(estimates, rows, table, worthwhile, interested_submissions(repository))
        circulated = circulated_blades(rows)
        published = publish(table, repository)
        networks = steel_networks(estimates, table)
        months = courses(repository, rows, estimates, table, comparisons, asked_of_endpoints, origins)
        answered, everything, probes = (one() for one in asked)
    answers, curves = answered.answers, answered.curves
    apart = judged(answers, primary)
    return EverythingFound(
        repository=repository,
        rows=rows,
        points=points,
        beside=beside,
        table=table,
        published=published,
        estimates=estimates,
        comparisons=comparisons,
        circulated=circulated,
        curves=curves.curves,
        apart=apart,
        networks=networks,
        curve_pairs=curves.pairs,
        probes=probes,
        crossed=everything,
        answers=answers,
        families={key: one.families for key, one in answers.items() if one.families is not None},
        references=dict(answered.references),
        spreads=dict(answered.spreads),
        courses=months,
        grades=grades,
        origins=origins,
    )


def of_some(found: EverythingFound, repository: Repository) -> EverythingFound:
    """What was found of the pools of some submissions.

    Parameters
    ----------
    found : of more.
    repository : these submissions, all there are of their protocols and origins, with their protocols.
    """
    everybody = (*repository.submissions, *repository.retracted)
    folders = {(s.record.protocol.id, s.record.origin) for s in everybody}

    def own(pool: PoolKey) -> bool:
        return (pool.protocol, pool.origin) in folders

    def by_pool(whole: Mapping[PoolKey, Value]) -> dict[PoolKey, Value]:
        return {pool: one for pool, one in whole.items() if own(pool)}

    def by_endpoint(whole: Mapping[tuple[PoolKey, str], Value]) -> dict[tuple[PoolKey, str], Value]:
        return {key: one for key, one in whole.items() if own(key[0])}

    def of_pool(whole: Iterable[Pooled]) -> tuple[Pooled, ...]:
        return tuple(one for one in whole if own(one.pool))

    whole = found.table
    table = RepeatabilityTable(
        by_endpoint(whole.entries), by_endpoint(whole.contributions), by_endpoint(whole.assumed), by_endpoint(whole.failed)
    )
    names = {s.record.id for s in everybody}
    return EverythingFound(
        repository=repository,
        rows=of_pool(found.rows),
        points=of_pool(found.points),
        beside=Beside(of_pool(found.beside.edges), of_pool(found.beside.weights)),
        table=table,
        published=publish(table, repository),
        estimates=of_pool(found.estimates),
        comparisons=of_pool(found.comparisons),
        circulated=of_pool(found.circulated),
        curves=of_pool(found.curves),
        apart=by_pool(found.apart),
        networks=by_endpoint(found.networks),
        curve_pairs=of_pool(found.curve_pairs),
        probes=by_endpoint(found.probes),
        crossed=by_endpoint(found.crossed),
        answers=by_endpoint(found.answers),
        families=by_endpoint(found.families),
        references=by_pool(found.references),
        spreads=by_endpoint(found.spreads),
        courses=of_pool(found.courses),
        grades={name: one for name, one in found.grades.items() if name in names},
        origins=found.origins.of(names),
    )
