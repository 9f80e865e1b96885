"""A request in plain English, as Markdown: what it changes, what was found, and what each new submission says by itself.

Names and findings hold what strangers typed. They stand in code spans and code blocks only, fenced by more backticks than they hold;
in running text every character that Markdown knows is written as a character reference (CommonMark 0.31, sections 6.1 and 2.5).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from edgehold.counted import counted
from edgehold.errors import ERROR, Finding
from edgehold.records.codes import code_address
from edgehold.records.layout import readable
from edgehold.records.report import harmless
from edgehold.records.request.against import CheckedProposal
from edgehold.records.request.proposal import Change
from edgehold.records.request.report import ORDER, sent_by
from edgehold.results.model.results import OwnAnswer, SubmissionResult
from edgehold.words import Reason, capital

MOST_FILES, MOST_FINDINGS, MOST_ANSWERS, LONGEST_LINE = 50, 200, 12, 600

_MARKS = re.compile(r"[\\`*_{}\[\]<>#+!|&~$@:^]|(?<=www)\.", re.IGNORECASE)
_TICKS = re.compile("`+")


def request_summary(checked: CheckedProposal, new: tuple[SubmissionResult, ...], asked: Iterable[tuple[str, Reason]] = ()) -> str:
    """The summary; ``new`` are the request's submissions that could be read, with their answers.

    ``asked`` is what whoever merges may want to ask: a submission's id, or nothing for the whole request, and the question.
    """
    parts = [
        _heading(checked),
        f"{capital(sent_by(checked))}.",
        *_changes(checked.proposal.changes),
        *_findings(checked.findings, checked.proposal.site),
        *_submissions(new),
        *_questions(asked),
    ]
    return "\n\n".join([*parts, Reason("request_summary.foot")]) + "\n"


def plain(text: str) -> str:
    """Text that Markdown shows as it is."""
    return _MARKS.sub(lambda mark: f"&#{ord(mark[0])};", _short(text))


def span(text: str) -> str:
    """Text in a code span."""
    shown = _short(text)
    fence = "`" * (_longest_run(shown) + 1)
    room = " " if shown.startswith(("`", " ")) or shown.endswith(("`", " ")) else ""
    return f"{fence}{room}{shown}{room}{fence}"


def _block(lines: list[str]) -> str:
    shown = [_short(line) for line in lines]
    fence = "`" * max(3, 1 + max(map(_longest_run, shown)))
    return "\n".join([f"{fence}text", *shown, fence])


def _short(text: str) -> str:
    text = harmless(text)
    return text if len(text) <= LONGEST_LINE else f"{text[:LONGEST_LINE]}…"


def _longest_run(text: str) -> int:
    return max(map(len, _TICKS.findall(text)), default=0)


def _heading(checked: CheckedProposal) -> str:
    errors = len(checked.errors)
    warnings = len(checked.findings) - errors
    verdict = (
        Reason("request_summary.errors_stand", errors=counted(errors, "error")) if errors else Reason("request_summary.nothing_in_the_way")
    )
    return Reason("request_summary.head", verdict=verdict, warnings=counted(warnings, "warning"))


def _changes(changes: tuple[Change, ...]) -> Iterator[str]:
    yield Reason("request_summary.what_changes")
    if not changes:
        yield Reason("request_summary.nothing_differs")
        return
    ordered = sorted(changes, key=lambda change: (ORDER.index(change.kind), change.path))
    lines = [_change(change) for change in ordered[:MOST_FILES]]
    lines += [f"- and {len(ordered) - MOST_FILES} more"] if len(ordered) > MOST_FILES else []
    yield "\n".join(lines)


def _change(change: Change) -> str:
    origin = f" (was {span(readable(change.before))})" if change.kind == "renamed" else ""
    return f"- {change.kind}: {span(readable(change.path))}{origin}"


def _findings(findings: tuple[Finding, ...], site: str) -> Iterator[str]:
    yield Reason("request_summary.what_found")
    if not findings:
        yield "Nothing."
        return
    ordered = sorted(findings, key=lambda f: (f.severity != ERROR, f))
    files: dict[str, list[Finding]] = {}
    for finding in ordered[:MOST_FINDINGS]:
        files.setdefault(finding.file, []).append(finding)
    for file, found in files.items():
        yield span(file)
        yield _block([line for finding in found for line in _finding(finding)])
    linked = {name: code_address(site, name) for name in sorted({finding.code for finding in ordered})}
    if any(linked.values()):
        codes = ", ".join(f"[{name}](<{address}>)" for name, address in linked.items() if address)
        yield Reason("request_summary.what_codes_mean", codes=codes)
    if len(ordered) > MOST_FINDINGS:
        yield Reason("request_summary.more_findings", count=len(ordered) - MOST_FINDINGS)


def _finding(finding: Finding) -> list[str]:
    place = f"line {finding.line}" + (f", {finding.pointer}" if finding.pointer else "")
    return [f"{finding.severity}: {place}", f"    {finding.code}: {finding.message}", f"    right: {finding.cure}"]


def _submissions(new: Iterable[SubmissionResult]) -> Iterator[str]:
    for submission in new:
        origin = ", **simulated**" if submission.origin == "simulated" else ""
        yield Reason("request_summary.submission_head", id=span(submission.id), origin=origin)
        yield (
            Reason(
                "request_summary.submission_told",
                runs=counted(len(submission.runs), "run"),
                blades=counted(submission.blades, "blade"),
                count=len(submission.people),
                protocol=span(submission.protocol),
                version=submission.version,
                month=submission.month,
            )
        )
        yield "\n".join(_answers(submission.answers))


def _questions(asked: Iterable[tuple[str, Reason]]) -> Iterator[str]:
    lines = [
        Reason("screens.line", submission=span(name), question=plain(question))
        if name
        else Reason("screens.line_request", question=plain(question))
        for name, question in asked
    ]
    if lines:
        yield from (Reason("screens.head"), Reason("screens.told"), "\n".join(lines))


def _answers(answers: tuple[OwnAnswer, ...]) -> list[str]:
    """Sentences, those with a ratio first, and those about two people only behind the others."""
    if not answers:
        return [Reason("request_summary.no_comparison")]
    ordered = sorted(answers, key=lambda answer: (answer.result is None, answer.factor == "sharpener"))
    lines = [f"- {plain(answer.sentence)}" for answer in ordered[:MOST_ANSWERS]]
    return lines + ([Reason("request_summary.more_answers", count=len(ordered) - MOST_ANSWERS)] if len(ordered) > MOST_ANSWERS else [])
