"""Versions of protocols as published: where their life stands, what stands against them, and what differs from the version before."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import Literal, get_args

from aggregator.records.bumps import bump_given, bump_needed
from aggregator.records.canonical import LoadedProtocol, ObjectionThread, Repository
from aggregator.records.differences import FieldDifference, field_differences, steps_touched
from aggregator.records.model.base import Record
from aggregator.records.model.protocol import ThreatKind, version_order
from aggregator.records.model.review import Event
from aggregator.records.rules.protocol_form import step_texts
from aggregator.records.threads import closing, is_blocking, standing_against, state_of

from .objections import STRUCK, threads_of, versions_of
from .text_changes import TextChangeResult, step_titles, text_changes


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
    """What it rests on; empty where nothing is said."""
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
    """One way to be misled, where the method deals with it, and what was objected there."""

    kind: str
    """Kind of threat."""
    text: str
    """As the method names it; empty where objections alone do."""
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
    """What stood there; empty for nothing."""
    after: str
    """What stands there now; empty for nothing."""


class DifferenceResult(Record):
    """What a version changes against the one before it."""

    older: str
    """The version before."""
    level: Literal["major", "minor", "patch"]
    """Which part of the number grew."""
    asked: Literal["major", "minor", "patch"]
    """The least that what differs asks for."""
    pointer: str
    """The field that asks for it; empty for the method's text."""
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
    """Where its life stands."""
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


def protocol_results(repository: Repository) -> tuple[ProtocolResult, ...]:
    """Every version of every protocol, by id and version."""
    ordered = sorted(repository.protocols, key=lambda key: (key[0], version_order(key[1])))
    before = {after: older for older, after in itertools.pairwise(ordered) if older[0] == after[0]}
    return tuple(_version(repository, key, before.get(key)) for key in ordered)


def _version(repository: Repository, key: tuple[str, str], before: tuple[str, str] | None) -> ProtocolResult:
    name, version = key
    protocol, threads = repository.protocols[key], threads_of(repository, name)
    concerned = {n: t for n, t in sorted(threads.items()) if _concerns(t, version)}
    stands = standing_against(version, threads.values(), versions_of(repository, name))
    numbered = {n: t for n, t in concerned.items() if t.objection.duplicate_of is None and state_of(t, threads).state != STRUCK}
    return ProtocolResult(
        id=name,
        version=version,
        status=status_after(events_of(repository, name, version)),
        newest=version == newest_version(repository, name),
        sha256=protocol.sha256,
        front=protocol.record.model_dump(mode="json"),
        body=protocol.body,
        figures=_figures(repository, protocol),
        events=tuple(_event(repository, event) for event in events_of(repository, name, version)),
        steps=_steps(step_titles(protocol.body), numbered),
        threats=tuple(_threats(protocol, numbered)),
        concerned=tuple(concerned),
        standing=tuple(t.number for t in stands),
        blocking=tuple(t.number for t in stands if is_blocking(t)),
        closed_by=closed_by(repository, name, version),
        difference=_difference(repository.protocols[before], protocol, numbered) if before else None,
    )


def _concerns(thread: ObjectionThread, version: str) -> bool:
    return version_order(thread.objection.against.version or "0.0.0") <= version_order(version)


def closed_by(repository: Repository, name: str, version: str) -> tuple[int, ...]:
    """Numbers of the objections that close the form of a version."""
    return tuple(thread.number for thread in closing(version, threads_of(repository, name).values(), versions_of(repository, name)))


def events_of(repository: Repository, name: str, version: str) -> tuple[Event, ...]:
    """Events in the life of one version, in their order."""
    return tuple(event for event in repository.events.get(name, ()) if event.version == version)


def status_after(events: Iterable[Event]) -> str:
    """Where a version stands after its events: draft, in review, adopted or retired."""
    status = "draft"
    for event in events:
        status = {"opened for review": "in review", "adopted": "adopted", "retired": "retired"}.get(event.kind, status)
    return status


def newest_version(repository: Repository, name: str) -> str:
    """The newest adopted version; without one, the newest of all."""
    versions = sorted((v for n, v in repository.protocols if n == name), key=version_order)
    adopted = [v for v in versions if status_after(events_of(repository, name, v)) == "adopted"]
    return (adopted or versions)[-1]


def _event(repository: Repository, event: Event) -> EventResult:
    evidence = repository.names.text(event.evidence or "")
    return EventResult(kind=event.kind, by=event.by, month=event.month, evidence=evidence, pilot=event.pilot or "")


def _figures(repository: Repository, protocol: LoadedProtocol) -> tuple[FigureResult, ...]:
    folder = (repository.root / protocol.path).parent
    return tuple(
        FigureResult(file=f.file, caption=f.caption, svg=(folder / f.file).read_text(encoding="utf-8")) for f in protocol.record.figures
    )


def _steps(titles: Mapping[str, str], threads: Mapping[int, ObjectionThread]) -> tuple[StepResult, ...]:
    return tuple(
        StepResult(id=step, title=title, objections=tuple(n for n, t in threads.items() if t.objection.against.step == step))
        for step, title in titles.items()
    )


def _threats(protocol: LoadedProtocol, threads: Mapping[int, ObjectionThread]) -> Iterator[ThreatResult]:
    """The threats that the method names, by kind, each with the objections of that kind to its steps; then the kind's other objections."""
    for kind in get_args(ThreatKind):
        of_kind = {n: t.objection.against.step for n, t in threads.items() if t.objection.threat == kind}
        named = [threat for threat in protocol.record.threats if threat.threat == kind]
        for threat in named:
            met = tuple(n for n, step in of_kind.items() if step in threat.steps)
            yield ThreatResult(kind=kind, text=threat.text, steps=threat.steps, objections=met)
        others = tuple(n for n, step in of_kind.items() if not any(step in threat.steps for threat in named))
        if others:
            yield ThreatResult(kind=kind, text="", steps=(), objections=others)


def _difference(older: LoadedProtocol, newer: LoadedProtocol, threads: Mapping[int, ObjectionThread]) -> DifferenceResult:
    bump = bump_needed(older, newer)
    cured = {n: t for n, t in threads.items() if state_of(t).revised_in == newer.record.version}
    touched = steps_touched(older, newer)
    titles = {step: title for step, title in (step_titles(newer.body) | _gone(older, newer)).items() if step in touched}
    return DifferenceResult(
        older=older.record.version,
        level=bump_given(older.record.version, newer.record.version),
        asked=bump.level,
        pointer=bump.pointer,
        why=bump.why,
        fields=tuple(_field(field) for field in field_differences(older.record, newer.record)),
        text=text_changes(older.body, newer.body),
        steps=_steps(titles, cured),
        cures=tuple(cured),
    )


def _gone(older: LoadedProtocol, newer: LoadedProtocol) -> dict[str, str]:
    kept = step_texts(newer.body)
    return {step: title for step, title in step_titles(older.body).items() if step not in kept}


def _field(field: FieldDifference) -> FieldChangeResult:
    return FieldChangeResult(names=field.names, pointer=field.pointer, before=_told(field.before), after=_told(field.after))


def _told(value: object) -> str:
    """A plain value in words."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, Mapping):
        return "; ".join(f"{name.replace('_', ' ')}: {_told(inner)}" for name, inner in value.items() if inner not in (None, ()))
    if isinstance(value, tuple):
        return ", ".join(map(_told, value))
    return str(value)
