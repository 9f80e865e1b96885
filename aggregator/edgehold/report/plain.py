"""A report as text, 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from edgehold.records.report import harmless
from edgehold.records.units import plural
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

from .assemble import SubmissionReport
from .runs import RunCurve

WIDTH = 80
NAME, CELL = 26, 9  # of the table of curves


def report_text(report: SubmissionReport) -> str:
    """Everything, in the order in which an owner asks."""
    told = (
        *(_head, _found, _added, _verdict, _settle, _curves, _start, _references, _guessed, _reach),
        *(_limits, _worth, _table, _among, _details),
    )
    parts = [part(report) for part in told]
    text = "\n".join(line for part in parts for line in part)
    return "\n".join(harmless(line) for line in text.splitlines()).rstrip()


def _wrapped(text: str, first: str = "") -> str:
    held = text.replace(" %", "\N{NO-BREAK SPACE}%")
    told = textwrap.fill(held, WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False)
    return told.replace("\N{NO-BREAK SPACE}%", " %")


def _section(title: str, texts: Iterable[str], listed: bool = False) -> Iterator[str]:
    texts = list(texts)
    if texts:
        yield ""
        yield title
        yield from (_wrapped(text, "- " if listed else "") for text in texts)


def _head(report: SubmissionReport) -> Iterator[str]:
    if report.record.origin == "simulated":
        yield Reason("report.simulated")
        yield ""
    yield _wrapped(report.headline)
    if report.beneath:
        yield ""
        yield _wrapped(report.beneath)


def _found(report: SubmissionReport) -> Iterator[str]:
    if report.lead is None:
        return
    yield from _section("EARLY, LATE AND LIFE", [figure.sentence for figure in report.lead.figures], listed=True)


def _added(report: SubmissionReport) -> Iterator[str]:
    if report.adds is None:
        return iter(())
    return _section("WHAT THESE RUNS ADD TO THE POOL", [*report.adds.sentences, *(one.sentence for one in report.adds.additions)])


def _verdict(report: SubmissionReport) -> Iterator[str]:
    if report.lead is None:
        return
    verdicts = [report.lead.primary.verdict_sentence, *report.planned]
    yield from _section("VERDICT", verdicts)
    yield from _section("WHAT THESE RUNS RULE OUT", ruled_out(report), listed=True)


def ruled_out(report: SubmissionReport) -> list[Reason]:
    """Of every figure, the difference that is ruled out either way; nothing where nothing is compared."""
    return [
        Reason("report.rules_out_nothing", title=figure.title)
        if figure.ruled_out_beyond is None
        else Reason("report.rules_out", title=figure.title, ratio=ratio_text(figure.ruled_out_beyond))
        for figure in (report.lead.figures if report.lead else ())
    ]


def _settle(report: SubmissionReport) -> Iterator[str]:
    return _section("WHAT WOULD SETTLE IT", report.settle.sentences if report.settle else ())


def _curves(report: SubmissionReport) -> Iterator[str]:
    works = sorted({reading.work for curve in report.curves for reading in curve.readings})
    unit = report.protocol.reading.canonical_unit
    said = Reason("report.mean_of_repeats", unit=unit) if unit else "P pass, F fail"
    yield from _section(f"RUNS ({said}, by {plural(report.protocol.work.unit)})", [""] if works else ())
    step = (WIDTH - NAME) // CELL
    for start in range(0, len(works), step):
        shown = works[start : start + step]
        yield " " * NAME + "".join(f"{work:g}".rjust(CELL) for work in shown)
        for curve in report.curves:
            yield _row(curve, shown)


def _row(curve: RunCurve, works: list[float]) -> str:
    told = {reading.work: reading.told for reading in curve.readings}
    name = f"{curve.order} {curve.arm}"
    name = name if len(name) < NAME else f"{name[: NAME - 2]}…"
    return name.ljust(NAME) + "".join(told.get(work, "").rjust(CELL) for work in works)


def _start(report: SubmissionReport) -> Iterator[str]:
    if report.start is None:
        return iter(())
    return _section("HOW SHARP THEY BEGAN", [report.start.sentence, *([Reason("report.start_beside")] if report.start.sides else [])])


def _references(report: SubmissionReport) -> Iterator[str]:
    return _section("REFERENCE EDGE AND KNOWN WEIGHTS", references_told(report), listed=True)


def references_told(report: SubmissionReport) -> list[str]:
    """What own references say, and what becomes of it; nothing where there are none."""
    told = [one.sentence for one in report.references]
    return [*told, Reason("report.reference_into_pool")] if told else []


def _guessed(report: SubmissionReport) -> Iterator[str]:
    return _section("GUESSES", report.guessed.sentences if report.guessed else ())


def _reach(report: SubmissionReport) -> Iterator[str]:
    return _section("HOW MANY RUNS REACH EACH FIGURE", reached(report), listed=True)


def reached(report: SubmissionReport) -> list[Reason]:
    """Of every figure, how many runs have it."""
    found = []
    for reach in report.reach:
        counts = {"exact": reach.exact, "interval": reach.interval, "one_sided": reach.one_sided, "missing": reach.missing}
        reasons = "; ".join(reach.reasons)
        parts = [Reason(f"report.reached_{how}", runs=runs, reasons=reasons) for how, runs in counts.items() if runs]
        found.append(Reason("report.reached", title=reach.title, runs=reach.runs, parts=", ".join(parts)))
    return found


def _limits(report: SubmissionReport) -> Iterator[str]:
    return _section("WHAT THIS CANNOT TELL", [limit.text for limit in report.limits], listed=True)


def _worth(report: SubmissionReport) -> Iterator[str]:
    return _section("IS IT WORTH LEARNING?", report.worth.sentences if report.worth else ())


def _table(report: SubmissionReport) -> Iterator[str]:
    yield from _section("HOW MUCH RUNS DIFFER ANYWAY", [table_sentence(report)])
    yield f"SHA-256 {report.table.sha256}"


def table_sentence(report: SubmissionReport) -> str:
    """What the spread between runs was taken from."""
    code = "report.table_taken" if report.table.submissions else "report.table_assumed"
    return Reason(code, table=report.table.source, submissions=report.table.submissions)


def _among(report: SubmissionReport) -> Iterator[str]:
    return _section("AMONG THE OTHERS", [each.sentence for each in report.among] or [report.pooled])


def _details(report: SubmissionReport) -> Iterator[str]:
    yield from _section("LOOK AT TWICE", [*report.answer.notes, *report.warnings], listed=True)
    yield from _section("EVERY OTHER COMPARISON", other_comparisons(report), listed=True)
    record = report.record
    code = "report.file_corrected" if report.corrected else "report.file"
    file = Reason(code, id=record.id, title=report.protocol.title, version=record.protocol.version, month=record.month)
    yield from _section("THE FILE", [file])
    yield f"SHA-256 {report.sha256}"
    methods = "; or by ".join(dict.fromkeys(report.answer.methods.values()))
    yield _wrapped(Reason("report.computed", methods=methods) if methods else "")


def other_comparisons(report: SubmissionReport) -> list[str]:
    """Every comparison but the leading one."""
    lead = report.lead
    key = None if lead is None else (lead.factor, lead.first, lead.second)
    return [result.sentence for result in report.answer.results if (result.factor, result.first, result.second) != key]
