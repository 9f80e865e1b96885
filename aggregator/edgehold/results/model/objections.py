"""Objections with what was said and decided about them, as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Record

State = Literal["open", "upheld and unresolved", "revised", "rebutted", "withdrawn", "struck"]


class EvidenceResult(Record):
    """One thing that an objection or a response rests on; one of the three is given, the others are empty."""

    probe: str
    """Name of a probe."""
    submission: str
    """A submission's id."""
    citation: str
    """A published source, as written."""


class ObjectionEntryResult(Record):
    """One response or outcome of an objection."""

    kind: Literal["response", "outcome"]
    """What it is."""
    says: str
    """rebuttal, revision or more evidence wanted; or the state decided."""
    by: str
    """Handle."""
    interest: str
    """For a response: its author's interest in blades or methods compared, or "not stated"; empty for an outcome."""
    month: str
    """Month."""
    text: str
    """The response, or the reason of the outcome, in plain text."""
    revised_in: str
    """For a revision: the version said to cure the flaw; else empty."""
    evidence: tuple[EvidenceResult, ...]
    """What it rests on."""
    notes: tuple[str, ...]
    """What became of submissions that it rests on; empty where they all count."""


class ObjectionResult(Record):
    """One objection with its thread. Of a struck one only what it was against, its number and the reason are left."""

    protocol: str
    """Protocol id; empty where it is against the analysis."""
    number: int
    """Its number under that protocol, or under the analysis, for good."""
    version: str
    """The version read by the objector; empty where none is named."""
    step: str
    """The step, or empty."""
    endpoint: str
    """The endpoint, or empty."""
    title: str
    """The flaw in one line; empty where struck."""
    threat: str
    """What kind of flaw."""
    severity: Literal["blocking", "material", "minor"]
    """How serious it is."""
    by: str
    """Handle of the objector; empty where struck."""
    interest: str
    """The objector's interest in blades or methods compared, or "not stated"; empty where struck."""
    month: str
    """Month in which it was raised."""
    simulated: bool
    """Whether it belongs to the demonstration: invented, with all its responses and outcomes."""
    state: State
    """As last decided; open where nothing was decided. An objection that repeats another has the state of that one."""
    revised_in: str
    """Where the state is revised: the version that cures it."""
    repeats: int | None
    """Number of the objection that it repeats."""
    repeated_by: tuple[int, ...]
    """Numbers of objections that repeat this one."""
    stands_against: tuple[str, ...]
    """Versions it stands against, in order: carried forward until one cures it."""
    statement: str
    """The objection in plain text; empty where struck."""
    proposed_change: str
    """What would cure it; empty where nothing was proposed, or where struck."""
    evidence: tuple[EvidenceResult, ...]
    """What the objection itself rests on."""
    notes: tuple[str, ...]
    """What became of submissions that it rests on."""
    probes: tuple[str, ...]
    """Names of all probes that the objection and its responses point at, as they come."""
    entries: tuple[ObjectionEntryResult, ...]
    """Responses and outcomes in their order; where struck, the outcome that says so alone."""
    path: str
    """Path of the objection's file; empty where struck."""
