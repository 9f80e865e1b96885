"""Versions of protocols as published: where their life stands, what stands against them, and what differs from the version before."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Literal, get_args

from edgehold.disk import read_text
from edgehold.records.canonical import LoadedProtocol, ObjectionThread, Repository
from edgehold.records.model.protocol import ThreatKind, version_order
from edgehold.records.model.review import Event
from edgehold.records.read.opening import LARGEST_BYTES
from edgehold.records.rules.bumps import bump_given, bump_needed
from edgehold.records.rules.differences import FieldDifference, field_differences, steps_touched
from edgehold.records.rules.protocol_form import step_texts
from edgehold.records.status import events_of, newest_version, status_after
from edgehold.records.threads import closing, is_blocking, standing_against, state_of
from edgehold.results.model.versions import (
    DifferenceResult,
    EventResult,
    FieldChangeResult,
    FigureResult,
    ProtocolResult,
    StepResult,
    ThreatResult,
)

from .fields import one_of
from .objections import STRUCK, threads_of, versions_of
from .text_changes import step_titles, text_changes

LEVELS: tuple[Literal["major", "minor", "patch"], ...] = ("major", "minor", "patch")


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


def _event(repository: Repository, event: Event) -> EventResult:
    evidence = repository.names.text(event.evidence or "")
    return EventResult(kind=event.kind, by=event.by, month=event.month, evidence=evidence, pilot=event.pilot or "")


def _figures(repository: Repository, protocol: LoadedProtocol) -> tuple[FigureResult, ...]:
    folder = (repository.root / protocol.path).parent
    return tuple(
        FigureResult(file=f.file, caption=f.caption, svg=read_text(folder / f.file, LARGEST_BYTES["figure"]))
        for f in protocol.record.figures
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
        level=one_of(bump_given(older.record.version, newer.record.version), LEVELS),
        asked=one_of(bump.level, LEVELS),
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
