"""The path between records and results, without files at either end and without the libraries that only a build needs."""

from __future__ import annotations

from .endpoints import beside_runs, curve_points, endpoint_rows
from .engine.tasks import side_by_side
from .estimates import estimate_submissions, repeatability_table
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
from .records.canonical import Repository
from .records.interest import interested_submissions
from .records.linkage import linkage
from .results.publish.assemble import EverythingFound
from .results.publish.repeatability import publish


def find_everything(repository: Repository) -> EverythingFound:
    """Run the stages between records and results; those that take longest side by side with the others."""
    rows, points, beside = endpoint_rows(repository), curve_points(repository), beside_runs(repository)
    worthwhile = by_endpoint(repository, worthwhile_of)
    primary = by_pool(repository, primary_of)
    asked_of_endpoints = by_endpoint(repository, asked_of)
    origins, families = linkage(repository), family_of_steels(repository)
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
        origins=origins,
    )
