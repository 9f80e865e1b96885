"""Objections with what was said and decided about them, as published."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import TypedDict, get_args

from edgehold.records.canonical import LoadedProtocol, ObjectionThread, Repository
from edgehold.records.model.review import Evidence, Objection, Outcome, Response
from edgehold.records.threads import ThreadState, standing, state_of
from edgehold.results.model.objections import EvidenceResult, ObjectionEntryResult, ObjectionResult, State

from .fields import one_of
from .history import citation_notes

STRUCK = "struck"
NOT_STATED = "not stated"
OBJECTION_STATES: tuple[State, ...] = get_args(State)


class _Told(TypedDict):
    """What an objection itself says: nothing but the outcome is left of one that was struck."""

    title: str
    by: str
    interest: str
    statement: str
    proposed_change: str
    evidence: tuple[EvidenceResult, ...]
    notes: tuple[str, ...]
    probes: tuple[str, ...]
    entries: tuple[ObjectionEntryResult, ...]
    path: str


def objection_results(repository: Repository) -> tuple[ObjectionResult, ...]:
    """Every objection with its thread, those to the analysis among them."""
    beside = {folder: threads_of(repository, folder) for folder in {thread.protocol for thread in repository.objections}}
    repeated = {folder: _repeated_by(threads) for folder, threads in beside.items()}
    return tuple(
        _objection(repository, thread, beside[thread.protocol], repeated[thread.protocol].get(thread.number, ()))
        for thread in repository.objections
    )


def threads_of(repository: Repository, folder: str) -> dict[int, ObjectionThread]:
    """All objections of one protocol, or of the analysis, by number."""
    return {thread.number: thread for thread in repository.objections if thread.protocol == folder}


def versions_of(repository: Repository, protocol: str) -> dict[str, LoadedProtocol]:
    """The versions of a protocol."""
    return {version: loaded for (name, version), loaded in repository.protocols.items() if name == protocol}


def _objection(
    repository: Repository, thread: ObjectionThread, beside: Mapping[int, ObjectionThread], repeated_by: tuple[int, ...]
) -> ObjectionResult:
    state = state_of(thread, beside)
    objection = thread.objection
    told = _what_a_struck_one_keeps(thread, state) if state.state == STRUCK else _what_was_written(repository, thread)
    return ObjectionResult(
        protocol=objection.against.protocol or "",
        number=thread.number,
        version=objection.against.version or "",
        step=objection.against.step or "",
        endpoint=objection.against.endpoint or "",
        threat=objection.threat,
        severity=objection.severity,
        month=objection.month,
        simulated=objection.simulated,
        state=one_of(state.state, OBJECTION_STATES),
        revised_in=state.revised_in or "",
        repeats=objection.duplicate_of,
        repeated_by=repeated_by,
        stands_against=standing(thread, versions_of(repository, thread.protocol), beside),
        **told,
    )


def _repeated_by(beside: Mapping[int, ObjectionThread]) -> dict[int, tuple[int, ...]]:
    """Numbers of the objections that repeat each one."""
    found: defaultdict[int, tuple[int, ...]] = defaultdict(tuple)
    for number, other in sorted(beside.items()):
        if other.objection.duplicate_of is not None:
            found[other.objection.duplicate_of] += (number,)
    return found


def _what_was_written(repository: Repository, thread: ObjectionThread) -> _Told:
    objection, shown = thread.objection, repository.names.text
    return {
        "title": objection.title,
        "by": objection.by,
        "interest": objection.interest or NOT_STATED,
        "statement": thread.statement,
        "proposed_change": shown(objection.proposed_change or ""),
        "evidence": _evidence(repository, objection.evidence),
        "notes": citation_notes(repository, _cited(objection)),
        "probes": tuple(dict.fromkeys(_probes(thread))),
        "entries": tuple(_entry(repository, entry, text) for entry, text in thread.entries),
        "path": thread.path,
    }


def _what_a_struck_one_keeps(thread: ObjectionThread, state: ThreadState) -> _Told:
    """The outcome that struck it; in the thread of the other one where it repeats one that was struck."""
    return {
        "title": "",
        "by": "",
        "interest": "",
        "statement": "",
        "proposed_change": "",
        "evidence": (),
        "notes": (),
        "probes": (),
        "entries": tuple(_outcome(state.by, text) for entry, text in thread.entries if state.by is not None and entry is state.by),
        "path": "",
    }


def _entry(repository: Repository, entry: Response | Outcome, text: str) -> ObjectionEntryResult:
    if isinstance(entry, Outcome):
        return _outcome(entry, text)
    return ObjectionEntryResult(
        kind="response",
        says=entry.response,
        by=entry.by,
        interest=entry.interest or NOT_STATED,
        month=entry.month,
        text=text,
        revised_in=entry.revised_in or "",
        evidence=_evidence(repository, entry.evidence),
        notes=citation_notes(repository, _cited(entry)),
    )


def _outcome(entry: Outcome, text: str) -> ObjectionEntryResult:
    return ObjectionEntryResult(
        kind="outcome",
        says=entry.outcome,
        by=entry.by,
        interest="",
        month=entry.month,
        text=text,
        revised_in="",
        evidence=(),
        notes=(),
    )


def _evidence(repository: Repository, given: Iterable[Evidence]) -> tuple[EvidenceResult, ...]:
    shown = repository.names.text
    return tuple(EvidenceResult(probe=e.probe or "", submission=e.submission or "", citation=shown(e.citation or "")) for e in given)


def _cited(entry: Objection | Response) -> list[str]:
    """Submissions named as evidence."""
    return [e.submission for e in entry.evidence if e.submission is not None]


def _probes(thread: ObjectionThread) -> Iterator[str]:
    responses = [entry for entry, _ in thread.entries if isinstance(entry, Response)]
    entries: list[Objection | Response] = [thread.objection, *responses]
    for entry in entries:
        yield from (e.probe for e in entry.evidence if e.probe is not None)
