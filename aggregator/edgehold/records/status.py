"""Where the life of a protocol's version stands."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from .canonical import Repository
from .model.protocol import version_order
from .model.review import Event

Status = Literal["draft", "in review", "adopted", "retired"]
AFTER: dict[str, Status] = {"opened for review": "in review", "adopted": "adopted", "retired": "retired"}


def events_of(repository: Repository, name: str, version: str) -> tuple[Event, ...]:
    """Events in the life of one version, in their order."""
    return tuple(event for event in repository.events.get(name, ()) if event.version == version)


def status_after(events: Iterable[Event]) -> Status:
    """Where a version stands after its events: draft, in review, adopted or retired."""
    status: Status = "draft"
    for event in events:
        status = AFTER.get(event.kind, status)
    return status


def newest_version(repository: Repository, name: str) -> str:
    """The newest adopted version; without one, the newest of all."""
    versions = sorted((v for n, v in repository.protocols if n == name), key=version_order)
    adopted = [v for v in versions if status_after(events_of(repository, name, v)) == "adopted"]
    return (adopted or versions)[-1]
