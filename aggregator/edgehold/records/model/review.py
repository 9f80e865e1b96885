"""Events in a protocol's life, and objections to it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import Count, Handle, Interest, LongText, Month, Record, Sha256, ShortText, Slug, Version
from .protocol import StepId, ThreatKind

EVENT_FORMAT = "event/1.0.0"
OBJECTION_FORMAT = "objection/1.0.0"


class Event(Record):
    """Something that happened to one version of a protocol (protocols/<id>/events/<nnn>-<slug>.yaml)."""

    format: Literal["event/1.0.0", "event/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["released", "opened for review", "adopted", "retired"]
    """What happened."""
    version: Version
    """To which version."""
    by: Handle
    """Who did it."""
    month: Month
    """When."""
    sha256: Sha256 | None = None
    """On release: hash of the protocol file, which never changes from then on."""
    pilot: Slug | None = None
    """On adoption: the pilot submission."""
    evidence: ShortText | None = None
    """What it rests on."""


class Target(Record):
    """What an objection is against."""

    protocol: Slug | None = None
    """The protocol's id; null: against the analysis."""
    version: Version | None = None
    """The version read by the objector."""
    step: StepId | None = None
    """The step, when one is meant."""
    endpoint: Slug | None = None
    """The endpoint, when one is meant."""


class Evidence(Record):
    """What an objection or a response rests on; one of the three is given."""

    probe: Slug | None = None
    """A question to all pooled data."""
    submission: Slug | None = None
    """A submission's id."""
    citation: ShortText | None = None
    """A published source."""


class Objection(Record):
    """A recorded methodological flaw: front matter of 00-objection.md, the statement in the body."""

    format: Literal["objection/1.0.0", "objection/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["objection"]
    """This file is the objection itself."""
    against: Target
    """What it is against."""
    title: ShortText
    """The flaw in one line."""
    threat: ThreatKind
    """What kind of flaw."""
    severity: Literal["blocking", "material", "minor"]
    """How much hangs on it."""
    proposed_change: LongText | None = None
    """What would cure it."""
    evidence: Annotated[tuple[Evidence, ...], Field(max_length=20)] = ()
    """What it rests on."""
    interest: Interest | None = None
    """The objector's interest in blades or methods compared."""
    by: Handle
    """Who objects."""
    month: Month
    """When."""
    duplicate_of: Count | None = None
    """Number of the objection this one repeats."""
    simulated: bool = False
    """Whether it belongs to the demonstration: nobody raised it, and what is said and decided below it is invented too."""


class Response(Record):
    """An answer to an objection: front matter of <kk>-response.md, the text in the body."""

    format: Literal["objection/1.0.0", "objection/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["response"]
    """This file is a response."""
    response: Literal["rebuttal", "revision", "more evidence wanted"]
    """What it does."""
    revised_in: Version | None = None
    """For a revision: the version that changes the step."""
    evidence: Annotated[tuple[Evidence, ...], Field(max_length=20)] = ()
    """What it rests on."""
    interest: Interest | None = None
    """The responder's interest in blades or methods compared."""
    by: Handle
    """Who responds."""
    month: Month
    """When."""


class Outcome(Record):
    """What was decided: front matter of <kk>-outcome.md, the reason in the body."""

    format: Literal["objection/1.0.0", "objection/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["outcome"]
    """This file is an outcome."""
    outcome: Literal["open", "rebutted", "revised", "withdrawn", "upheld and unresolved", "struck"]
    """The state from now on."""
    by: Handle
    """Somebody who is neither author nor objector."""
    month: Month
    """When."""
