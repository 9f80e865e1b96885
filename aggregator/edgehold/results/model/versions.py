"""Versions of protocols and what differs between them, as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Record

from .text_changes import TextChangeResult


class FigureResult(Record):
    """A protocol's drawing."""

    file: str
    """Path beside the protocol."""
    caption: str
    """What it shows."""
    svg: str
    """The drawing."""


class EventResult(Record):
    """Something that happened to one version."""

    kind: Literal["released", "opened for review", "adopted", "retired"]
    """What happened."""
    by: str
    """Handle."""
    month: str
    """When."""
    evidence: str
    """What it rests on; empty where nothing is stated."""
    pilot: str
    """On adoption: the pilot submission's id; else empty."""


class StepResult(Record):
    """One step of the method, to point at."""

    id: str
    """Its id."""
    title: str
    """Its heading in plain text."""
    objections: tuple[int, ...]
    """Numbers of the objections to it, in this version or an earlier one; repetitions and struck ones left out."""


class ThreatResult(Record):
    """One way to be misled, where the method deals with it, and the objections there."""

    kind: str
    """Kind of threat."""
    text: str
    """As the method names it; empty where only objections do."""
    steps: tuple[str, ...]
    """Steps that deal with it; empty: left open."""
    objections: tuple[int, ...]
    """Numbers of objections of this kind to one of these steps; without ``text``, all others of the kind."""


class FieldChangeResult(Record):
    """One field of the front matter that differs."""

    names: tuple[str, ...]
    """Where it stands: field names, and the name of an entry in place of its number."""
    pointer: str
    """The same as a JSON pointer."""
    before: str
    """The value before; empty where there was none."""
    after: str
    """The value now; empty where there is none."""


class DifferenceResult(Record):
    """What a version changes against the one before it."""

    older: str
    """The version before."""
    level: Literal["major", "minor", "patch"]
    """Which part of the number was raised."""
    asked: Literal["major", "minor", "patch"]
    """The smallest step that the differences call for."""
    pointer: str
    """The field that calls for it; empty for the method's text."""
    why: str
    """What differs there."""
    fields: tuple[FieldChangeResult, ...]
    """The front matter, field by field."""
    text: tuple[TextChangeResult, ...]
    """The method's text, line by line."""
    steps: tuple[StepResult, ...]
    """Steps that changed, appeared or vanished; with the objections to them that this version cures."""
    cures: tuple[int, ...]
    """Numbers of all objections that this version cures, as decided."""


class ProtocolResult(Record):
    """One version of a protocol as published."""

    id: str
    """Id."""
    version: str
    """Version."""
    status: Literal["draft", "in review", "adopted", "retired"]
    """Its status."""
    newest: bool
    """Whether it is the version /protocols/<id>/ shows."""
    sha256: str
    """Hash of the file."""
    front: dict[str, object]
    """The machine-readable part."""
    body: str
    """The method, in Markdown."""
    figures: tuple[FigureResult, ...]
    """Drawings."""
    events: tuple[EventResult, ...]
    """Events in this version's life, in their order."""
    steps: tuple[StepResult, ...]
    """Steps of the method, in their order."""
    threats: tuple[ThreatResult, ...]
    """What can mislead, by kind."""
    concerned: tuple[int, ...]
    """Numbers of the objections to it or to an earlier version."""
    standing: tuple[int, ...]
    """Of these, those that stand against it; repetitions left out."""
    blocking: tuple[int, ...]
    """Of those that stand, the blocking ones: a banner where the version is adopted, and no adoption where it is not."""
    closed_by: tuple[int, ...]
    """Of the blocking ones, those about safety: its form and sheet are closed."""
    difference: DifferenceResult | None
    """What it changes; null for the first version."""
