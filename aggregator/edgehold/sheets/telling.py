"""What came of a sheet, in words for a terminal and as JSON for programs."""

from __future__ import annotations

import json
from dataclasses import asdict

from edgehold.records.report import harmless
from edgehold.words import Reason

from .cells import Question
from .intake import Intake


def intake_text(intake: Intake, file: str, written: str) -> str:
    """The tally, what was converted, what the check would warn of, what is asked, and what was written."""
    rows = ", ".join(f"{kind} {count}" for kind, count in intake.tally.items())
    parts = [Reason("intake.tally", file=file, values=sum(intake.tally.values()), rows=rows) if rows else ""]
    parts += _listed(Reason("intake.converted"), [f"{place}: {text}" for place, text in intake.said])
    parts += _listed(Reason("intake.worth_look"), [f"{place}: {text}" for place, text in intake.remarks])
    asked = [f"{_place(question)}: {question.message}; {question.cure}  [{question.code}]" for question in intake.questions]
    parts += _listed(Reason("intake.asked"), asked)
    parts.append(written or Reason("intake.nothing_written_but_draft" if intake.submission else "intake.nothing_written"))
    return "\n".join(filter(None, parts))


def intake_json(intake: Intake, file: str, written: str) -> str:
    """The same as JSON."""
    found = {
        "file": file,
        "written": written or None,
        "whole": intake.whole,
        "tally": dict(intake.tally),
        "questions": [{**asdict(question), "cell": question.cell} for question in intake.questions],
        "said": [{"place": place, "text": text} for place, text in intake.said],
        "remarks": [{"place": place, "text": text} for place, text in intake.remarks],
    }
    return json.dumps(found, indent=2, ensure_ascii=False)


def submission_json(intake: Intake) -> str:
    """The submission as a file."""
    if intake.text is not None:
        return intake.text
    return json.dumps(intake.submission, indent=2, ensure_ascii=False) + "\n"


def _place(question: Question) -> str:
    return f"{question.sheet} {question.cell}".strip()


def _listed(title: str, lines: list[str]) -> list[str]:
    return [title, *(f"  {harmless(line)}" for line in lines)] if lines else []
