"""Handles as they are shown: in events and objections, and which are in use at all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.changes import PersonFile
from edgehold.records.model.plan import PlanSeal
from edgehold.records.model.review import Event
from edgehold.records.names import Names, handles_of
from edgehold.words import Reason

from .people_files import people_problems
from .session import Session
from .submission_files import ReadSubmission

Events = dict[str, tuple[Event, ...]]


def named_events(events: Events, names: Names) -> Events:
    """Events by protocol with handles as shown."""
    return {
        protocol: tuple(event.model_copy(update={"by": names.person(event.by)}) for event in of_protocol)
        for protocol, of_protocol in events.items()
    }


def named_threads(threads: Iterable[ObjectionThread], names: Names) -> tuple[ObjectionThread, ...]:
    """Objections with handles as shown; texts too, where somebody with an alias takes part."""
    return tuple(_thread(thread, names) for thread in threads)


def named_seals(seals: Mapping[str, PlanSeal], names: Names) -> tuple[PlanSeal, ...]:
    """Seals sorted by id with handles as shown."""
    return tuple(seal.model_copy(update={"by": names.person(seal.by)}) for _, seal in sorted(seals.items()))


def _thread(thread: ObjectionThread, names: Names) -> ObjectionThread:
    handles = {thread.objection.by, *(entry.by for entry, _ in thread.entries)}
    spoken = Names(aliases={handle: alias for handle, alias in names.aliases.items() if handle in handles})
    said, change = thread.objection, thread.objection.proposed_change
    objection = said.model_copy(
        update={"by": names.person(said.by), "title": spoken.text(said.title), "proposed_change": change and spoken.text(change)}
    )
    entries = tuple((entry.model_copy(update={"by": names.person(entry.by)}), spoken.text(body)) for entry, body in thread.entries)
    return replace(thread, objection=objection, statement=spoken.text(thread.statement), entries=entries)


def check_people(
    session: Session,
    people: dict[str, PersonFile],
    read: Iterable[ReadSubmission],
    events: Events,
    threads: Iterable[ObjectionThread],
    seals: Mapping[str, PlanSeal],
) -> None:
    """Collect what is wrong with aliases and with handles said to be one person's."""
    aliases = {person.shown_as for person in people.values() if person.shown_as}
    used: dict[str, str] = {}
    if aliases:
        for handle, path in _in_use(read, events, threads, seals):
            used.setdefault(handle, path)
    session.collected.add_all(people_problems(people, used, session.layout.submission_ids()))


def _in_use(
    read: Iterable[ReadSubmission], events: Events, threads: Iterable[ObjectionThread], seals: Mapping[str, PlanSeal]
) -> Iterator[tuple[str, str]]:
    """Every handle that somebody has, and a file in which it stands."""
    for item in read:
        yield from ((handle, item.path) for handle in handles_of(item.record))
        yield from ((change.record.by, change.path) for change in item.changes)
    for protocol, of_protocol in events.items():
        yield from ((event.by, Reason("reading.events_of", protocol=protocol)) for event in of_protocol)
    yield from ((seal.by, Reason("reading.seal_of_plan", name=name)) for name, seal in seals.items())
    for thread in threads:
        yield thread.objection.by, thread.path
        yield from ((entry.by, thread.path) for entry, _ in thread.entries)
