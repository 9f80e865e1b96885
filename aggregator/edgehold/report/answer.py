"""One submission against a repeatability table: its ratios, how sure they are, what its runs gave."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from edgehold.endpoints import EndpointRow, endpoint_rows
from edgehold.estimates import (
    Contrast,
    ContrastBounded,
    ContrastEstimated,
    ContrastNotEstimable,
    RepeatabilityTable,
    SubmissionEstimate,
    estimate_submissions,
)
from edgehold.records.canonical import LoadedProtocol, LoadedSubmission, Repository, pool_key
from edgehold.records.canonical_runs import canonical_readings, canonical_runs
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.registers import NO_STEELS, Steels
from edgehold.records.rules.shared_keys import shared_facts
from edgehold.results.publish.repeatability import FormRepeatability, table_of
from edgehold.results.words.verdicts import kind_of, own_sentence
from edgehold.words import Reason

LEVEL = 0.95


@dataclass(frozen=True)
class Answer:
    """One contrast at one endpoint.

    Attributes
    ----------
    endpoint, title, role : which part of the dulling, and what it is called.
    factor, first, second : what is compared: steel, blade, sharpener, or practice.
    ratio, low, high, level : first against second, above 1 is better for the first, with its interval; None where there is
        none or it is unbounded. Where only a bound is known, ``ratio`` is None and the bound stands in ``low`` or ``high``.
    verdict : as in ``estimates.Verdict``; ``""`` where there is neither a ratio nor a bound.
    ruled_out_beyond : a in "these runs rule out a difference larger than ×a either way"; None where they rule out none.
    sentence : the whole in words.
    reason : why there is no ratio; ``""`` where there is one.
    runs_first, runs_second : runs used.
    """

    endpoint: str
    title: str
    role: str
    factor: str
    first: str
    second: str
    ratio: float | None
    low: float | None
    high: float | None
    level: float
    verdict: str
    ruled_out_beyond: float | None
    sentence: str
    reason: str
    runs_first: int
    runs_second: int


@dataclass(frozen=True)
class RunValue:
    """One endpoint of one run, on the ln scale; ``low`` and ``high`` None where open or missing."""

    run: str
    endpoint: str
    status: str
    low: float | None
    high: float | None
    reason: str


@dataclass(frozen=True)
class SubmissionAnswer:
    """Everything that one submission says.

    Attributes
    ----------
    results : in the order of the protocol's endpoints, then steel, blade, sharpener, practice.
    rows : one a run and endpoint.
    methods : by endpoint, how it was fitted and what was left out.
    notes : what to look at twice.
    """

    results: tuple[Answer, ...]
    rows: tuple[RunValue, ...]
    methods: dict[str, str]
    notes: tuple[str, ...]


def answer_submission(record: Submission, protocol: Protocol, repeatability: FormRepeatability, steels: Steels) -> SubmissionAnswer:
    """What a submission says by itself.

    Parameters
    ----------
    record : of a valid form; a run with a number or unit that cannot be read has no readings here, and a note says so.
    protocol : the version that it followed.
    repeatability : of ``edgehold.results.publish.repeatability.form_repeatability``. Where no variance of readings has been published, the
        submission's own repeats tell how well it was read.
    steels : the registers of steels and of their classes; only what this file says of its blades counts.
    """
    return answer_of(own_estimates(record, protocol, repeatability, steels), protocol)


@dataclass(frozen=True, eq=False)
class OwnEstimates:
    """What stands behind an answer.

    Attributes
    ----------
    repository : of this submission and its protocol alone.
    rows, estimates : of the second and third stage; estimates in the order of the protocol's endpoints.
    table : what they were moderated with.
    unread : places in the file of the runs that could not be read.
    """

    repository: Repository
    rows: tuple[EndpointRow, ...]
    estimates: tuple[SubmissionEstimate, ...]
    table: RepeatabilityTable
    unread: frozenset[int]

    @property
    def submission(self) -> LoadedSubmission:
        """The one submission."""
        return self.repository.submissions[0]


def own_estimates(record: Submission, protocol: Protocol, repeatability: FormRepeatability, steels: Steels) -> OwnEstimates:
    """Rows and estimates of a submission by itself; the parameters are those of `answer_submission`."""
    readings, problems = canonical_readings(record, protocol)
    facts = shared_facts([("", record)], steels).blades
    submission = LoadedSubmission(record, "", "", canonical_runs(record, protocol, readings, facts))
    repository = _alone(submission, protocol)
    published = repeatability["reading_variance"]
    rows = endpoint_rows(repository, None if published is None else {pool_key(submission): published})
    table = table_of(repeatability, pool_key(submission), protocol)
    order = [rule.id for rule in protocol.endpoints]
    estimates = sorted(estimate_submissions(rows, table, repository.protocols), key=lambda e: order.index(e.endpoint))
    unread = frozenset(int(p.pointer.split("/")[2]) for p in problems)
    return OwnEstimates(repository, rows, tuple(estimates), table, unread)


def answer_of(own: OwnEstimates, protocol: Protocol) -> SubmissionAnswer:
    """The answer that estimates give."""
    rules = {rule.id: rule for rule in protocol.endpoints}
    return SubmissionAnswer(
        results=tuple(_answer(contrast, rules[e.endpoint], protocol) for e in own.estimates for contrast in e.contrasts),
        rows=tuple(_value(row) for row in own.rows),
        methods={e.endpoint: e.method for e in own.estimates},
        notes=_notes(own.submission.record, own.unread, own.rows, own.estimates),
    )


def _alone(submission: LoadedSubmission, protocol: Protocol) -> Repository:
    """A repository of one submission and its protocol."""
    loaded = LoadedProtocol(protocol, "", "", "")
    return Repository(Path(), {(protocol.id, protocol.version): loaded}, (submission,), {}, (), NO_STEELS, ())


def _answer(contrast: Contrast, rule: EndpointRule, protocol: Protocol) -> Answer:
    low, high = ratio_limits(contrast)
    return Answer(
        endpoint=rule.id,
        title=rule.title,
        role=rule.role,
        factor=contrast.factor,
        first=contrast.first,
        second=contrast.second,
        ratio=as_ratio(contrast.estimate) if isinstance(contrast, ContrastEstimated) else None,
        low=low,
        high=high,
        level=LEVEL,
        verdict=kind_of(contrast),
        ruled_out_beyond=None if isinstance(contrast, ContrastNotEstimable) else _finite(contrast.verdict.excludes),
        sentence=own_sentence(contrast, rule, protocol.work.unit),
        reason="" if isinstance(contrast, ContrastEstimated) else contrast.reason,
        runs_first=contrast.runs_first,
        runs_second=contrast.runs_second,
    )


def ratio_limits(contrast: Contrast) -> tuple[float | None, float | None]:
    """The ends of the interval as ratios, or the one end that a bound is."""
    if isinstance(contrast, ContrastEstimated):
        return as_ratio(contrast.interval.low), as_ratio(contrast.interval.high)
    if isinstance(contrast, ContrastBounded):
        bound = as_ratio(contrast.bound.ratio)
        return (bound, None) if contrast.bound.kind == "at least" else (None, bound)
    return None, None


def as_ratio(ln_value: float) -> float | None:
    """exp of a finite value on the ln scale; None where it is too large for a number."""
    return None if not math.isfinite(ln_value) or abs(ln_value) > 700 else math.exp(ln_value)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _value(row: EndpointRow) -> RunValue:
    return RunValue(row.run, row.endpoint, row.status, _finite(row.low), _finite(row.high), row.reason)


def _notes(
    record: Submission, unread: frozenset[int], rows: tuple[EndpointRow, ...], estimates: tuple[SubmissionEstimate, ...]
) -> tuple[str, ...]:
    """Runs that could not be read, what to look at twice in a run, and a comparison that nobody asked for."""
    notes = [Reason("own_answer.unread", run=run.id) for number, run in enumerate(record.runs) if number in unread]
    seen: dict[str, tuple[str, ...]] = {row.run: row.flags for row in rows}
    notes += [Reason("own_answer.flag", run=run, flag=flag) for run, flags in seen.items() for flag in flags]
    failed = dict.fromkeys(row.run for row in rows if row.failed_preparation)
    notes += [Reason("own_answer.failed", run=run) for run in failed]
    if not any(e.contrasts for e in estimates):
        notes.append(Reason("own_answer.nothing"))
    return tuple(notes)
