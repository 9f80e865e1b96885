"""Reports of the shared corpus tests/answers, made without a file on the disk."""

from __future__ import annotations

import functools
import json
from pathlib import Path

from edgehold.records.canonical import LoadedProtocol, Repository
from edgehold.records.model.submission import Submission
from edgehold.records.registers import load_steels
from edgehold.report.assemble import SubmissionReport, report_on
from edgehold.report.opening import Opened
from edgehold.report.table import TableUsed
from tests.answers.cases import files, protocol_of
from tests.records.builder import changed

CASES = files()


def opened(name: str, changes: dict[str, object] | None = None, protocol_changes: dict[str, object] | None = None) -> Opened:
    """A case of the corpus, as a file would be opened; ``changes`` by JSON pointer."""
    case = CASES[name]
    record = Submission.model_validate_json(json.dumps(changed(case["submission"], changes or {})))
    protocol = protocol_of(case | {"changes": case["changes"] | (protocol_changes or {})})
    if not any(rule.primary for rule in protocol.endpoints):  # a protocol has one; some cases of the corpus do without
        first, *rest = protocol.endpoints
        protocol = protocol.model_copy(update={"endpoints": (first.model_copy(update={"primary": True}), *rest)})
    loaded = LoadedProtocol(protocol, "", "", "")
    repository = Repository(Path(), {(record.protocol.id, record.protocol.version): loaded}, (), {}, (), load_steels(), ())
    return Opened(record, "0" * 64, False, (), repository, Path())


def table(name: str) -> TableUsed:
    """The table of a case."""
    return TableUsed(CASES[name]["repeatability"], "1" * 64, "the table named with --table", 6)


@functools.cache
def report(name: str) -> SubmissionReport:
    """The report of a case."""
    return report_on(opened(name), table(name))


def changed_report(name: str, changes: dict[str, object], weekly: float | None = None) -> SubmissionReport:
    """The report of a case with something changed in its file."""
    return report_on(opened(name, changes), table(name), weekly=weekly)
