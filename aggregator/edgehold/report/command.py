"""What the words of `edgehold report` ask for."""

from __future__ import annotations

from pathlib import Path

from edgehold.disk import LARGEST_BUILT_BYTES, read_file, there, write_file
from edgehold.errors import InputError
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import major

from .among import read_results
from .assemble import SubmissionReport, report_on
from .opening import Opened, open_submission
from .table import table_used

BEGINNING = "<!doctype html>"


def report_at(root: Path, opened: Opened, table: Path | None, weekly: float | None, pool: Path | None = None) -> SubmissionReport:
    """The report of a submission that is sound; with a ``pool``, a repository, also what its runs add to that."""
    record, protocol = opened.record, opened.protocol.record
    used = table_used(root, record, protocol, table)
    added = None
    if pool:
        from .adds import adds  # here, for it brings the whole of pooling

        added = adds(pool, opened)
    return report_on(opened, used, *read_results(root, PoolKey(protocol.id, major(protocol.version), record.origin)), weekly, added)


def write_html(report: SubmissionReport, target: Path) -> None:
    """Write the page; an older page may be written over, nothing else.

    Raises
    ------
    InputError
        Something other than a page is there, or it cannot be written.
    """
    if there(target) and not read_file(target, LARGEST_BUILT_BYTES)[: len(BEGINNING)].lower() == BEGINNING.encode():
        raise InputError(f"{target} is there already and is no page; name another file with --html")
    from .page import report_html  # here, for it brings the templates

    write_file(target, report_html(report).encode())


__all__ = ["open_submission", "report_at", "write_html"]
