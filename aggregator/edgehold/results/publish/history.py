"""What became of submissions after they were sent in: corrections, retractions, and what is left of those taken out."""

from __future__ import annotations

import json
from collections.abc import Iterable

from pydantic import JsonValue

from edgehold.records.canonical import LoadedChange, LoadedSubmission, Repository
from edgehold.records.model.changes import ABSENT, Correction
from edgehold.records.names import Names
from edgehold.records.read.json_values import same
from edgehold.results.model.history import ChangedValueResult, ChangeResult, RemovedResult, State
from edgehold.words import Reason


def state_of(submission: LoadedSubmission) -> State:
    """Whether a submission counts as it was sent in, with corrections, or no longer."""
    if submission.retraction is not None:
        return "retracted"
    return "corrected" if submission.changes else "as sent"


def change_results(changes: Iterable[LoadedChange], names: Names) -> tuple[ChangeResult, ...]:
    """The history of one submission, people by the handles they are shown as."""
    return tuple(_change(number, change, names) for number, change in enumerate(changes, 1))


def _change(number: int, change: LoadedChange, names: Names) -> ChangeResult:
    record = change.record
    entries = record.what if isinstance(record, Correction) else ()
    return ChangeResult(
        number=number,
        kind=record.kind,
        why=names.text(record.why),
        by=names.person(record.by),
        month=record.month,
        what=tuple(
            ChangedValueResult(pointer=e.pointer, before=names.text(_written(e.before)), after=names.text(_written(e.after)))
            for e in entries
        ),
        path=change.path,
        sha256=change.sha256,
    )


def _written(value: JsonValue) -> str:
    return "" if same(value, ABSENT) else json.dumps(value, ensure_ascii=False)


def removed_results(repository: Repository) -> tuple[RemovedResult, ...]:
    """Submissions that were taken out, by id."""
    return tuple(RemovedResult(id=t.id, month=t.month, reason=t.reason) for t in sorted(repository.tombstones, key=lambda t: t.id))


def citation_notes(repository: Repository, cited: Iterable[str]) -> tuple[str, ...]:
    """A sentence on each submission among ``cited`` that no longer counts."""
    retracted = {s.record.id: s.retraction.record for s in repository.retracted if s.retraction is not None}
    removed = {t.id: t for t in repository.tombstones}
    notes = []
    for name in cited:
        if name in retracted:
            why = repository.names.text(retracted[name].why)
            notes.append(Reason("published.cites_retracted", name=name, month=retracted[name].month, why=why))
        elif name in removed:
            notes.append(Reason("published.cites_removed", name=name, month=removed[name].month, reason=removed[name].reason))
    return tuple(notes)
