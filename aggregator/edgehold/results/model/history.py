"""Corrections and retractions of submissions, and what is left of those taken out, as published."""

from __future__ import annotations

from typing import Literal

from edgehold.records.model.base import Record

State = Literal["as sent", "corrected", "retracted"]


class ChangedValueResult(Record):
    """One value that a correction changed."""

    pointer: str
    """Where it stands in the file (JSON pointer)."""
    before: str
    """The value before, as JSON; empty where there was none."""
    after: str
    """The value since, as JSON; empty where it was removed."""


class ChangeResult(Record):
    """A correction or retraction."""

    number: int
    """1, 2, 3 … in the order in which they apply."""
    kind: Literal["correction", "retraction"]
    """What it is."""
    why: str
    """The reason given."""
    by: str
    """Handle."""
    month: str
    """Month."""
    what: tuple[ChangedValueResult, ...]
    """What was changed; empty for a retraction."""
    path: str
    """Path of the file."""
    sha256: str
    """Hash of the file."""


class RemovedResult(Record):
    """What is left of a submission that was taken out."""

    id: str
    """Its id, never used again."""
    month: str
    """When."""
    reason: Literal["privacy", "legal"]
    """Why; no more is said."""
