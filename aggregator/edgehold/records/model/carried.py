"""That somebody else's request brought a result in, and that its owner confirmed it (submissions/carried/<id>/)."""

from __future__ import annotations

from typing import Literal

from .base import Handle, Month, Record, Slug

CARRIED_FORMAT = "carried/1.0.0"


class Carried(Record):
    """A result that a friend's request brought in (submissions/carried/<id>/carried.json)."""

    format: Literal["carried/1.0.0"]
    """Name and version of this format."""
    kind: Literal["carried"]
    """This file says who carried it."""
    submission: Slug
    """The submission's id."""
    by: Handle
    """Who carried it in."""
    month: Month
    """When."""


class Confirmation(Record):
    """That a carried result is what its owner sent in (submissions/carried/<id>/confirmed.json)."""

    format: Literal["carried/1.0.0"]
    """Name and version of this format."""
    kind: Literal["confirmed"]
    """This file says that the owner stands by it."""
    submission: Slug
    """The submission's id."""
    by: Handle
    """The submission's submitted_by."""
    month: Month
    """When."""
