"""One submission that stands alone: held against protocols, steels and seals, and against no other submission."""

from __future__ import annotations

import datetime

from edgehold.errors import ERROR, Finding
from edgehold.records.canonical import Repository
from edgehold.records.findings import Collected, answered
from edgehold.records.json_places import json_places
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.records.rules.plans import plan_problems
from edgehold.records.rules.references import reference_problems
from edgehold.records.rules.submissions import own_problems
from edgehold.words import Reason

from .against_protocol import readings_by
from .form import read_record
from .json_reading import parse_json
from .opening import decode


def read_alone(
    data: bytes, name: str, repository: Repository, today: datetime.date, problems: list[Problem] | None = None
) -> tuple[Submission | None, tuple[Finding, ...]]:
    """What the check says of one file.

    Parameters
    ----------
    data : its bytes.
    name : what findings call it.
    repository : where protocols, steels and seals are.
    today : what "in the future" is measured from.
    problems : what stood in the way of its bytes; then nothing else is looked at.

    Returns
    -------
    The record, None where an error stands in it, and everything found.
    """
    text, unfit = decode(data) if not problems else ("", [])
    tree, broken = parse_json(text) if text else (None, [])
    found = [*(problems or []), *unfit, *broken]
    if tree is None and not found:
        found = [Problem("", "not-json", Reason("report.empty_file"), line=1)]
    record = None
    if not found:
        record, found = read_record(Submission, tree)
    if record is not None:
        found = answered(_problems(record, repository, today), [(a.pointer, a.code, a.says) for a in record.answers or ()])
    collected = Collected()
    collected.add(name, found)
    findings = collected.findings(lambda _: json_places(text).lines)
    return (None if any(f.severity == ERROR for f in findings) else record), findings


def _problems(record: Submission, repository: Repository, today: datetime.date) -> list[Problem]:
    """What the check finds in a submission that stands alone."""
    key = (record.protocol.id, record.protocol.version)
    found = [*reference_problems(record), *own_problems(record, today, repository.steels)]
    found += plan_problems(record, {seal.id: seal for seal in repository.seals})
    if key not in repository.protocols:
        return [*found, Problem("/protocol", "unknown-protocol", Reason("intake.no_protocol", protocol=key[0], version=key[1]))]
    _, problems = readings_by(repository.protocols[key].record, repository.events.get(record.protocol.id, ()), record)
    return [*found, *problems]
