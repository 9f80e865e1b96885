"""From what the stages found to the one ``Results`` record that is published."""

from __future__ import annotations

import hashlib
import math
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from edgehold import __version__
from edgehold.endpoints.references import Beside
from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.endpoints.values import fixed_threshold
from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable
from edgehold.estimates.results import SubmissionEstimate
from edgehold.estimates.submissions import POOLED_FACTORS
from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.answer import Compared
from edgehold.pooling.curves.contrast import WorkTo, work_to
from edgehold.pooling.curves.curves import MeanCurve
from edgehold.pooling.curves.pairs import CurvePair
from edgehold.pooling.curves.shown import ShownByReferences
from edgehold.pooling.families import Families
from edgehold.pooling.gather.all_answers import Answered, SpreadPoints
from edgehold.pooling.gather.all_runs import AllRuns
from edgehold.pooling.gather.circulation import CirculatedBlade
from edgehold.pooling.gather.months import PoolCourse
from edgehold.pooling.network.steel_network import NoNetwork, SteelNetwork
from edgehold.pooling.pairwise.comparisons import PooledComparison
from edgehold.pooling.probes.effects import Unanswered
from edgehold.pooling.probes.probes import ProbeAnswer
from edgehold.pooling.separability import Separability
from edgehold.records.canonical import LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.interest import interest_of
from edgehold.records.linkage import Linkage
from edgehold.records.model.protocol import EndpointRule, Protocol, version_order
from edgehold.records.schemas import repository_url
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.model.results import (
    Comparison,
    Counts,
    CurvePointResult,
    EndpointResult,
    NotFittedResult,
    Pool,
    Provenance,
    Quoted,
    Range,
    RepeatabilityEntry,
    Results,
    SteelCurve,
    ToldApart,
)
from edgehold.results.words.sentences import headline, quoted_answer
from edgehold.words import Reason, together

from . import not_fitted as failures
from .answers import answers, model_result
from .compare import comparison_result
from .crossed import crossed_result
from .curve_pairs import crossovers, curve_comparison
from .families import families_result
from .fields import CURVES_OF, ORIGINS, TOLD, one_of
from .history import removed_results
from .interlab import interlaboratory_result
from .ledger import retracted_results, submission_results
from .moves import pool_logs
from .network import network_result
from .objections import objection_results
from .plans import plan_counts
from .probes import probe_result, probes_sentence
from .reasons import reasoned
from .references import references_result
from .state import commit_of, data_month
from .steels import steel_results
from .versions import protocol_results

Apart = Literal["steel", "sharpener", "tester", "level", "split"]
APART: tuple[Apart, ...] = ("steel", "sharpener", "tester", "level", "split")


@dataclass(frozen=True)
class EverythingFound:
    """Everything the stages before this one found, by name.

    Attributes
    ----------
    repository : the records.
    rows, points, beside : endpoint rows and readings of runs, reference edges and known weights.
    table, published : common repeatability, and the same as its own file.
    estimates : per submission and endpoint.
    comparisons, circulated, curves : over all submissions.
    apart : what the runs of each pool can tell apart.
    networks, probes : by pool and endpoint.
    curve_pairs : every pair of steels along the whole course of work.
    crossed : all runs in one model by restricted likelihood, by pool and endpoint.
    answers : the one answer on every comparison, by pool and endpoint.
    families : families of steels held against each other, by pool and endpoint.
    references : what reference edges and known weights show, by pool.
    spreads : posteriors of the standard deviations behind the answers, by pool and endpoint, of a joint model with no endpoint.
    courses : the leading comparison of each pool through the months.
    origins : whom submissions come from, and which are linked.
    """

    repository: Repository
    rows: tuple[EndpointRow, ...]
    points: tuple[CurvePoint, ...]
    beside: Beside
    table: RepeatabilityTable
    published: PublishedRepeatability
    estimates: tuple[SubmissionEstimate, ...]
    comparisons: tuple[PooledComparison, ...]
    circulated: tuple[CirculatedBlade, ...]
    curves: tuple[MeanCurve, ...]
    apart: dict[PoolKey, Separability | NotFitted]
    networks: dict[tuple[PoolKey, str], SteelNetwork | NoNetwork]
    curve_pairs: tuple[CurvePair, ...]
    probes: dict[tuple[PoolKey, str], tuple[ProbeAnswer, ...]]
    crossed: dict[tuple[PoolKey, str], AllRuns]
    answers: dict[tuple[PoolKey, str], Answered]
    families: dict[tuple[PoolKey, str], Families]
    references: dict[PoolKey, ShownByReferences]
    spreads: dict[tuple[PoolKey, str], SpreadPoints]
    courses: tuple[PoolCourse, ...]
    origins: Linkage


def assemble(found: EverythingFound) -> Results:
    """Gather everything into the published record; nothing is estimated here."""
    notes: list[failures.Line] = []
    return Results(
        format="results/2.5.0",
        provenance=_provenance(found),
        pools=tuple(_pool(found, key, group, notes) for key, group in sorted(_by_pool(found.repository).items())),
        submissions=submission_results(found.repository, found.rows, found.estimates, found.origins),
        retracted=retracted_results(found.repository),
        removed=removed_results(found.repository),
        protocols=protocol_results(found.repository),
        objections=objection_results(found.repository),
        steels=steel_results(found.repository),
        plans=plan_counts(found.repository),
        moves=pool_logs(found.repository, found.courses),
        not_fitted=_not_fitted(found, notes),
    )


def _not_fitted(found: EverythingFound, notes: list[failures.Line]) -> tuple[NotFittedResult, ...]:
    """Everything whose numbers failed, by pool and endpoint, in the order of the path; ``notes`` are those that failed here."""
    lines = [
        *failures.of_rows(found.rows),
        *failures.of_table(found.table),
        *failures.of_estimates(found.estimates),
        *failures.of_comparisons(found.comparisons),
        *((c.pool, c.endpoint, f"circulating blade {c.blade}", c.result) for c in found.circulated if isinstance(c.result, NotFitted)),
        *failures.failed((c.pool, "", Reason("published.mean_curve", steel=c.name), c.reason) for c in found.curves),
        *failures.failed(
            (pool, "", Reason("published.what_is_apart"), why) for pool, why in found.apart.items() if isinstance(why, NotFitted)
        ),
        *failures.failed(
            (*key, Reason("published.network"), one.reason) for key, one in found.networks.items() if isinstance(one, NoNetwork)
        ),
        *failures.failed(
            (c.pool, "", Reason("published.pair_along_work", first=c.first, second=c.second), c.contrast.reason) for c in found.curve_pairs
        ),
        *failures.failed(
            (*key, f"the question {answer.probe.id}", answer.found.reason)
            for key, answers in found.probes.items()
            for answer in answers
            if isinstance(answer.found, Unanswered)
        ),
        *failures.of_all_runs(found.crossed.values()),
        *failures.of_answers(found.answers.values()),
        *failures.failed((*key, Reason("families.what"), one.reason) for key, one in found.families.items()),
        *failures.of_courses(found.courses),
        *notes,
    ]
    return tuple(
        NotFittedResult(
            protocol=pool.protocol, major=pool.major, origin=one_of(pool.origin, ORIGINS), endpoint=endpoint, what=what, **reasoned(why)
        )
        for pool, endpoint, what, why in sorted(lines, key=lambda line: line[:2])
    )


def _by_pool(repository: Repository) -> dict[PoolKey, list[LoadedSubmission]]:
    pools: dict[PoolKey, list[LoadedSubmission]] = defaultdict(list)
    for submission in repository.submissions:
        pools[pool_key(submission)].append(submission)
    return pools


def _provenance(found: EverythingFound) -> Provenance:
    repository = found.repository
    submissions = (*repository.submissions, *repository.retracted)
    files = [(s.path, s.sha256) for s in submissions] + [(p.path, p.sha256) for p in repository.protocols.values()]
    files += [(c.path, c.sha256) for s in submissions for c in s.changes]
    files = sorted([*files, *repository.side_files, *repository.life_files])
    listing = "".join(f"{sha256}  {path}\n" for path, sha256 in files)
    return Provenance(
        program_version=__version__,
        inputs_sha256=hashlib.sha256(listing.encode()).hexdigest(),
        input_files=len(files),
        repeatability_sha256=found.published.sha256,
        repository_url=repository_url(repository.root) or "",
        data_month=data_month(repository),
        commit=commit_of(repository.root),
    )


def _pool(found: EverythingFound, key: PoolKey, submissions: list[LoadedSubmission], notes: list[failures.Line]) -> Pool:
    newest = max(submissions, key=lambda s: version_order(s.record.protocol.version))
    protocol = found.repository.protocol_of(newest).record
    rows = [row for row in found.rows if row.pool == key]
    months = sorted(s.record.month for s in submissions)
    interests = {s.record.id: interest_of(s.record) for s in submissions}
    endpoints = tuple(_endpoint(found, key, rule, protocol, rows, interests, notes) for rule in protocol.endpoints)
    primary = next(endpoint for endpoint in endpoints if endpoint.primary)
    quoted = quoted_answer(protocol.question.factor, primary)
    return Pool(
        protocol=key.protocol,
        major=key.major,
        origin=one_of(key.origin, ORIGINS),
        title=protocol.title,
        factor=protocol.question.factor,
        treatment=protocol.question.treatment or "",
        medium=protocol.medium.name,
        work_unit=protocol.work.unit,
        versions=tuple(sorted({s.record.protocol.version for s in submissions}, key=version_order)),
        first_month=months[0],
        last_month=months[-1],
        counts=_counts(submissions),
        hardness_hrc=_hardness(submissions),
        angle_deg=_angles(submissions),
        interests=dict(sorted(Counter(interests.values()).items())),
        own_sharpening_percent=_own_sharpening(submissions),
        told_apart=_told_apart(found.apart[key], _through_references(primary)) if key in found.apart else (),
        endpoints=endpoints,
        crossovers=crossovers((pair for pair in found.curve_pairs if pair.pool == key), protocol.work.unit),
        curves=tuple(_curve(curve) for curve in found.curves if curve.pool == key),
        curve_comparisons=tuple(
            failures.told(
                lambda one: curve_comparison(one, protocol.work.unit),
                pair,
                failures.curves_without,
                _note(notes, key, "", Reason("published.pair_along_work", first=pair.first, second=pair.second)),
            )
            for pair in found.curve_pairs
            if pair.pool == key
        ),
        references=references_result(found.references.get(key), protocol.work.unit),
        headline=headline(len(submissions), quoted),
        quoted=Quoted(endpoint=primary.id, factor=quoted.factor, first=quoted.first, second=quoted.second) if quoted else None,
    )


def _through_references(primary: EndpointResult) -> str:
    """That reference edges link pairs of steels that the runs do not; empty where they link none."""
    pairs = sum(answer.evidence == "reference" for answer in primary.steels)
    return Reason("references.linked_pairs", pairs=pairs) if pairs else ""


def _told_apart(apart: Separability | NotFitted, through_references: str) -> tuple[ToldApart, ...]:
    if isinstance(apart, NotFitted):
        return (ToldApart(what="split", verdict="no", sentence=Reason("published.apart_not_fitted", apart=apart)),)
    verdicts = [
        (what, contrast.verdict, together(contrast.sentence, through_references if what == "steel" else ""))
        for what, contrast in apart.contrasts.items()
    ]
    verdicts.append(("split", apart.split.verdict, apart.split.sentence))
    return tuple(
        ToldApart(what=one_of(what, APART), verdict=one_of(verdict, TOLD), sentence=sentence) for what, verdict, sentence in verdicts
    )


def _counts(submissions: list[LoadedSubmission]) -> Counts:
    runs = [run for s in submissions for run in s.runs]
    return Counts(
        submissions=len(submissions),
        runs=len(runs),
        testers=len({r.tester for r in runs}),
        sharpeners=len({r.sharpener for r in runs}),
        blades=len({r.blade for r in runs}),
        steels=len({r.steel for r in runs} - {None}),
        batches=len({r.batch for r in runs} - {None}),
    )


def _hardness(submissions: list[LoadedSubmission]) -> Range | None:
    known: dict[str, float] = {}
    keys = set()
    for blade in (b for s in submissions for b in s.record.blades):
        keys.add(blade.key)
        if blade.hardness is not None:
            known[blade.key] = blade.hardness.hrc
    return _range(list(known.values()), len(keys))


def _angles(submissions: list[LoadedSubmission]) -> Range | None:
    """Angles per side; one stated for both sides together is not halved, it counts as not known here."""
    preparations = [p for s in submissions for p in s.record.preparations]
    sides = [
        angle
        for p in preparations
        if p.edge_angle is not None and p.edge_angle.basis == "per side"
        for angle in (p.edge_angle.left_deg, p.edge_angle.right_deg)
        if angle is not None
    ]
    known = sum(p.edge_angle is not None and p.edge_angle.basis == "per side" for p in preparations)
    return Range(low=min(sides), high=max(sides), known=known, of=len(preparations)) if sides else None


def _range(values: list[float], total: int) -> Range | None:
    return Range(low=min(values), high=max(values), known=len(values), of=total) if values else None


def _own_sharpening(submissions: list[LoadedSubmission]) -> float | None:
    own = [run.own_sharpening for s in submissions for run in s.runs]
    return published(100 * sum(own) / len(own)) if own else None


def _endpoint(
    found: EverythingFound,
    key: PoolKey,
    rule: EndpointRule,
    protocol: Protocol,
    rows: list[EndpointRow],
    interests: dict[str, str],
    notes: list[failures.Line],
) -> EndpointResult:
    note = partial(_note, notes, key, rule.id)
    mine = [row for row in rows if row.endpoint == rule.id]
    status = Counter(row.status for row in mine)
    results = {
        factor: tuple(
            failures.told(
                lambda one: comparison_result(one, rule, protocol.work.unit, interests),
                c,
                failures.comparison_without,
                note(f"{c.first} against {c.second}"),
            )
            for c in found.comparisons
            if (c.pool, c.endpoint, c.factor) == (key, rule.id, factor)
        )
        for factor in POOLED_FACTORS
    }
    pairwise = tuple(one for factor in POOLED_FACTORS for one in results[factor])
    all_runs, steels_linked = found.crossed.get((key, rule.id)), found.networks.get((key, rule.id))
    crossed, network = None, None
    if all_runs is not None:
        crossed = failures.told(
            lambda one: crossed_result(one, rule, protocol.work.unit),
            all_runs,
            failures.all_runs_without,
            note(Reason("published.crossed_model")),
        )
    if steels_linked is not None:
        network = failures.told(
            lambda one: network_result(one, rule.kind), steels_linked, failures.network_without, note(Reason("published.network"))
        )
    answered = found.answers.get((key, rule.id))
    by_names: dict[Compared, Comparison] = {(c.factor, c.first, c.second): c for c in pairwise}
    levels = [level.word for level in protocol.question.levels]
    told = answers(answered, rule, protocol.work.unit, by_names, crossed, network, levels, _lives_off_curves(found, key, rule, protocol))
    practice = next((one for one in told if one.factor == "practice"), None)
    probes = found.probes.get((key, rule.id), ())
    return EndpointResult(
        id=rule.id,
        title=rule.title,
        kind=rule.kind,
        role=rule.role,
        primary=rule.primary,
        quantity="work" if rule.kind == "life" else "sharpness",
        worthwhile_ratio=rule.worthwhile_ratio,
        exact=status["exact"],
        interval=status["interval"],
        censored=status["left"] + status["right"],
        missing=status["missing"],
        repeatability=_repeatability(found.table.entries.get((key, rule.id))),
        steels=tuple(one for one in told if one.factor == "steel"),
        practice=practice,
        levels=tuple(one for one in told if one.factor == "level"),
        model=model_result(answered, rule, protocol.work.unit),
        families=families_result(found.families.get((key, rule.id)), rule, protocol.work.unit),
        pairwise=pairwise,
        sharpening=practice.sentence if practice else Reason("studies_answer.one_class"),
        interlaboratory=tuple(
            interlaboratory_result(c, protocol.reading.canonical_unit) for c in found.circulated if (c.pool, c.endpoint) == (key, rule.id)
        ),
        crossed=crossed,
        network=network,
        probes=tuple(
            failures.told(lambda one: probe_result(one, rule.kind), answer, failures.probe_without, note(f"the question {answer.probe.id}"))
            for answer in probes
        ),
        probes_sentence=probes_sentence(probes),
    )


def _lives_off_curves(found: EverythingFound, key: PoolKey, rule: EndpointRule, protocol: Protocol) -> dict[Compared, WorkTo | str] | None:
    """What the mean curves of pairs say of a life to a fixed sharpness; None for other endpoints."""
    threshold = fixed_threshold(rule, protocol)
    if threshold is None:
        return None
    return {(one.factor, one.first, one.second): work_to(one.contrast, threshold) for one in found.curve_pairs if one.pool == key}


def _note(notes: list[failures.Line], pool: PoolKey, endpoint: str, what: str) -> Callable[[str], None]:
    """What notes the reason why something cannot be published."""
    return lambda why: notes.append((pool, endpoint, what, why))


def _repeatability(entry: Repeatability | None) -> RepeatabilityEntry | None:
    if entry is None:
        return None
    pooled = entry.source == "pooled"
    return RepeatabilityEntry(
        ln_sd=needed(published(math.sqrt(entry.s2_pooled if pooled else entry.prior_s2))),
        df=needed(published(entry.df_pooled if pooled else entry.prior_df)),
        prior_ln_sd=needed(published(math.sqrt(entry.prior_s2))),
        prior_df=published(entry.prior_df),
        source="pooled" if pooled else "assumed",
        submissions=entry.submissions,
        **reasoned(entry.reason),
    )


def _curve(curve: MeanCurve) -> SteelCurve:
    return SteelCurve(
        factor=one_of(curve.factor, CURVES_OF),
        steel=curve.name,
        points=tuple(
            CurvePointResult(
                work=needed(published(p.work)),
                ratio=needed(ratio(p.mean)),
                low=ratio(p.interval.low),
                high=ratio(p.interval.high),
                runs=p.runs,
            )
            for p in curve.points
        ),
    )
