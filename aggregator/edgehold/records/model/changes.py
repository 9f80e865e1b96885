"""What may be added to the record of submissions: corrections, retractions, tombstones, and what people say of their handles."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, JsonValue

from .base import Account, Handle, LongText, Month, Record, Slug

CHANGE_FORMAT = "change/1.0.0"
TOMBSTONE_FORMAT = "tombstone/1.0.0"
PERSON_FORMAT = "person/1.2.0"
ABSENT: dict[str, JsonValue] = {"absent": True}
"""Stands for "no value here", which null would not say: null is a value."""


class ChangedValue(Record):
    """One place that a correction changes."""

    pointer: Annotated[str, Field(pattern=r"^(?:/(?:[^/~]|~[01])*)+$", max_length=300)]
    """JSON pointer (RFC 6901) of the value in the submission, such as /runs/0/humidity_percent."""
    before: JsonValue
    """What stands there after all earlier corrections; {"absent": true} where nothing stands."""
    after: JsonValue
    """What shall stand there; {"absent": true} takes it out."""


class Correction(Record):
    """A change of a measured submission (submissions/measured/<protocol>/changes/<id>/<nn>-correction.json)."""

    format: Literal["change/1.0.0", "change/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["correction"]
    """This file is a correction."""
    submission: Slug
    """The submission's id."""
    what: Annotated[tuple[ChangedValue, ...], Field(min_length=1, max_length=500)]
    """What changes, in the order in which it is applied."""
    why: LongText
    """Why, for readers."""
    by: Handle
    """Who corrects."""
    month: Month
    """When."""


class Retraction(Record):
    """A measured submission taken back (submissions/measured/<protocol>/changes/<id>/<nn>-retraction.json)."""

    format: Literal["change/1.0.0", "change/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    kind: Literal["retraction"]
    """This file is a retraction. The submission stays readable, and no longer counts."""
    submission: Slug
    """The submission's id."""
    why: LongText
    """Why, for readers."""
    by: Handle
    """Who retracts."""
    month: Month
    """When."""


class Tombstone(Record):
    """What is left of a submission that was taken out (submissions/tombstones/<id>.json). Its id is never used again."""

    format: Literal["tombstone/1.0.0", "tombstone/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    id: Slug
    """The id that the submission had."""
    month: Month
    """When it was taken out."""
    reason: Literal["privacy", "legal"]
    """Why; no more is said."""


class PersonFile(Record):
    """Whose a handle is, how it is shown, and which handles are one person's (submissions/people/<handle>.json)."""

    format: Literal["person/1.2.0", "person/1.1.0", "person/1.0.0", "person/0.1.0"]
    """Name and version of this format; account since 1.1.0, exchanged_with since 1.2.0."""
    handle: Handle
    """The handle as it stands in files."""
    shown_as: Handle | None = None
    """The handle shown in its place wherever something is published; null: the handle itself."""
    same_person: Annotated[tuple[Handle, ...], Field(max_length=20)] = ()
    """Other handles of the same person. Counts once their files name this handle as well."""
    account: Account | None = None
    """The host's id of the account whose handle this is, which stays when the account is called otherwise; null: nobody's yet."""
    exchanged_with: Annotated[tuple[Handle, ...], Field(max_length=200)] = ()
    """Whose files may say that they used a blade or a lot of this person's, or an edge that this person made. Counts with an account."""
