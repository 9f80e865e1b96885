"""One submission's whole report, as numbers and sentences: terminal, page and JSON tell the same."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from edgehold.estimates import Contrast, estimate_submissions
from edgehold.records.canonical import LoadedProtocol
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.model.submission import Submission
from edgehold.results.model.numbers import readable_json
from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, together

from .among import Among, among
from .answer import OwnEstimates, SubmissionAnswer, answer_of, own_estimates
from .comparison import Leading, leading
from .guesses import Guesses, guesses
from .limits import Limit, limits
from .opening import Opened
from .references import Told, own_references
from .runs import Reach, RunCurve, Start, reaches, run_curves, start_of
from .sentences import verdict_sentence
from .settle import Settling, settling
from .table import TableUsed
from .worth import Worth, worth

if TYPE_CHECKING:
    from edgehold.results.model.results import Results

    from .adds import Adds

REPORT_FORMAT = "report/0.1.0"
LEADING = ("factor", "first", "second", "owner_sentence", "owner_endpoint", "others")


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
    planned : the verdict by what the plan fixed otherwise than the protocol.
    settle, start, guessed, worth : of the leading comparison.
    curves : every run.
    reach : how many runs reach each figure.
    limits : what cannot be told.
    among : beside the pooled ones; ``pooled`` says why there is nothing.
    warnings : of the check.
    adds : to the pool; None where nobody asked.
    references : what own reference edges and known weights say.
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
    adds: Adds | None = None
    references: tuple[Told, ...] = ()

    @property
    def headline(self) -> str:
        """The sentence in front: it begins with the verdict at the primary endpoint."""
        if self.lead is None:
            return Reason("report.nothing_compared")
        return self.lead.owner_sentence if self._owner_leads else self.lead.primary.sentence

    @property
    def beneath(self) -> str:
        """The owner's sentence, where it is not the one in front; empty where there is none."""
        return "" if self.lead is None or self._owner_leads else self.lead.owner_sentence

    @property
    def _owner_leads(self) -> bool:
        """Whether the owner's sentence tells of the primary endpoint."""
        return self.lead is not None and self.lead.owner_endpoint == self.lead.primary.endpoint


def report_on(
    opened: Opened,
    table: TableUsed,
    results: Results | None = None,
    why_none: str = "",
    weekly: float | None = None,
    to_pool: Adds | None = None,
) -> SubmissionReport:
    """Report on one submission.

    Parameters
    ----------
    opened : the submission.
    table : of `table_used`.
    results, why_none : of the last build, for what is pooled; or why there are none.
    weekly : work a week, in the protocol's unit of work.
    to_pool : what these runs add to a pool, where somebody asked.
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
        settle=_settle(opened, own, lead),
        curves=curves,
        start=start_of(curves, protocol, lead.first, lead.second) if lead else None,
        guessed=guesses(record, own, lead, protocol) if lead else None,
        reach=reaches(own.rows, protocol),
        limits=limits(record, runs, own.estimates, lead, protocol, opened.findings),
        worth=worth(record, own.rows, lead, protocol, weekly) if lead else None,
        among=side,
        pooled="" if side else why_none or _why_not_pooled(lead),
        warnings=tuple(f"{f.pointer or Reason('report.the_file')}: {f.message}" for f in opened.findings),
        adds=to_pool,
        references=own_references(record, protocol, results),
    )


def _settle(opened: Opened, own: OwnEstimates, lead: Leading | None) -> Settling | None:
    """Against the plan's worthwhile ratio where there is a plan: it says what its people would act on."""
    if lead is None:
        return None
    rule = _planned_rule(opened, lead) or next(rule for rule in opened.protocol.record.endpoints if rule.primary)
    estimate = next(e for e in own.estimates if e.endpoint == rule.id)
    contrast = _held_against(own, lead, rule, opened.protocol)
    return settling(contrast, estimate, own.table.entry((estimate.pool, rule.id)), rule)


def _why_not_pooled(lead: Leading | None) -> str:
    return Reason("report.people_not_pooled" if lead is not None and lead.factor == "sharpener" else "report.not_pooled")


def _planned_rule(opened: Opened, lead: Leading) -> EndpointRule | None:
    """The endpoint that the plan was made for, with the plan's worthwhile ratio; None where that is as the protocol has it."""
    plan = opened.record.plan.opened if opened.record.plan else None
    rule = next((r for r in opened.protocol.record.endpoints if plan and r.id == (plan.endpoint or lead.primary.endpoint)), None)
    if plan is None or rule is None:
        return None
    wanted = plan.worthwhile_ratio or rule.worthwhile_ratio
    return None if rule.primary and wanted == rule.worthwhile_ratio else rule.model_copy(update={"worthwhile_ratio": wanted})


def _planned(opened: Opened, own: OwnEstimates, lead: Leading | None) -> tuple[str, ...]:
    """The verdict by the plan's own endpoint and worthwhile ratio, where they are not the protocol's."""
    rule = None if lead is None else _planned_rule(opened, lead)
    if lead is None or rule is None:
        return ()
    sealed = (
        opened.record.plan is not None
        and opened.record.plan.sha256 is not None
        and not any(f.code.startswith("seal-") for f in opened.findings)
    )
    asks = Reason("report.planned_sealed" if sealed else "report.planned_unsealed")
    return (together(asks, verdict_sentence(_held_against(own, lead, rule, opened.protocol), rule)),)


def _held_against(own: OwnEstimates, lead: Leading, rule: EndpointRule, protocol: LoadedProtocol) -> Contrast:
    """The leading contrast at one endpoint, held against the worthwhile ratio of this rule."""
    version = protocol.record.model_copy(
        update={"endpoints": tuple(rule if other.id == rule.id else other for other in protocol.record.endpoints)}
    )
    rows = [row for row in own.rows if row.endpoint == rule.id]
    (estimate,) = estimate_submissions(rows, own.table, {(version.id, version.version): LoadedProtocol(version, "", "", "")})
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
        "leading": None if lead is None else {name: getattr(lead, name) for name in LEADING},
        "figures": [] if lead is None else [asdict(figure) for figure in lead.figures],
        "adds": None if report.adds is None else _adds_plain(report.adds),
        "planned": report.planned,
        "settle": _plain(report.settle),
        "curves": [asdict(curve) for curve in report.curves],
        "start": _plain(report.start),
        "guesses": _plain(report.guessed),
        "references": [asdict(told) for told in report.references],
        "reach": [asdict(reach) for reach in report.reach],
        "limits": [asdict(limit) for limit in report.limits],
        "worth": _plain(report.worth),
        "among": [asdict(each) for each in report.among],
        "pooled": report.pooled,
        "answer": asdict(report.answer),
        "warnings": report.warnings,
    }
    return readable_json(plain)


def _plain(part: Settling | Start | Guesses | Worth | None) -> dict[str, object] | None:
    return None if part is None else asdict(part)


def _adds_plain(found: Adds) -> dict[str, object]:
    """What is added as plain values."""
    additions = []
    for one in found.additions:
        plain = asdict(one) | {"without": _interval_plain(one.without), "with": _interval_plain(one.joined)}
        additions.append({name: value for name, value in plain.items() if name != "joined"})
    return {"counted": found.counted, "others": found.others, "sentences": found.sentences, "comparisons": additions}


def _interval_plain(result: RatioInterval | None) -> dict[str, object] | None:
    return None if result is None else result.model_dump(mode="json")
