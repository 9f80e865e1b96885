"""A report in a post: what was found, by which method, and what it cannot tell.

``site/pages/assets/form/card.js`` writes the same of the same file, from the same patterns; ``tests/browser/test_cards.py`` holds that.
"""

from __future__ import annotations

from edgehold.cards import told
from edgehold.cards.fitting import HASH, Line, fitted
from edgehold.cards.method import month_words, wrong
from edgehold.records.model.submission import Submission
from edgehold.records.report import harmless
from edgehold.words import Reason, code_of

from .assemble import SubmissionReport


def report_card(report: SubmissionReport, ask: str = "") -> str:
    """What was found, in at most ``cards.fitting.LONGEST`` characters.

    Parameters
    ----------
    report : on one submission.
    ask : address of the form for an objection to its method; empty where the site has none.
    """
    record, protocol = report.record, report.protocol
    figures = report.lead.figures if report.lead else ()
    limits = [limit.text for limit in report.limits if code_of(limit.text) in told.LIMITS][: told.MOST]
    lines = [
        Line(Reason("card.simulated") if record.origin == "simulated" else ""),
        Line(report.headline),
        *(Line(figure.sentence, 5 + number) for number, figure in enumerate(figures) if figure.sentence != report.headline),
        Line(Reason("card.found_by", title=protocol.title, id=protocol.id, version=protocol.version, month=month_words(record.month))),
        Line(Reason("card.found_runs", runs=len(record.runs), medium=protocol.medium.name, hiding=_hiding(record))),
        *(Line(Reason("card.cannot_tell", text=text), 3 + number) for number, text in enumerate(limits)),
        Line(Reason("card.found_file", sha256=report.sha256[:HASH]) if report.sha256 else ""),
        Line(wrong(ask)),
    ]
    return fitted([Line(harmless(line.text), line.rank, line.prose) for line in lines])


def _hiding(record: Submission) -> Reason:
    runs, hidden = len(record.runs), sum(run.blinding in ("helper coded", "sealed") for run in record.runs)
    return Reason(f"card.hidden_{'none' if not hidden else 'all' if hidden == runs else 'some'}", runs=runs, hidden=hidden)
