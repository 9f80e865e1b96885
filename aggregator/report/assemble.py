"""One submission's whole report, as numbers and sentences: terminal, page and JSON tell the same."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass

from aggregator.bundle.model import Results
from aggregator.bundle.sentences import ratio_text
from aggregator.estimates import estimate_submissions
from aggregator.records.canonical import LoadedProtocol
from aggregator.records.model.protocol import EndpointRule, Protocol
from aggregator.records.model.submission import Submission

from .among import Among, among
from .answer import OwnEstimates, SubmissionAnswer, answer_of, own_estimates
from .comparison import Leading, leading
from .guesses import Guesses, guesses
from .limits import Limit, limits
from .opening import Opened
from .runs import Reach, RunCurve, Start, reaches, run_curves, start_of
from .sentences import verdict_sentence
from .settle import Settling, settling
from .table import TableUsed
from .worth import Worth, worth

REPORT_FORMAT = "report/0.1.0"


@dataclass(frozen=True, eq=False)
class SubmissionReport:
    """One submission, one page.

    Attributes
    ----------
    record, protocol : what is reported.
    sha256, corrected : of the file, and whether corrections are applied.
    table : what runs are taken to differ by.
    answer : every comparison at every endpoint, as on the screen.
    lead : the comparison that the protocol asks for; None where there is nothing to compare, and then all that hangs on it.
    planned : what the plan fixed otherwise than the protocol, and what that would come to.
    settle, start, guessed, worth : of the leading comparison.
    curves : every run.
    reach : how many runs reach each figure.
    limits : what cannot be told.
    among : beside the pooled ones; ``pooled`` says why there is nothing.
    warnings : of the check.
    """

    record: Submission
    protocol: Protocol
    sha256: str
    corrected: bool
    table: TableUsed
    answer: SubmissionAnswer
    lead: Leading | None
    planned: tuple[str, ...]
    settle: Settling | None
    curves: tuple[RunCurve, ...]
    start: Start | None
    guessed: Guesses | None
    reach: tuple[Reach, ...]
    limits: tuple[Limit, ...]
    worth: Worth | None
    among: tuple[Among, ...]
    pooled: str
    warnings: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The sentence in front."""
        if self.lead is None:
            return "These runs compare nothing: every one has the same blade and the same sharpener."
        return self.lead.owner_sentence or self.lead.primary.sentence


def report_on(
    opened: Opened, table: TableUsed, results: Results | None = None, why_none: str = "", weekly: float | None = None
) -> SubmissionReport:
    """Report on one submission.

    Parameters
    ----------
    opened : with a record.
    table : of `table_used`.
    results, why_none : of the last build, for what is pooled; or why there are none.
    weekly : work a week, in the protocol's unit of work.
    """
    record, protocol = opened.record, opened.protocol.record
    own = own_estimates(record, protocol, table.plain, opened.repository.steels)
    lead = leading(own.estimates, protocol)
    factor = lead.factor if lead else "blade"
    runs = own.submission.runs
    curves = run_curves(runs, factor)
    side = among(record, protocol, own.estimates, results)
    return SubmissionReport(
        record=record,
        protocol=protocol,
        sha256=opened.sha256,
        corrected=opened.corrected,
        table=table,
        answer=answer_of(own, protocol),
        lead=lead,
        planned=_planned(opened, own, lead),
        settle=_settle(own, lead, protocol),
        curves=curves,
        start=start_of(curves, protocol, lead.first, lead.second) if lead else None,
        guessed=guesses(record, own, lead, protocol) if lead else None,
        reach=reaches(own.rows, protocol),
        limits=limits(record, runs, own.estimates, lead, protocol, opened.findings),
        worth=worth(record, own.rows, lead, protocol, weekly) if lead else None,
        among=side,
        pooled="" if side else why_none or _why_not_pooled(lead),
        warnings=tuple(f"{f.pointer or 'the file'}: {f.message}" for f in opened.findings),
    )


def _settle(own: OwnEstimates, lead: Leading | None, protocol: Protocol) -> Settling | None:
    if lead is None:
        return None
    rule = next(rule for rule in protocol.endpoints if rule.primary)
    estimate = next(e for e in own.estimates if e.endpoint == rule.id)
    return settling(lead.contrasts[rule.id], estimate, own.table.entry((estimate.pool, rule.id)), rule)


def _why_not_pooled(lead: Leading | None) -> str:
    if lead is not None and lead.factor == "sharpener":
        return "Two people by name are never pooled; practised against novice sharpeners are, where a file says which is which."
    return "Nothing of this is pooled yet."


def _planned(opened: Opened, own: OwnEstimates, lead: Leading | None) -> tuple[str, ...]:
    """The plan's own endpoint and worthwhile ratio, where they are not the protocol's."""
    plan = opened.record.plan.opened if opened.record.plan else None
    if plan is None or lead is None:
        return ()
    rules = {rule.id: rule for rule in opened.protocol.record.endpoints}
    rule = rules.get(plan.endpoint or lead.primary.endpoint)
    if rule is None:
        return (f"The plan was made for an endpoint that the protocol has not: {plan.endpoint}.",)
    wanted = plan.worthwhile_ratio or rule.worthwhile_ratio
    if rule.primary and wanted == rule.worthwhile_ratio:
        return ()
    contrast = _held_against(own, lead, rule, wanted, opened.protocol)
    sealed = opened.record.plan.sha256 is not None and not any(f.code.startswith("seal-") for f in opened.findings)
    how = "fixed by the sealed plan before the test" if sealed else "as the plan says, which was not sealed: this is taken on trust"
    told = verdict_sentence(contrast, rule.model_copy(update={"worthwhile_ratio": wanted}))
    return (f"With {ratio_text(wanted)} as the smallest difference worth acting on, {how}: {told}",)


def _held_against(own: OwnEstimates, lead: Leading, rule: EndpointRule, ratio: float, protocol: LoadedProtocol):
    """The leading contrast at one endpoint, held against another worthwhile ratio."""
    changed = rule.model_copy(update={"worthwhile_ratio": ratio})
    version = protocol.record.model_copy(update={"endpoints": tuple(changed if r.id == rule.id else r for r in protocol.record.endpoints)})
    key = (version.id, version.version)
    rows = [row for row in own.rows if row.endpoint == rule.id]
    (estimate,) = estimate_submissions(rows, own.table, {key: LoadedProtocol(version, "", "", "")})
    return next(c for c in estimate.contrasts if (c.factor, c.first, c.second) == (lead.factor, lead.first, lead.second))


def report_json(report: SubmissionReport) -> str:
    """The same for programs: numbers as they are, infinity as null."""
    lead, record = report.lead, report.record
    plain = {
        "format": REPORT_FORMAT,
        "submission": {"id": record.id, "sha256": report.sha256, "corrected": report.corrected, "origin": record.origin},
        "protocol": {"id": record.protocol.id, "version": record.protocol.version},
        "repeatability": {"sha256": report.table.sha256, "source": report.table.source, "submissions": report.table.submissions},
        "headline": report.headline,
        "leading": None if lead is None else {k: getattr(lead, k) for k in ("factor", "first", "second", "owner_sentence", "others")},
        "figures": [] if lead is None else [asdict(figure) for figure in lead.figures],
        "planned": report.planned,
        "settle": _plain(report.settle),
        "curves": [asdict(curve) for curve in report.curves],
        "start": _plain(report.start),
        "guesses": _plain(report.guessed),
        "reach": [asdict(reach) for reach in report.reach],
        "limits": [asdict(limit) for limit in report.limits],
        "worth": _plain(report.worth),
        "among": [asdict(each) for each in report.among],
        "pooled": report.pooled,
        "answer": asdict(report.answer),
        "warnings": report.warnings,
    }
    return json.dumps(_finite(plain), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(part) -> object:
    return None if part is None else asdict(part)


def _finite(value: object) -> object:
    if isinstance(value, dict):
        return {name: _finite(inside) for name, inside in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inside) for inside in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
