"""Objections and responses: what they name exists, a rebuttal rests on something, a revision touches what was objected to.

What is decided, and the order of a thread's entries, are the rules of ``outcomes``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.layout import ANALYSIS
from edgehold.records.model.protocol import version_order
from edgehold.records.model.review import Event, Evidence, Objection, Response
from edgehold.records.names import Names
from edgehold.records.probe_names import PROBE_NAMES
from edgehold.records.problem import Problem, pointer
from edgehold.records.threads import state_of
from edgehold.words import Reason

from .bumps import more_than_wording
from .differences import field_differences, steps_touched
from .protocol_form import steps_of

ADDRESS = re.compile(r"@[A-Za-z]")  # a handle as many hosts write it, or an e-mail address


@dataclass(frozen=True)
class Surroundings:
    """What a thread may refer to: versions of its protocol, its events, the threads beside it by number, submissions' ids.

    ``gone`` says of ids whose submission no longer counts how it went; ``names`` whose handles are one person's.
    """

    versions: Mapping[str, LoadedProtocol]
    events: tuple[Event, ...]
    threads: Mapping[int, ObjectionThread]
    submissions: frozenset[str]
    gone: Mapping[str, str]
    names: Names

    def released(self, version: str | None) -> Event | None:
        """The event that released a version."""
        return next((event for event in self.events if event.kind == "released" and event.version == version), None)


def objection_problems(thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    """Problems of the objection itself."""
    objection, against = thread.objection, thread.objection.against
    if (against.protocol or ANALYSIS) != thread.protocol or against.protocol == ANALYSIS:
        message = Reason("threads.lies_elsewhere", value=against.protocol or "the analysis", protocol=thread.protocol)
        cure = Reason("threads.where_objections_lie", ANALYSIS=ANALYSIS)
        yield Problem("/against/protocol", "path-disagrees", message, cure)
    else:
        yield from _target(objection, around)
    release = around.released(against.version)
    if release is not None and objection.month < release.month:
        yield Problem("/month", "month-backwards", Reason("threads.released_later", version=str(against.version), month=release.month))
    if objection.duplicate_of is not None:
        yield from _repeated(thread, objection.duplicate_of, around)
    for i, evidence in enumerate(objection.evidence):
        yield from _evidence(evidence, i, around)
    texts = {"/title": objection.title, "/proposed_change": objection.proposed_change or "", "": thread.statement}
    yield from _told(objection, texts)


def _target(objection: Objection, around: Surroundings) -> Iterator[Problem]:
    against = objection.against
    if against.version is None:
        for name in ("step", "endpoint"):
            if getattr(against, name) is not None:
                message = Reason("threads.part_without_version", name=name)
                yield Problem(pointer("against", name), "unknown-version", message, Reason("threads.name_the_version"))
        return
    protocol = around.versions.get(against.version)
    if protocol is None:
        yield Problem("/against/version", "unknown-version", Reason("threads.no_such_version", version=against.version))
        return
    if against.step is not None and against.step not in steps_of(protocol.body):
        yield Problem("/against/step", "unknown-step", Reason("threads.no_such_step", version=against.version, step=against.step))
    if against.endpoint is not None and against.endpoint not in {rule.id for rule in protocol.record.endpoints}:
        message = Reason("threads.no_such_endpoint", version=against.version, endpoint=against.endpoint)
        yield Problem("/against/endpoint", "unknown-reference", message)


def _repeated(thread: ObjectionThread, number: int, around: Surroundings) -> Iterator[Problem]:
    """An objection repeats an earlier one that is not itself a repetition, and was not struck before."""
    other = around.threads.get(number)
    if other is None or number == thread.number:
        yield Problem("/duplicate_of", "unknown-reference", Reason("threads.no_other_objection", number=number))
        return
    state = state_of(other)
    message: str
    cure: str
    if number > thread.number:
        message, cure = Reason("threads.came_later", number=number), Reason("threads.close_that_one", number=thread.number)
    elif other.objection.duplicate_of is not None:
        message, cure = Reason("threads.repeats_itself", number=number), f"name {other.objection.duplicate_of}"
    elif state.state == "struck" and state.by is not None and state.by.month < thread.objection.month:
        message, cure = Reason("threads.struck_in", number=number, month=state.by.month), Reason("threads.raise_by_itself")
    else:
        return
    yield Problem("/duplicate_of", "duplicate-form", message, cure)


def _told(record: Objection | Response, texts: Mapping[str, str]) -> Iterator[Problem]:
    """What readers are told of whoever speaks, and of nobody else."""
    if record.interest is None:
        yield Problem("/interest", "interest-unstated", Reason("threads.interest_unstated", by=record.by))
    for place, text in texts.items():
        if ADDRESS.search(text):
            yield Problem(place, "names-a-person", Reason("threads.addresses_a_person"))


def _probe(name: str | None, *place: str | int) -> Iterator[Problem]:
    if name is not None and name not in PROBE_NAMES:
        yield Problem(
            pointer(*place),
            "unknown-probe",
            Reason("threads.no_such_probe", name=name),
            Reason("threads.use_one_of", names=", ".join(sorted(PROBE_NAMES))),
        )


def response_problems(entry: Response, text: str, thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    """Problems of one response."""
    if entry.response == "rebuttal" and not entry.evidence:
        yield Problem("/evidence", "no-evidence", Reason("threads.rests_on_nothing"))
    if entry.response == "revision":
        yield from _revision(entry, thread, around)
    for i, evidence in enumerate(entry.evidence):
        yield from _evidence(evidence, i, around)
    yield from _told(entry, {"": text})


def _evidence(evidence: Evidence, number: int, around: Surroundings) -> Iterator[Problem]:
    place = ("evidence", number)
    if sum(part is not None for part in (evidence.probe, evidence.submission, evidence.citation)) != 1:
        yield Problem(pointer(*place), "evidence-form", Reason("threads.not_one_kind"))
    yield from _probe(evidence.probe, *place, "probe")
    if evidence.submission is None:
        return
    if evidence.submission not in around.submissions:
        message = Reason("threads.no_such_submission", submission=evidence.submission)
        yield Problem(pointer(*place, "submission"), "unknown-reference", message)
    elif evidence.submission in around.gone:
        message = Reason("threads.submission_gone", submission=evidence.submission, gone=around.gone[evidence.submission])
        yield Problem(pointer(*place, "submission"), "cites-gone", message)


def _revision(entry: Response, thread: ObjectionThread, around: Surroundings) -> Iterator[Problem]:
    """A revision names a version; of a protocol, a later one in which what was objected to differs."""
    if entry.revised_in is None:
        yield Problem("/revised_in", "unknown-version", Reason("threads.no_version_named"))
    elif thread.protocol == ANALYSIS:  # a version of this program, which the files do not list
        return
    elif entry.revised_in not in around.versions:
        yield Problem("/revised_in", "unknown-version", Reason("threads.no_revision", revised_in=entry.revised_in))
    elif missed := _missed(thread.objection, entry.revised_in, around.versions):
        yield Problem("/revised_in", "revision-misses", missed)


def _missed(objection: Objection, revised_in: str, versions: Mapping[str, LoadedProtocol]) -> str:
    """How a version fails to touch what was objected to; empty when it does, or when that does not exist."""
    against, newer = objection.against, versions[revised_in]
    read = against.version or _before(revised_in, versions)
    if read is None or version_order(revised_in) <= version_order(read):
        return Reason("threads.no_later_version", revised_in=revised_in)
    if read not in versions:
        return ""
    older = versions[read]
    named = [f"the {part} {name!r}" for part in ("step", "endpoint") if (name := getattr(against, part))]
    if against.step in steps_touched(older, newer) or (against.endpoint and _computed_otherwise(against.endpoint, older, newer)):
        return ""
    if named:
        return Reason(
            "threads.revision_same", names=" and ".join(named), read=read, verb="are" if len(named) > 1 else "is", revised_in=revised_in
        )
    return "" if more_than_wording(older, newer) else Reason("threads.only_wording", read=read, revised_in=revised_in)


def _before(version: str, versions: Mapping[str, LoadedProtocol]) -> str | None:
    earlier = [other for other in versions if version_order(other) < version_order(version)]
    return max(earlier, key=version_order, default=None)


def _computed_otherwise(endpoint: str, older: LoadedProtocol, newer: LoadedProtocol) -> bool:
    """Whether an endpoint's fields, or the work and readings that it is computed from, differ."""
    names = [difference.names for difference in field_differences(older.record, newer.record)]
    return any(name[:2] == ("endpoints", endpoint) or name[0] in ("work", "reading", "stopping") for name in names)
