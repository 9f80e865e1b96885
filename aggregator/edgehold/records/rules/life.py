"""What objections and pilots mean for the life of a protocol version: its adoption, and its form."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.model.review import Event
from edgehold.records.model.submission import Submission
from edgehold.records.names import Names
from edgehold.records.problem import Problem
from edgehold.records.threads import closing, is_blocking, standing_against
from edgehold.words import Reason

from .months import months_since_year_0

Versions = Mapping[str, LoadedProtocol]


@dataclass(frozen=True)
class Pilots:
    """Submissions that an adoption may name.

    Attributes
    ----------
    paths : where each lies, by id; those that were taken out have none.
    records : by id, those that were read and never changed. A published adoption cannot be changed, so that nothing follows for it
        from a later correction; nor from a submission that this check had no need to read.
    """

    paths: Mapping[str, str]
    records: Mapping[str, Submission]


def adoption_problems(
    protocol: str,
    events: Iterable[tuple[str, Event]],
    versions: Versions,
    threads: Iterable[ObjectionThread],
    pilots: Pilots,
    names: Names,
) -> Iterator[tuple[str, Problem]]:
    """Whether each adoption of a protocol's versions was due: by somebody else than the author, with a pilot, nothing blocking it.

    Parameters
    ----------
    protocol : its id.
    events : of the protocol as (path, event).
    versions, threads : of the protocol.
    pilots, names : of the repository.
    """
    placed, own = list(events), list(threads)
    adopted: set[str] = set()
    for path, event in placed:
        if event.kind == "adopted" and event.version not in adopted:  # a second time is out of order, and a finding of its own
            adopted.add(event.version)
            released = {names.person(other.by) for _, other in placed if other.kind == "released" and other.version == event.version}
            if names.person(event.by) in released:
                yield path, Problem("/by", "self-adopted", f"{event.by!r} released version {event.version}")
            yield from ((path, problem) for problem in _pilot(protocol, event, pilots))
            yield from ((path, problem) for problem in _undrawn(event, versions))
            yield from ((path, problem) for problem in blocked(event, own, versions))


def _undrawn(event: Event, versions: Versions) -> Iterator[Problem]:
    """A version in which something has to be built shows how; while it is in review it need not."""
    loaded = versions.get(event.version)
    built = [need.item for need in loaded.record.needs if need.where == "made"] if loaded else []
    if loaded and built and not loaded.record.figures:
        yield Problem("/version", "no-drawing", Reason("protocols.no_drawing", version=event.version, item=built[0]))


def _pilot(protocol: str, event: Event, pilots: Pilots) -> Iterator[Problem]:
    """A run of the version by the month of its adoption; without one, what the event says instead is told."""
    if event.pilot is None:
        code, why = ("no-pilot", "") if event.evidence is None else ("no-measured-pilot", f": {event.evidence}")
        yield Problem("/pilot", code, Reason("protocols.no_pilot", version=event.version, why=why))
        return
    path, record = pilots.paths.get(event.pilot), pilots.records.get(event.pilot)
    if path is None:  # taken out, or never there: said elsewhere
        return
    _, origin, followed, _ = path.split("/")
    if followed != protocol:
        yield Problem("/pilot", "wrong-pilot", f"{event.pilot!r} follows {followed!r}")
    elif record is not None and record.protocol.version != event.version:
        yield Problem("/pilot", "wrong-pilot", f"{event.pilot!r} follows version {record.protocol.version}")
    elif record is not None and record.month > event.month:
        yield Problem("/pilot", "wrong-pilot", Reason("protocols.after_adoption", pilot=event.pilot, month=record.month))
    elif origin == "simulated":
        yield Problem("/pilot", "no-measured-pilot", f"{event.pilot!r} is simulated")


def blocked(event: Event, threads: Iterable[ObjectionThread], versions: Versions) -> Iterator[Problem]:
    """Blocking objections that stood against the version that an event adopts, both when its month began and when it ended.

    Months are as fine as dates are written: what was raised, decided or opened again in that very month may have come before or after.
    """
    own = list(threads)
    before = {thread.number for thread in standing_against(event.version, own, versions, month_before(event.month))}
    for thread in standing_against(event.version, own, versions, event.month):
        if is_blocking(thread) and thread.number in before:
            yield blocked_by(thread, event)


def blocked_by(thread: ObjectionThread, event: Event) -> Problem:
    """The finding that an objection stands in the way of an adoption."""
    message = Reason("protocols.blocking_objection", number=thread.number, month=thread.objection.month, version=event.version)
    return Problem("/version", "adopted-despite-objection", message)


def month_before(month: str) -> str:
    """The month before one such as 2026-01."""
    year, number = divmod(months_since_year_0(month) - 1, 12)
    return f"{year:04d}-{number + 1:02d}"


def closed_forms(threads: Iterable[ObjectionThread], protocols: Mapping[tuple[str, str], LoadedProtocol]) -> dict[tuple[str, str], str]:
    """Versions that nobody shall be led to follow because of an objection about safety, and since which month."""
    own: dict[str, list[ObjectionThread]] = {}
    for thread in threads:
        own.setdefault(thread.protocol, []).append(thread)
    found = {}
    for name, version in protocols:
        against = closing(version, own.get(name, ()), {version: protocols[(name, version)]})
        if against:
            found[(name, version)] = min(thread.objection.month for thread in against)
    return found


def closed_form_problems(record: Submission, closed: Mapping[tuple[str, str], str]) -> Iterator[Problem]:
    """A run made although the form was closed; it counts all the same."""
    since = closed.get((record.protocol.id, record.protocol.version))
    if since is not None and record.month >= since:
        message = Reason("protocols.safety_objection", since=since, id=record.protocol.id, version=record.protocol.version)
        yield Problem("/protocol/version", "form-closed", message)
