"""The ledger of submissions as published."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from edgehold.endpoints.rows import EndpointRow
from edgehold.errors import WARNING
from edgehold.estimates.results import Contrast, SubmissionEstimate
from edgehold.records.canonical import CanonicalReading, CanonicalRun, LoadedSubmission, Repository
from edgehold.records.grades import Graded
from edgehold.records.interest import interest_of
from edgehold.records.linkage import Linkage
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.model.submission import Run
from edgehold.records.units import plural
from edgehold.results.model.grades import GradeResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.results import OwnAnswer, ReadingResult, RunResult, SubmissionResult
from edgehold.results.words.sentences import amount
from edgehold.results.words.verdicts import kind_of, own_sentence
from edgehold.words import Reason

from .fields import one_of
from .history import change_results, state_of
from .own_interval import own_interval

Factor = Literal["steel", "blade", "sharpener", "practice", "level"]
FACTORS: tuple[Factor, ...] = ("steel", "blade", "sharpener", "practice", "level")


def submission_results(
    repository: Repository,
    rows: Iterable[EndpointRow],
    estimates: Iterable[SubmissionEstimate],
    grades: Mapping[str, Graded],
    origins: Linkage | None = None,
) -> tuple[SubmissionResult, ...]:
    """A line of the ledger and a page for every submission, by id.

    Parameters
    ----------
    grades : of their evidence, by id.
    origins : whom they come from; None where only some of a repository's submissions are here, which do not tell.
    """
    by_run: dict[tuple[str, str], list[EndpointRow]] = defaultdict(list)
    for row in rows:
        by_run[(row.submission, row.run)].append(row)
    by_submission: dict[str, list[SubmissionEstimate]] = defaultdict(list)
    for estimate in estimates:
        by_submission[estimate.submission].append(estimate)
    return tuple(
        _submission(repository, s, by_run, by_submission[s.record.id], origins, grades[s.record.id])
        for s in sorted(repository.submissions, key=lambda s: s.record.id)
    )


def retracted_results(repository: Repository) -> tuple[SubmissionResult, ...]:
    """The same for submissions that were taken back: their runs and readings, and nothing computed from them."""
    return tuple(_submission(repository, s, {}, []) for s in sorted(repository.retracted, key=lambda s: s.record.id))


def _warnings(repository: Repository, submission: LoadedSubmission) -> Iterator[str]:
    """Warnings against a submission or its corrections, people by the handles they are shown as."""
    files = {submission.path, *(change.path for change in submission.changes)}
    for finding in repository.findings:
        if finding.severity == WARNING and finding.file in files:
            yield repository.names.text(f"{finding.message} {finding.cure}".strip())


def _submission(
    repository: Repository,
    submission: LoadedSubmission,
    by_run: dict[tuple[str, str], list[EndpointRow]],
    estimates: list[SubmissionEstimate],
    origins: Linkage | None = None,
    grade: Graded | None = None,
) -> SubmissionResult:
    record, protocol = submission.record, repository.protocol_of(submission)
    rules = {rule.id: rule for rule in protocol.record.endpoints}
    scales = {rule.id: _scale(rule, protocol.record) for rule in protocol.record.endpoints}
    written = {run.id: run for run in record.runs}
    unit = protocol.record.work.unit
    return SubmissionResult(
        id=record.id,
        path=submission.path,
        sha256=submission.sha256,
        state=state_of(submission),
        changes=change_results(submission.changes, repository.names),
        protocol=record.protocol.id,
        version=record.protocol.version,
        origin=record.origin,
        month=record.month,
        submitted_by=record.submitted_by,
        note=record.note or "",
        interest=interest_of(record),
        blinding=_blinding(record.runs),
        evidence=None if grade is None else _evidence(grade),
        sender="" if origins is None else origins.senders.get(record.id, ""),
        linked=None if origins is None or record.id not in origins.senders else record.id in origins.linked,
        blades=len({run.blade for run in submission.runs}),
        people=tuple(sorted(person.handle for person in record.people)),
        runs=tuple(_run(run, written[run.id], by_run.get((record.id, run.id), []), scales) for run in submission.runs),
        answers=tuple(_answer(c, e, rules[e.endpoint], unit) for e in estimates for c in e.contrasts),
        warnings=tuple(_warnings(repository, submission)),
    )


def _evidence(found: Graded) -> GradeResult:
    return GradeResult(
        grade=found.grade,
        name=Reason(f"grades.name_{found.grade}"),
        kinds=found.kinds,
        read_in=found.read_in,
        why=found.why,
        raised_by=found.raised_by,
    )


def _blinding(runs: Iterable[Run]) -> Literal["every run", "some runs", "no run", "not stated"]:
    """A run of which nothing is said counts as one in which the tester knew, unless nothing is said of any."""
    stated = [run.blinding for run in runs]
    if not any(stated):
        return "not stated"
    blind = [one in ("helper coded", "sealed") for one in stated]
    return "every run" if all(blind) else "some runs" if any(blind) else "no run"


def _run(run: CanonicalRun, written: Run, rows: list[EndpointRow], scales: dict[str, _Scale]) -> RunResult:
    texts = _written_readings(written)
    return RunResult(
        id=run.id,
        order=run.order,
        blade=run.blade,
        steel=run.steel or "not known",
        sharpener=run.sharpener,
        tester=run.tester,
        ended=run.ended,
        readings=tuple(_reading(reading, text) for reading, text in zip(run.readings, texts, strict=True)),
        values={row.endpoint: _value_text(row, scales[row.endpoint]) for row in rows},
    )


def _written_readings(run: Run) -> list[str]:
    """The repeats of every reading as written, in the order of the file."""
    unit = f" {run.reading_unit}" if run.reading_unit else ""
    return [
        ", ".join(reading.outcomes or ()) or ", ".join(f"{value.written}{unit}" for value in reading.values or ())
        for reading in run.readings
    ]


def _reading(reading: CanonicalReading, written: str) -> ReadingResult:
    limited = [limit for limit in reading.limits if limit]
    mean = sum(reading.values) / len(reading.values) if reading.values and not limited else None
    outcome = ", ".join("pass" if passed else "fail" for passed in reading.passed) or (limited[0] if limited else "")
    return ReadingResult(work=needed(published(reading.work)), written=written, mean=published(mean), outcome=outcome)


@dataclass(frozen=True)
class _Scale:
    """In what an endpoint is told: a unit, and whether a larger figure means a smaller endpoint."""

    kind: str
    unit: str
    reversed: bool

    def figure(self, ln_value: float) -> float:
        return math.exp(-ln_value if self.reversed else ln_value)

    def tell(self, figure: float) -> str:
        if self.kind == "loss":
            return f"×{amount(figure)}"
        return f"{amount(figure)} {self.unit if amount(figure) == '1' else plural(self.unit)}"


def _scale(rule: EndpointRule, protocol: Protocol) -> _Scale:
    """Life in work; a level or window as the reading that it stands for; a loss as a ratio of sharpness."""
    if rule.kind == "life":
        return _Scale(rule.kind, protocol.work.unit, False)
    if rule.kind == "loss":
        return _Scale(rule.kind, "", False)
    return _Scale(rule.kind, protocol.reading.canonical_unit or "", protocol.reading.keener == "lower")


def _value_text(row: EndpointRow, scale: _Scale) -> str:
    """An endpoint of one run in words."""
    if row.status == "missing":
        return row.reason or "not computed"
    if row.status == "exact":
        return scale.tell(row.raw if math.isfinite(row.raw) else scale.figure(row.low))
    if row.status == "interval":
        low, high = sorted((scale.figure(row.low), scale.figure(row.high)))
        return f"between {scale.tell(low)} and {scale.tell(high)}"
    known, above = (row.low, not scale.reversed) if row.status == "right" else (row.high, scale.reversed)
    return f"{'above' if above else 'below'} {scale.tell(scale.figure(known))}"


def _answer(contrast: Contrast, estimate: SubmissionEstimate, rule: EndpointRule, unit: str) -> OwnAnswer:
    return OwnAnswer(
        endpoint=estimate.endpoint,
        factor=one_of(contrast.factor, FACTORS),
        first=contrast.first,
        second=contrast.second,
        result=own_interval(contrast),
        sentence=own_sentence(contrast, rule, unit),
        verdict=kind_of(contrast),
    )
