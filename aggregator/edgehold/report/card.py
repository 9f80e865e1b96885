"""A report in a post: what was found, by which method, and what it cannot tell."""

from __future__ import annotations

from edgehold.cards.fitting import HASH, Line, fitted
from edgehold.records.report import harmless
from edgehold.words import Reason

from .assemble import SubmissionReport


def report_card(report: SubmissionReport) -> str:
    """What was found, in at most ``cards.fitting.LONGEST`` characters."""
    record, protocol = report.record, report.protocol
    runs = len(record.runs)
    figures = report.lead.figures if report.lead else ()
    hidden = sum(run.blinding in ("helper coded", "sealed") for run in record.runs)
    lines = [
        Line(Reason("card.simulated") if record.origin == "simulated" else ""),
        Line(report.headline),
        *(Line(figure.sentence, 5 + number) for number, figure in enumerate(figures) if figure.sentence != report.headline),
        Line(Reason("card.found_by", title=protocol.title, id=protocol.id, version=protocol.version, month=record.month)),
        Line(Reason("card.found_runs", runs=runs, hidden=hidden, medium=protocol.medium.name)),
        *(Line(Reason("card.cannot_tell", text=limit.text), 3 + number) for number, limit in enumerate(report.limits[:2])),
        Line(Reason("card.found_file", sha256=report.sha256[:HASH])),
        Line(Reason("card.wrong_here")),
    ]
    return fitted([Line(harmless(line.text), line.rank, line.prose) for line in lines])
