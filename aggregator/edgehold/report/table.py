"""Which repeatability table one submission is judged by: never one that it is itself in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from edgehold.disk import there
from edgehold.endpoints import endpoint_rows
from edgehold.estimates import repeatability_table
from edgehold.estimates.repeatability import POOLED
from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey, pool_key
from edgehold.records.layout import walk
from edgehold.records.model.protocol import Protocol, major
from edgehold.records.model.submission import Submission
from edgehold.records.read.loading import Asked
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.publish.repeatability import FormRepeatability, form_repeatability, publish, read_published
from edgehold.words import Reason

BUILT = "build/results/repeatability.json"


@dataclass(frozen=True, eq=False)
class TableUsed:
    """What runs are taken to differ by.

    Attributes
    ----------
    plain : as ``edgehold.results.publish.repeatability.form_repeatability`` gives it, this submission left out.
    sha256 : hash of the table.
    source : where the table comes from, in words.
    submissions : how many others it rests on at the primary endpoint; 0: the protocol's assumption stands in.
    """

    plain: FormRepeatability
    sha256: str
    source: str
    submissions: int


def table_used(root: Path, record: Submission, protocol: Protocol, named: Path | None = None) -> TableUsed:
    """The table named; else that of the last build; else one computed from the repository's other submissions.

    Parameters
    ----------
    root : the repository.
    record, protocol : whose report it is, and the version that it followed.
    named : a published table.

    Raises
    ------
    InputError
        The file is not a repeatability table, or its hash is not that of its content.
    """
    built = root / BUILT
    if named is not None:
        published, source = read_published(named), Reason("report.table_named")
    elif there(built):
        published, source = read_published(built), Reason("report.table_built")
    else:
        published, source = _computed(root, record, protocol), Reason("report.table_computed")
    plain = form_repeatability(published, protocol, record.origin, without=record.id)
    primary = plain["endpoints"][next(rule.id for rule in protocol.endpoints if rule.primary)]
    return TableUsed(plain, published.sha256, source, primary["submissions"] if primary["source"] == POOLED else 0)


def _computed(root: Path, record: Submission, protocol: Protocol) -> PublishedRepeatability:
    """From the other submissions of the pool; what files of other pools say of a blade's steel enters no variance of runs."""
    pool = PoolKey(protocol.id, major(protocol.version), record.origin)
    alike = frozenset(path for path in walk(root).submissions if path.startswith(f"submissions/{record.origin}/{protocol.id}/"))
    asked = Asked(alike, frozenset({protocol.id}))
    repository = load_repository(root, chosen=alike, asked=asked, warned=())
    others = replace(repository, submissions=tuple(s for s in repository.submissions if pool_key(s) == pool and s.record.id != record.id))
    return publish(repeatability_table(endpoint_rows(others, relative=False), repository.protocols), others)
