"""Adoptions of protocol versions against what they rest on: pilots among the submissions, and objections."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.layout import file_id
from edgehold.records.names import Names
from edgehold.records.rules.life import Pilots, adoption_problems

from .protocol_files import PlacedEvents
from .session import Session
from .submission_files import ReadSubmission


def check_adoptions(
    session: Session,
    events: PlacedEvents,
    protocols: dict[tuple[str, str], LoadedProtocol],
    threads: Iterable[ObjectionThread],
    read: Iterable[ReadSubmission],
    names: Names,
) -> None:
    """Collect what is wrong with adoptions of every protocol."""
    paths = session.layout.submissions
    pilots = Pilots(
        {file_id(path): path for path in reversed(paths)},  # measured come first, and count where an id is used twice
        {item.record.id: item.record for item in read if not item.changes},
    )
    for protocol, placed in events.items():
        versions = {version: loaded for (name, version), loaded in protocols.items() if name == protocol}
        own = [thread for thread in threads if thread.protocol == protocol]
        session.collected.add_all(adoption_problems(protocol, placed, versions, own, pilots, names))
